//! What keeps instruments and tools right: calibration, verification, checks; and what is overdue.
//!
//! Overdue work is warned of and recorded, never refused: what follows from it is the shop's to say.

use super::{ArmedSpec, ArmedSubject, ToolClass};
use crate::quantity::{Date, WallMicros};

/// The care of an instrument, as configured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct InstrumentCare {
    /// When it was last calibrated.
    pub calibrated: Option<Date>,
    /// The last day on which that calibration is good.
    pub calibration_due: Option<Date>,
    /// It is to be verified against gauge blocks every so many days.
    pub verify_every_days: Option<u32>,
}

/// The last verification of an instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Verified {
    /// The series: the seq of its `armed` entry.
    pub series: u64,
    /// When it was closed.
    pub at: WallMicros,
    /// Every error was within the maximum permissible one.
    pub accepted: bool,
}

/// The care of a crimp tool, as configured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ToolCare {
    /// When it was last checked.
    pub last_check: Option<Date>,
    /// The last day on which that check is good.
    pub check_due: Option<Date>,
    /// It is to be checked again after so many crimps.
    pub check_every_crimps: Option<u32>,
    /// Crimps it had made before this journal began.
    pub crimps_before: u64,
    /// Crimps it had made in all when it was last checked; `crimps_before` where that is not said.
    pub crimps_at_check: Option<u64>,
}

impl InstrumentCare {
    /// The last day on which `verified` is good enough; `None` where no verification is asked for.
    pub fn verify_due(&self, verified: Option<Verified>) -> Option<Date> {
        Date::of(verified?.at)?.plus_days(self.verify_every_days?)
    }
}

impl ToolCare {
    /// Crimps since the last check, of a tool that has made so many in all.
    pub fn since_check(&self, crimps: u64) -> u64 {
        crimps.saturating_sub(self.crimps_at_check.unwrap_or(self.crimps_before))
    }
}

/// What is overdue or failed of the instruments and the tool of a series, in words.
pub fn warnings(spec: &ArmedSpec, now: WallMicros) -> Vec<String> {
    let mut found = Vec::new();
    let is_of_blocks = matches!(spec.subject, ArmedSubject::Blocks(_));
    for instrument in &spec.instruments {
        let name = &instrument.name;
        let care = &instrument.care;
        if let Some(due) = care.calibration_due.filter(|due| due.is_over(now)) {
            found.push(format!(
                "the calibration of {name} was due on {due}: have it calibrated"
            ));
        }
        if is_of_blocks {
            continue;
        }
        match (instrument.verified, care.verify_every_days) {
            (Some(verified), _) if !verified.accepted => found.push(format!(
                "{name} failed its last verification, series {}: have it adjusted, and verify it again",
                verified.series
            )),
            (None, Some(days)) => found.push(format!(
                "{name} is to be verified every {days} days, and never was: verify it against gauge blocks"
            )),
            (verified @ Some(_), Some(_)) => {
                let due = care.verify_due(verified).filter(|due| due.is_over(now));
                found.extend(due.map(|due| {
                    format!("the verification of {name} was due on {due}: verify it against gauge blocks")
                }));
            }
            (Some(_) | None, None) => {}
        }
    }
    let Some(tool) = &spec.tool else {
        return found;
    };
    let id = &tool.id;
    if let Some(due) = tool.care.check_due.filter(|due| due.is_over(now)) {
        found.push(format!(
            "the check of {id} was due on {due}: have it checked"
        ));
    }
    let since = tool.crimps.map(|crimps| tool.care.since_check(crimps));
    if let (Some(most), Some(since)) = (tool.care.check_every_crimps, since)
        && since >= u64::from(most)
    {
        found.push(format!(
            "{id} has made {since} crimps since its last check, want a check every {most}: have it checked"
        ));
    }
    if let Some(needs) = tool
        .needs
        .as_ref()
        .filter(|_| tool.class == ToolClass::Repair)
    {
        found.push(format!(
            "for crimps of the repair-class tool {id} the maker's sheet asks: {needs}"
        ));
    }
    found
}
