//! The names of closed enums on disk.

use crate::entry;
pub(super) use crate::entry::{
    Answer, HoldCause, Means, NotCounted, Outcome, Reservation, RunEnd, ZeroRole,
};
use crate::pictures::PictureFormat;
pub(super) use crate::quantity::Unit;
pub(super) use crate::spec::{
    LooksPer, Material, Order, PullMode, Purpose, SampleRole, Settlement, SizingSystem as Sizing,
    ToolClass, Verdict,
};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::Error;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::borrow::Cow;

/// A text that is borrowed unless it contains an escape.
#[derive(Deserialize)]
struct Text<'t>(#[serde(borrow)] Cow<'t, str>);

/// Writes and reads an enum by its names. A name that was written to a journal never changes.
macro_rules! by_name {
    ($($known:ident),+ $(,)?) => { $(
        impl Serialize for $known {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(self.name())
            }
        }

        impl<'de> Deserialize<'de> for $known {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let Text(text) = Text::deserialize(deserializer)?;
                Self::from_name(&text).ok_or_else(|| {
                    let names: Vec<_> = Self::ALL.iter().map(|known| known.name()).collect();
                    D::Error::custom(format!("got {text:?}, want one of {}", names.join(", ")))
                })
            }
        }

        impl JsonSchema for $known {
            fn schema_name() -> Cow<'static, str> {
                stringify!($known).into()
            }

            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                let names: Vec<_> = Self::ALL.iter().map(|known| known.name()).collect();
                json_schema!({"type": "string", "enum": names})
            }
        }
    )+ };
}

by_name! {
    Answer,
    HoldCause,
    RunEnd,
    SampleRole,
    Settlement,
    LooksPer,
    PictureFormat,
    PullMode,
    Unit,
    Verdict,
    Purpose,
    Order,
    Sizing,
    ToolClass,
    Material,
    Outcome,
    Reservation,
    Means,
    ZeroRole,
    NotCounted,
}

/// Numbers of entries and identities of journals appear as plain numbers and texts in the schema.
macro_rules! as_plain {
    ($($known:ty as $plain:ty),+) => { $(
        impl JsonSchema for $known {
            fn inline_schema() -> bool {
                true
            }

            fn schema_name() -> Cow<'static, str> {
                <$plain>::schema_name()
            }

            fn json_schema(generator: &mut SchemaGenerator) -> Schema {
                <$plain>::json_schema(generator)
            }
        }
    )+ };
}

as_plain!(entry::Seq as u64, entry::JournalId as String);

/// Whether a reading counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(super) enum Standing {
    Counted,
    NotCounted,
}

/// The rule of judging.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(super) enum Rule {
    Simple,
    Guarded,
}
