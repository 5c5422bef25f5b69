//! Checks whether a value is plausible on its axis, and guesses the cause if it is not.
//!
//! An implausible value does not count. The same value again within ten seconds counts, because a very bad crimp must
//! fail and not be ignored.

use crate::entry::state::Slot;
use crate::quantity::{Dimension, Measured, MonoMicros, Quantity, Unit};
use crate::spec::{ArmedAxis, ArmedInstrument, ArmedSpec, AxisName, Verdict, judge};
use std::time::Duration;

/// An implausible value that is repeated within this time counts.
const MEANT_WITHIN: Duration = Duration::from_secs(10);

/// The last implausible value, kept until it is repeated or replaced.
#[derive(Debug, Clone)]
pub(super) struct Doubt {
    slot: Slot,
    value: Quantity,
    at: MonoMicros,
}

/// Why a value is not plausible.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Implausible {
    /// The instrument cannot show this value (range or sign); repeating it changes nothing.
    Impossible {
        /// Cause and remedy, in words for the operator.
        hint: String,
    },
    /// Outside the plausible window of its axis; if repeated, it counts.
    Unlikely {
        /// Cause and remedy, in words for the operator.
        hint: String,
    },
}

/// Checks `value` against the instrument's range and the plausible window of the current axis.
pub(super) fn check(
    value: Measured,
    axis: &ArmedAxis,
    instrument: &ArmedInstrument,
    spec: &ArmedSpec,
) -> Option<Implausible> {
    let base = value.quantity().base();
    if base < instrument.resolution.base().saturating_mul(-2) {
        return Some(Implausible::Impossible {
            hint:
                "below zero: the zero was set with the jaws open, or the jaws are not on the piece"
                    .to_owned(),
        });
    }
    if let Some((from, to)) = instrument.range
        && !(from.base()..=to.base()).contains(&base)
        && base > 0
    {
        return Some(Implausible::Impossible {
            hint: format!("outside the range of {}: {from} to {to}", instrument.name),
        });
    }
    if axis
        .attempts_within(&spec.zero)
        .is_some_and(|within| base.saturating_abs() <= within)
    {
        let hint = likely_cause(value, axis, spec);
        return Some(Implausible::Impossible {
            hint: hint.unwrap_or_else(|| too_near_to_zero(axis)),
        });
    }
    if shows_too_few_digits(value, instrument) {
        return Some(Implausible::Unlikely {
            hint: format!(
                "fewer digits than {} shows: check its battery; if the value is right, press the data key again",
                instrument.name
            ),
        });
    }
    let fits = |axis: &ArmedAxis, base: i64| in_window(axis, base);
    if fits(axis, base) {
        return None;
    }
    Some(Implausible::Unlikely {
        hint: likely_cause(value, axis, spec).unwrap_or_else(|| far_off(axis)),
    })
}

/// Whether the display dropped digits. With a failing battery `1.63` becomes `1.6`, which is another value.
fn shows_too_few_digits(value: Measured, instrument: &ArmedInstrument) -> bool {
    let (unit, shown) = (value.unit(), value.digits().decimals());
    let is_exact = |decimals: u8| {
        let digits = instrument.resolution.in_unit(unit, decimals);
        digits.and_then(|digits| Quantity::of(digits, unit)) == Some(instrument.resolution)
    };
    unit == instrument.unit && !is_exact(shown) && (shown..=9).any(is_exact)
}

fn in_window(axis: &ArmedAxis, base: i64) -> bool {
    axis.plausible
        .is_none_or(|(least, greatest)| (least.base()..=greatest.base()).contains(&base))
}

/// The likely cause of a value outside the window of `axis`; `None` if none is recognized.
fn likely_cause(value: Measured, axis: &ArmedAxis, spec: &ArmedSpec) -> Option<String> {
    if let Some(other) = other_axis(value.quantity().base(), axis, spec) {
        return Some(format!("looks like a {}", short_name(&other.name)));
    }
    let unit = fitting_unit(value, spec)?;
    Some(format!("looks like {}", unit_in_words(unit)))
}

/// Another unit in which the digits would be plausible on an axis of the series: the one that is nearest to its limits.
fn fitting_unit(value: Measured, spec: &ArmedSpec) -> Option<Unit> {
    let others: &[Unit] = match value.unit() {
        Unit::Millimetre => &[Unit::Inch],
        Unit::Inch => &[Unit::Millimetre],
        Unit::Newton => &[Unit::PoundForce, Unit::KilogramForce],
        Unit::PoundForce => &[Unit::KilogramForce, Unit::Newton],
        Unit::KilogramForce => &[Unit::PoundForce, Unit::Newton],
        Unit::Centimetre | Unit::Micrometre | Unit::Kilonewton => &[],
    };
    let off_by = |unit: Unit| {
        let quantity = Quantity::of(value.digits(), unit)?;
        let fits = |axis: &&ArmedAxis| axis.plausible.is_some() && would_be(quantity, axis);
        let from_limits = |axis: &ArmedAxis| {
            let limit = axis.limits.lower().map(Quantity::base);
            let at = axis.limits.centre().or(limit)?;
            Some(quantity.base().saturating_sub(at).saturating_abs())
        };
        let fitting = spec.axes.iter().filter(fits);
        fitting.filter_map(from_limits).min()
    };
    // Pounds and kilograms are near to each other: both may fit.
    let fitting = others
        .iter()
        .filter_map(|unit| Some((off_by(*unit)?, *unit)));
    fitting
        .min_by_key(|(off_by, _)| *off_by)
        .map(|(_, unit)| unit)
}

/// Whether the quantity is plausible on the axis. The plausible window of a force is so wide that almost any force lies
/// in it in another unit, so a force must lie within the limits.
fn would_be(quantity: Quantity, axis: &ArmedAxis) -> bool {
    let is_force = quantity.dimension() == Dimension::Force;
    let passes = judge(quantity, &axis.limits, 0) == Verdict::Pass;
    in_window(axis, quantity.base()) && (passes || !is_force)
}

/// The other unit in which the digits must have been shown. They lie between two steps of the instrument's display,
/// which it cannot show, and they are plausible in that unit. For example, 0.0638 from a display in steps of 0.01 mm is
/// a height in inches, and not a zero that is off.
pub(super) fn in_other_unit(
    value: Measured,
    instrument: &ArmedInstrument,
    spec: &ArmedSpec,
) -> Option<Unit> {
    let counts = value
        .quantity()
        .base()
        .checked_rem(instrument.resolution.base());
    let between = counts.is_some_and(|rest| rest != 0);
    between.then(|| fitting_unit(value, spec))?
}

fn other_axis<'a>(base: i64, axis: &ArmedAxis, spec: &'a ArmedSpec) -> Option<&'a ArmedAxis> {
    spec.axes
        .iter()
        .filter(|other| other.name != axis.name && other.plausible.is_some())
        .find(|other| in_window(other, base))
}

fn far_off(axis: &ArmedAxis) -> String {
    match axis.plausible {
        Some((from, to)) => format!(
            "not plausible for a {}, {from} to {to}; if it is right, press the data key again within ten seconds",
            axis.name.words()
        ),
        None => "not plausible".to_owned(),
    }
}

fn too_near_to_zero(axis: &ArmedAxis) -> String {
    format!(
        "nearer to zero than to any {}; if it is a zero, announce it before the press (tallyjaw zero, card, page or pedal)",
        axis.name.words()
    )
}

/// Short form of an axis name for messages: `core_crimp_height` → `height`.
fn short_name(axis: &AxisName) -> String {
    match axis.as_str() {
        "core_crimp_height" => "height".to_owned(),
        "core_crimp_width" => "width".to_owned(),
        _ => axis.words(),
    }
}

fn unit_in_words(unit: Unit) -> &'static str {
    match unit {
        Unit::Millimetre => "millimetres",
        Unit::Centimetre => "centimetres",
        Unit::Micrometre => "micrometres",
        Unit::Inch => "inches",
        Unit::Newton => "newtons",
        Unit::Kilonewton => "kilonewtons",
        Unit::KilogramForce => "kilograms-force",
        Unit::PoundForce => "pounds-force",
    }
}

impl Doubt {
    pub(super) fn new(slot: Slot, value: Quantity, at: MonoMicros) -> Self {
        Self { slot, value, at }
    }

    /// Whether `value` repeats this one: same slot, at most one resolution step apart, and in time.
    pub(super) fn is_repeated(
        &self,
        slot: &Slot,
        value: Quantity,
        resolution: Quantity,
        now: MonoMicros,
    ) -> bool {
        let apart = self
            .value
            .base()
            .saturating_sub(value.base())
            .saturating_abs();
        self.slot == *slot && apart <= resolution.base() && now.since(self.at) <= MEANT_WITHIN
    }
}
