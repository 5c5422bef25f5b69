//! Care of instruments and tools: calibration, verification, checks, and warnings when they are overdue.
//!
//! Overdue care is warned of and recorded, but never stops a series: the consequences are the shop's decision.

use super::{ArmedSpec, ArmedSubject, ToolClass};
use crate::quantity::{Date, WallMicros};

/// The care of an instrument, as configured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct InstrumentCare {
    /// When it was last calibrated.
    pub calibrated: Option<Date>,
    /// The last day on which that calibration is valid.
    pub calibration_due: Option<Date>,
    /// Days from one verification against gauge blocks to the next.
    pub verify_every_days: Option<u32>,
}

/// What an instrument is known by on paper, as configured; a report repeats it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct Papers {
    /// Its serial number.
    pub serial: Option<String>,
    /// The certificate of its last calibration.
    pub certificate: Option<String>,
    /// The maker's data sheet that its resolution and errors are from.
    pub maker_sheet: Option<String>,
}

/// The last verification of an instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Verified {
    /// The series: the seq of its `armed` entry.
    pub series: u64,
    /// When it was closed.
    pub at: WallMicros,
    /// Whether every error was within the maximum permissible error.
    pub accepted: bool,
}

/// The care of a crimp tool, as configured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ToolCare {
    /// When it was last checked.
    pub last_check: Option<Date>,
    /// The last day on which that check is valid.
    pub check_due: Option<Date>,
    /// Crimps from one check to the next.
    pub check_every_crimps: Option<u32>,
    /// Crimps it had made before this journal began.
    pub crimps_before: u64,
    /// The tool's total number of crimps at its last check; `crimps_before` if not configured.
    pub crimps_at_check: Option<u64>,
}

impl InstrumentCare {
    /// The last day on which the verification is valid; `None` if none is required.
    pub fn verify_due(&self, verified: Option<Verified>) -> Option<Date> {
        Date::of(verified?.at)?.plus_days(self.verify_every_days?)
    }
}

impl ToolCare {
    /// Crimps since the last check; `crimps` is the tool's total.
    pub fn since_check(&self, crimps: u64) -> u64 {
        crimps.saturating_sub(self.crimps_at_check.unwrap_or(self.crimps_before))
    }
}

/// Warnings about overdue or failed care of a series' instruments and tool.
pub fn warnings(spec: &ArmedSpec, now: WallMicros) -> Vec<String> {
    let mut found = Vec::new();
    let is_of_blocks = matches!(spec.subject, ArmedSubject::Blocks(_));
    for instrument in &spec.instruments {
        let name = &instrument.name;
        found.extend(calibration(name, &instrument.care, now));
        if !is_of_blocks {
            found.extend(verification(
                name,
                &instrument.care,
                instrument.verified,
                now,
            ));
        }
    }
    let Some(tool) = &spec.tool else {
        return found;
    };
    found.extend(check(&tool.id, &tool.care, tool.crimps, now));
    let is_repair = tool.class == ToolClass::Repair;
    if let Some(needs) = tool.needs.as_ref().filter(|_| is_repair) {
        let id = &tool.id;
        found.push(format!(
            "for crimps made with the repair-class tool {id}, the maker's sheet requires: {needs}"
        ));
    }
    found
}

/// Warning that a calibration is overdue or dated in the future.
pub fn calibration(name: &str, care: &InstrumentCare, now: WallMicros) -> Option<String> {
    if let Some(day) = care.calibrated.filter(|day| day.is_ahead(now)) {
        return Some(format!(
            "the calibration date of {name}, {day}, is in the future: check that date and this machine's clock"
        ));
    }
    let due = care.calibration_due.filter(|due| due.is_over(now))?;
    Some(format!(
        "the calibration of {name} was due on {due}: have it calibrated"
    ))
}

/// Warning that an instrument failed its verification, or that the verification is overdue.
pub fn verification(
    name: &str,
    care: &InstrumentCare,
    verified: Option<Verified>,
    now: WallMicros,
) -> Option<String> {
    match (verified, care.verify_every_days) {
        (Some(verified), _) if !verified.accepted => Some(format!(
            "{name} failed its last verification, series {}: have it adjusted, and verify it again",
            verified.series
        )),
        (None, Some(days)) => Some(format!(
            "{name} is to be verified every {days} days, and never was: verify it against gauge blocks"
        )),
        (verified @ Some(_), Some(_)) => {
            let due = care.verify_due(verified).filter(|due| due.is_over(now))?;
            Some(format!(
                "the verification of {name} was due on {due}: verify it against gauge blocks"
            ))
        }
        (Some(_) | None, None) => None,
    }
}

/// Warnings about the check of a tool: overdue by day, overdue by crimps (`crimps` is the tool's total), or dated in
/// the future.
pub fn check(id: &str, care: &ToolCare, crimps: Option<u64>, now: WallMicros) -> Vec<String> {
    let mut found = Vec::new();
    if let Some(day) = care.last_check.filter(|day| day.is_ahead(now)) {
        found.push(format!(
            "the check date of {id}, {day}, is in the future: check that date and this machine's clock"
        ));
    }
    found.extend(overdue(id, care, crimps, now));
    found
}

/// Those of [`check`] that say that it is overdue.
pub fn overdue(id: &str, care: &ToolCare, crimps: Option<u64>, now: WallMicros) -> Vec<String> {
    let mut found = Vec::new();
    if let Some(due) = care.check_due.filter(|due| due.is_over(now)) {
        found.push(format!(
            "the check of {id} was due on {due}: have it checked"
        ));
    }
    let since = crimps.map(|crimps| care.since_check(crimps));
    if let (Some(most), Some(since)) = (care.check_every_crimps, since)
        && since >= u64::from(most)
    {
        found.push(format!(
            "{id} has made {since} crimps since its last check, want a check every {most}: have it checked"
        ));
    }
    found
}
