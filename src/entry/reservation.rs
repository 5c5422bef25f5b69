//! Reservations: what limits an outcome, such as an overdue calibration or a low test uncertainty ratio.
//!
//! In: a series, and the time of its closing. Out: its reservations, each once, in a fixed order.
//!
//! - They follow from the armed specification, the instruments with counted readings, and the date. So an audit finds
//!   the same ones.
//! - They change no verdict; the consequences are the shop's decision.

use super::state::SeriesState;
use crate::quantity::{WallMicros, named};
use crate::spec::care;
use crate::spec::sheet::NOT_MAKERS;
use crate::spec::{ArmedInstrument, ArmedSubject, Decision, ToolClass};

named! {
    /// What limits the weight of an outcome.
    #[derive(PartialOrd, Ord)]
    pub enum Reservation {
        /// The calibration of an instrument was due.
        CalibrationOverdue = "calibration_overdue",
        /// The verification of an instrument was due, or never made.
        VerificationOverdue = "verification_overdue",
        /// An instrument failed its last verification.
        VerificationFailed = "verification_failed",
        /// The check of the tool was due, by day or by crimps.
        ToolCheckOverdue = "tool_check_overdue",
        /// The test uncertainty ratio is below 2, and the limits are not drawn in by a guard band.
        UncertaintyRatioLow = "uncertainty_ratio_low",
        /// The tool is of the repair class. Height and width are weaker evidence unless the maker's other checks are
        /// made too.
        RepairClassTool = "repair_class_tool",
        /// The limits are not the maker's: the source of the sheet's row says so.
        NotMakersSheet = "not_makers_sheet",
    }
}

/// Test uncertainty ratio in hundredths. Below it, simple acceptance proves little.
const LOW_RATIO: u32 = 200;

impl Reservation {
    /// The reservation in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::CalibrationOverdue => "calibration overdue",
            Self::VerificationOverdue => "verification overdue",
            Self::VerificationFailed => "verification failed",
            Self::ToolCheckOverdue => "tool check overdue",
            Self::UncertaintyRatioLow => "test uncertainty ratio under 2",
            Self::RepairClassTool => "repair-class tool",
            Self::NotMakersSheet => "not a maker's sheet",
        }
    }
}

/// All reservations in words: `calibration overdue, repair-class tool`.
pub fn words(reservations: &[Reservation]) -> String {
    let words = reservations.iter().map(|one| one.words());
    words.collect::<Vec<_>>().join(", ")
}

/// The reservations of a series that is closed at this time.
pub fn reservations(series: &SeriesState, at: WallMicros) -> Vec<Reservation> {
    let applies = |one: &Reservation| match one {
        Reservation::CalibrationOverdue => used(series).any(|known| {
            let due = known.care.calibration_due;
            due.is_some_and(|due| due.is_over(at))
        }),
        Reservation::VerificationOverdue => verified(series).any(|known| {
            known.verified.is_none_or(|last| last.accepted) && is_unverified(known, at)
        }),
        Reservation::VerificationFailed => {
            verified(series).any(|known| known.verified.is_some_and(|last| !last.accepted))
        }
        Reservation::ToolCheckOverdue => series.spec.tool.as_ref().is_some_and(|tool| {
            let since = tool.crimps.map(|crimps| tool.care.since_check(crimps));
            let most = tool.care.check_every_crimps.map(u64::from);
            tool.care.check_due.is_some_and(|due| due.is_over(at))
                || most.zip(since).is_some_and(|(most, since)| since >= most)
        }),
        Reservation::UncertaintyRatioLow => is_ratio_low(series),
        Reservation::RepairClassTool => {
            let class = series.spec.tool.as_ref().map(|tool| tool.class);
            class == Some(ToolClass::Repair)
        }
        Reservation::NotMakersSheet => {
            let source = series.spec.subject.source();
            source.is_some_and(|source| source.contains(NOT_MAKERS))
        }
    };
    Reservation::ALL.into_iter().filter(applies).collect()
}

/// The instruments of the counted readings.
fn used(series: &SeriesState) -> impl Iterator<Item = &ArmedInstrument> {
    let counts = |known: &&ArmedInstrument| {
        let mut readings = series.readings.iter();
        readings.any(|reading| *reading.instrument == known.name)
    };
    series.spec.instruments.iter().filter(counts)
}

/// The instruments whose verification matters; none while a verification is being made.
fn verified(series: &SeriesState) -> impl Iterator<Item = &ArmedInstrument> {
    let is_of_blocks = is_of_blocks(series);
    used(series).filter(move |_| !is_of_blocks)
}

fn is_unverified(known: &ArmedInstrument, at: WallMicros) -> bool {
    care::verification(&known.name, &known.care, known.verified, at).is_some()
}

fn is_of_blocks(series: &SeriesState) -> bool {
    matches!(series.spec.subject, ArmedSubject::Blocks(_))
}

fn is_ratio_low(series: &SeriesState) -> bool {
    if series.spec.decision != Decision::Simple || is_of_blocks(series) {
        return false;
    }
    series.readings.iter().any(|reading| {
        let axis = series.spec.axis(&reading.axis);
        let guard = axis.and_then(|axis| axis.guard_of(&reading.instrument));
        let ratio = guard.and_then(|guard| guard.test_uncertainty_ratio_hundredths);
        ratio.is_some_and(|ratio| ratio < LOW_RATIO)
    })
}
