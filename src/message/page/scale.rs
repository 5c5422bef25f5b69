//! Where a value lies between its limits, and what the next one is measured against.

use crate::entry::state::SeriesState;
use crate::entry::{Reading, Seq};
use crate::quantity::{Dimension, Quantity};
use crate::spec::{AxisName, Limits};
use crate::station::prompt::Prompt;
use serde::Serialize;

/// A value between its limits; lengths in nanometres, forces in millinewtons.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ScaleMessage {
    /// The reading.
    pub seq: u64,
    /// The axis in words.
    pub axis: String,
    /// `nm` or `mN`.
    pub base: &'static str,
    /// The reading's value on the scale.
    pub value: MarkMessage,
    /// The nominal value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nominal: Option<MarkMessage>,
    /// The lower limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower: Option<MarkMessage>,
    /// The upper limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper: Option<MarkMessage>,
    /// How far the limits are drawn in under the guarded rule.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub guard: Option<i64>,
    /// The limits as text.
    pub limits: String,
    /// How far the value is from the limit that matters; left out of a reading that was not judged.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub miss: Option<MissMessage>,
}

/// How far a value is from the limit that decides: the one it misses, or the nearer one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MissMessage {
    /// `lower` or `upper`.
    pub limit: &'static str,
    /// It lies beyond that limit, on the bad side.
    pub beyond: bool,
    /// How far, never negative; left out of a value at the limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// What is wrong with the piece, by axis: `too_low`, `too_high`, `too_narrow`, `too_wide`, `too_weak`,
    /// `too_strong`, `too_short`, `too_long`, `too_small`, `too_large`; left out of a value within its limits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fault: Option<String>,
}

/// A slot that may be measured next.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct AskMessage {
    /// The piece, from 1.
    pub piece: u32,
    /// Of this number of pieces.
    pub pieces: u32,
    /// The axis.
    pub axis: String,
    /// The gauge block that is set between the jaws, if one is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub block: Option<String>,
    /// The lower limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lower: Option<String>,
    /// The upper limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub upper: Option<String>,
    /// The nominal value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nominal: Option<String>,
    /// The reading that one more zero, within two seconds, retracts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub undo: Option<UndoMessage>,
}

/// A reading that can be retracted by one more zero.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct UndoMessage {
    /// Its piece.
    pub piece: u32,
    /// Its axis.
    pub axis: String,
    /// Its value.
    pub value: String,
}

/// A place on a scale.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MarkMessage {
    /// In base units.
    pub at: i64,
    /// As people read it.
    pub text: String,
}

pub(super) fn scale(
    seq: Seq,
    reading: &Reading,
    series: Option<&SeriesState>,
) -> Option<ScaleMessage> {
    let slot = reading.slot.as_ref()?;
    let limits: &Limits = &slot.limits;
    let mark = |quantity: Quantity| MarkMessage {
        at: quantity.base(),
        text: quantity.to_string(),
    };
    let series = series.filter(|series| series.id == slot.series);
    let axis = series.and_then(|series| series.spec.axis(&slot.axis));
    let guard = axis.and_then(|axis| axis.guard_of(&reading.instrument));
    Some(ScaleMessage {
        seq: seq.0,
        axis: slot.axis.words(),
        base: match limits.dimension() {
            Dimension::Length => "nm",
            Dimension::Force => "mN",
        },
        value: MarkMessage {
            at: reading.value.quantity().base(),
            text: reading.value.to_string(),
        },
        nominal: limits.nominal().map(mark),
        lower: limits.lower().map(mark),
        upper: limits.upper().map(mark),
        guard: guard.map(|guard| guard.width).filter(|width| *width != 0),
        limits: limits.to_string(),
        miss: slot
            .verdict
            .and_then(|_| miss(&slot.axis, limits, reading.value.quantity())),
    })
}

/// How far `value` is from the limit that decides.
pub(super) fn miss(axis: &AxisName, limits: &Limits, value: Quantity) -> Option<MissMessage> {
    let at = value.base();
    // From each limit to the good side.
    let lower = limits
        .lower()
        .map(|limit| ("lower", at.saturating_sub(limit.base())));
    let upper = limits
        .upper()
        .map(|limit| ("upper", limit.base().saturating_sub(at)));
    let (limit, inside) = lower
        .into_iter()
        .chain(upper)
        .min_by_key(|(_, inside)| *inside)?;
    let distance = Quantity::from_base(limits.dimension(), inside.saturating_abs());
    Some(MissMessage {
        limit,
        beyond: inside < 0,
        by: (inside != 0).then(|| distance.to_string()),
        fault: (inside < 0).then(|| fault(axis, limits.dimension(), limit == "lower")),
    })
}

/// What is wrong with a piece beyond a limit of this axis, as the key of the page's text.
fn fault(axis: &AxisName, dimension: Dimension, lower: bool) -> String {
    let (below, above) = axis.beyond(dimension);
    (if lower { below } else { above }).replace(' ', "_")
}

/// The slots that may be measured next.
pub(super) fn asks(prompt: &Prompt, series: &SeriesState) -> Vec<AskMessage> {
    let (slots, undo): (Vec<_>, _) = match prompt {
        Prompt::Measure { slot, or, undo, .. } => (std::iter::once(slot).chain(or).collect(), undo),
        Prompt::SetBlock { slot, undo, .. } => (vec![slot], undo),
        Prompt::Arm
        | Prompt::Connect { .. }
        | Prompt::Adapter { .. }
        | Prompt::Shared { .. }
        | Prompt::Zero { .. } => return Vec::new(),
    };
    let block = |axis: &AxisName| {
        let mut blocks = series.spec.subject.blocks().iter();
        let block = blocks.find(|block| block.axis() == *axis)?;
        Some(block.size.to_string())
    };
    let asked = slots.into_iter().filter_map(|slot| {
        let limits = &series.spec.axis(&slot.axis)?.limits;
        Some(AskMessage {
            piece: slot.piece,
            pieces: series.last_piece(),
            axis: slot.axis.to_string(),
            block: block(&slot.axis),
            lower: limits.lower().map(|limit| limit.to_string()),
            upper: limits.upper().map(|limit| limit.to_string()),
            nominal: limits.nominal().map(|limit| limit.to_string()),
            undo: undo.as_ref().map(|reading| UndoMessage {
                piece: reading.piece,
                axis: reading.axis.to_string(),
                value: reading.value.to_string(),
            }),
        })
    });
    asked.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(
        axis: &str,
        limits: &str,
        value: &str,
    ) -> Option<(&'static str, bool, Option<String>, Option<String>)> {
        let limits: Limits = limits.parse().unwrap();
        let value: crate::quantity::Measured = value.parse().unwrap();
        let miss = miss(&AxisName::new(axis), &limits, value.quantity())?;
        Some((miss.limit, miss.beyond, miss.by, miss.fault))
    }

    #[test]
    fn a_miss_names_its_limit_how_far_and_what_is_wrong_and_never_with_a_sign() {
        let by = |text: &str| Some(text.to_owned());
        let height = |value| told("core_crimp_height", "1.62 ±0.05 mm", value);
        assert_eq!(
            height("1.48 mm"),
            Some(("lower", true, by("0.09 mm"), by("too_low")))
        );
        assert_eq!(
            height("1.72 mm"),
            Some(("upper", true, by("0.05 mm"), by("too_high")))
        );
        assert_eq!(
            height("1.57 mm"),
            Some(("lower", false, None, None)),
            "the edge is good"
        );
        assert_eq!(
            height("1.65 mm"),
            Some(("upper", false, by("0.02 mm"), None))
        );
        assert_eq!(
            told("core_crimp_width", "2.40 ±0.10 mm", "2.20 mm"),
            Some(("lower", true, by("0.10 mm"), by("too_narrow")))
        );
        assert_eq!(
            told("pull_force", ">= 180 N", "150 N"),
            Some(("lower", true, by("30 N"), by("too_weak")))
        );
        assert_eq!(
            told("strip_length", "4.5 ±0.3 mm", "4.0 mm"),
            Some(("lower", true, by("0.20 mm"), by("too_short")))
        );
        assert_eq!(
            told("bellmouth", "<= 0.5 mm", "0.8 mm"),
            Some(("upper", true, by("0.30 mm"), by("too_large")))
        );
    }
}
