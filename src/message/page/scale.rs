//! The position of a value between its limits, and the requirements of the next value.

use crate::entry::state::SeriesState;
use crate::entry::{Reading, Seq};
use crate::quantity::{Dimension, Quantity};
use crate::spec::{AxisName, Limits};
use crate::station::prompt::Prompt;
use schemars::JsonSchema;
use serde::Serialize;

/// A value between its limits, in nanometres or millinewtons.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct ScaleMessage {
    /// `seq` of the reading's entry.
    pub seq: u64,
    /// Axis in words.
    pub axis: String,
    /// Base unit: `nm` or `mN`.
    pub base: &'static str,
    /// Position of the value.
    pub value: MarkMessage,
    /// Nominal value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nominal: Option<MarkMessage>,
    /// Lower limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lower: Option<MarkMessage>,
    /// Upper limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub upper: Option<MarkMessage>,
    /// Width of the guard band, in base units; left out with simple acceptance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub guard: Option<i64>,
    /// Name of the uncertainty budget that the guard band is from; left out if it is from the instrument's own properties.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub budget: Option<String>,
    /// Limits as text.
    pub limits: String,
    /// Distance from the limit that decides; left out if the reading was not judged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub miss: Option<MissMessage>,
}

/// Distance of a value from the limit that decides: the one it exceeds, or the nearer one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct MissMessage {
    /// `lower` or `upper`.
    pub limit: &'static str,
    /// Whether the value is outside that limit.
    pub beyond: bool,
    /// Distance with its unit, never negative; left out for a value on the limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// Fault of the piece, by axis: `too_low`, `too_high`, `too_narrow`, `too_wide`, `too_weak`, `too_strong`,
    /// `too_short`, `too_long`, `too_small`, `too_large`; left out for a value within limits.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fault: Option<String>,
}

/// A slot that may be measured next.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct AskMessage {
    /// Number of the piece, from 1.
    pub piece: u32,
    /// Number of pieces in the series.
    pub pieces: u32,
    /// Name of the axis.
    pub axis: String,
    /// Size of the gauge block to measure; left out for crimps.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub block: Option<String>,
    /// Lower limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lower: Option<String>,
    /// Upper limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub upper: Option<String>,
    /// Nominal value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nominal: Option<String>,
    /// Reading that one more zero within two seconds retracts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub undo: Option<UndoMessage>,
}

/// Reading that one more zero can retract.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct UndoMessage {
    /// Number of the piece.
    pub piece: u32,
    /// Name of the axis.
    pub axis: String,
    /// Value with its unit.
    pub value: String,
}

/// A position on a scale.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct MarkMessage {
    /// Position in base units.
    pub at: i64,
    /// Position as text with its unit.
    pub text: String,
}

pub(super) fn scale(
    seq: Seq,
    reading: &Reading,
    series: Option<&SeriesState>,
) -> Option<ScaleMessage> {
    let slot = reading.slot.as_ref()?;
    let limits: &Limits = &slot.limits;
    if limits.are_none() {
        return None; // There is nothing to lie between.
    }
    let mark = |quantity: Quantity| MarkMessage {
        at: quantity.base(),
        text: quantity.to_string(),
    };
    let series = series.filter(|series| series.id == slot.series);
    let axis = series.and_then(|series| series.spec.axis(&slot.axis));
    let guard = axis.and_then(|axis| axis.guard_of(&reading.instrument));
    let guard = guard.filter(|guard| guard.width != 0);
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
        guard: guard.map(|guard| guard.width),
        budget: guard.and_then(|guard| guard.budget.clone()),
        limits: limits.to_string(),
        miss: slot
            .verdict
            .and_then(|_| miss(&slot.axis, limits, reading.value.quantity())),
    })
}

/// Distance of `value` from the limit that decides.
pub(super) fn miss(axis: &AxisName, limits: &Limits, value: Quantity) -> Option<MissMessage> {
    let at = value.base();
    // Distances from each limit into the tolerance.
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

/// The fault of a piece outside a limit of this axis, as a key of the page's texts.
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
        | Prompt::Run(_)
        | Prompt::Connect { .. }
        | Prompt::Adapter { .. }
        | Prompt::Shared { .. }
        | Prompt::Look { .. }
        | Prompt::PullMode { .. }
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
