//! The value of a member, out of the JSON of the feed.
//!
//! In: a state, an entry, or a part of one. Out: values of OPC UA. What the JSON does not have is an empty value.

use super::model::{Form, Member};
use crate::entry::Outcome;
use crate::quantity::{Dimension, Quantity, Unit};
use crate::spec::Verdict;
use opcua::types::{
    Array, DataTypeId, DateTime, EUInformation, ExtensionObject, NodeId, UAString, Variant,
    VariantScalarTypeId,
};
use serde_json::Value;

/// The values of `ResultEvaluationEnum`, in order.
pub(super) const EVALUATIONS: [&str; 4] = ["Undefined", "OK", "NotOK", "NotDecidable"];

const UNDEFINED: i32 = 0;
const OK: i32 = 1;
pub(super) const NOT_OK: i32 = 2;
pub(super) const NOT_DECIDABLE: i32 = 3;

/// The evaluation of a verdict or an outcome, by its word. What has no limits, or was cut short, is not evaluated.
pub(super) fn evaluation(word: Option<&str>) -> i32 {
    if let Some(verdict) = word.and_then(Verdict::from_name) {
        return match verdict {
            Verdict::Pass => OK,
            Verdict::FailLow | Verdict::FailHigh => NOT_OK,
            Verdict::UnsureLow | Verdict::UnsureHigh => NOT_DECIDABLE,
            Verdict::Measured => UNDEFINED,
        };
    }
    match word.and_then(Outcome::from_name) {
        Some(Outcome::Accepted) => OK,
        Some(Outcome::Rejected) => NOT_OK,
        Some(Outcome::Undecided) => NOT_DECIDABLE,
        Some(Outcome::CutShort | Outcome::Measured) | None => UNDEFINED,
    }
}

/// Where the unit codes of UNECE Recommendation 20 are numbers, by their characters: OPC 10000-8 (from memory; the model
/// file of OPC 40502 has 5066068 for mm).
const UNITS_OF: &str = "http://www.opcfoundation.org/UA/units/un/cefact";

impl Form {
    /// The data type in the address space. `evaluation` is that of the enumeration.
    pub(super) fn data_type(self, evaluation: &NodeId) -> NodeId {
        match self {
            Self::Text | Self::Texts | Self::Id | Self::TextOfEach(_) => DataTypeId::String.into(),
            Self::Whole | Self::Wholes => DataTypeId::UInt64.into(),
            Self::Number | Self::Amount | Self::AmountOfEach(_) => DataTypeId::Double.into(),
            Self::Flag => DataTypeId::Boolean.into(),
            Self::Time => DataTypeId::UtcTime.into(),
            Self::Unit => DataTypeId::EUInformation.into(),
            Self::Evaluation => evaluation.clone(),
        }
    }

    /// Whether the value is a list.
    pub(super) fn is_list(self) -> bool {
        match self {
            Self::Texts | Self::Wholes | Self::TextOfEach(_) | Self::AmountOfEach(_) => true,
            Self::Text
            | Self::Whole
            | Self::Number
            | Self::Flag
            | Self::Time
            | Self::Amount
            | Self::Unit
            | Self::Evaluation
            | Self::Id => false,
        }
    }
}

impl Member {
    /// Its value; empty where the JSON has none.
    pub(super) fn value(&self, json: &Value, journal: &str) -> Variant {
        let found = self.at.iter().find_map(|at| Some((*at, json.pointer(at)?)));
        let Some((at, found)) = found else {
            return if self.form == Form::Evaluation {
                Variant::Int32(UNDEFINED)
            } else {
                Variant::Empty
            };
        };
        match self.form {
            Form::Text => text(found),
            Form::Texts => list(VariantScalarTypeId::String, each(found, text)),
            Form::Whole => whole(found),
            Form::Wholes => list(VariantScalarTypeId::UInt64, each(found, whole)),
            Form::Number => found.as_f64().map_or(Variant::Empty, Variant::Double),
            Form::Flag => found.as_bool().map_or(Variant::Empty, Variant::Boolean),
            Form::Time => time(found),
            Form::Amount => amount(at, found).map_or(Variant::Empty, Variant::Double),
            Form::Unit => unit(at),
            Form::Evaluation => Variant::Int32(evaluation(found.as_str())),
            Form::Id => Variant::from(format!("{journal}/{found}")),
            Form::TextOfEach(key) => list(
                VariantScalarTypeId::String,
                each(found, |axis| axis.get(key).map_or(Variant::Empty, text)),
            ),
            Form::AmountOfEach(keys) => list(
                VariantScalarTypeId::Double,
                each(found, |axis| Variant::Double(amount_of(axis, keys))),
            ),
        }
    }
}

fn text(value: &Value) -> Variant {
    value
        .as_str()
        .map_or(Variant::Empty, |text| Variant::from(text.to_owned()))
}

fn whole(value: &Value) -> Variant {
    value.as_u64().map_or(Variant::Empty, Variant::UInt64)
}

fn time(value: &Value) -> Variant {
    let time = value.as_str().map(DateTime::parse_from_rfc3339);
    time.and_then(Result::ok)
        .map_or(Variant::Empty, Variant::from)
}

/// Each of a list, or the one.
fn each(value: &Value, of: impl Fn(&Value) -> Variant) -> Vec<Variant> {
    match value.as_array() {
        Some(values) => values.iter().map(of).collect(),
        None => vec![of(value)],
    }
}

fn list(of: VariantScalarTypeId, values: Vec<Variant>) -> Variant {
    Array::new(of, values).map_or(Variant::Empty, Variant::from)
}

/// The dimension of the amount under a key, and the unit in which it is served, by which the last digit is exact.
fn dimension(key: &str) -> (Dimension, Unit, u8) {
    if key.ends_with("_mn") {
        (Dimension::Force, Unit::Newton, 3)
    } else {
        (Dimension::Length, Unit::Millimetre, 6)
    }
}

/// The amount in millimetres or newtons: the floating-point number next to its decimal.
fn amount(key: &str, value: &Value) -> Option<f64> {
    let (dimension, unit, decimals) = dimension(key);
    let exact = Quantity::from_base(dimension, value.as_i64()?).in_unit(unit, decimals)?;
    exact.to_string().parse().ok()
}

fn amount_of(axis: &Value, keys: [&str; 2]) -> f64 {
    let mut found = keys.iter().filter_map(|key| amount(key, axis.get(key)?));
    found.next().unwrap_or(f64::NAN)
}

/// Millimetre (MMT) or newton (NEW), by the characters of its code.
fn unit(key: &str) -> Variant {
    let (dimension, _, _) = dimension(key);
    let (unit_id, name, description) = match dimension {
        Dimension::Length => (0x4d_4d_54, "mm", "millimetre"),
        Dimension::Force => (0x4e_45_57, "N", "newton"),
    };
    ExtensionObject::from_message(EUInformation {
        namespace_uri: UAString::from(UNITS_OF),
        unit_id,
        display_name: name.into(),
        description: description.into(),
    })
    .into()
}
