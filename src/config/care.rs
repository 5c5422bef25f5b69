//! Reads dates and counts for the care of instruments and tools.

use super::faults::{At, Fault, Faults, quoted};
use super::table::Table;
use crate::quantity::Date;
use crate::spec::job::{LONGEST_WORDS, words};
use crate::spec::{InstrumentCare, Papers, ToolCare};

const DAY: &str = "a day such as \"2026-11-25\"";
/// Ten years, longer than any interval in use.
const MOST_DAYS: u32 = 3_650;
const MOST_CRIMPS: u32 = 1_000_000_000;

/// `calibrated`, `calibration_due` and `verify_every_days` of an instrument.
pub(super) fn instrument(table: &mut Table<'_>, faults: &mut Faults) -> InstrumentCare {
    let calibrated = table.parsed::<Date>(faults, "calibrated", DAY);
    let due = table.parsed::<Date>(faults, "calibration_due", DAY);
    in_order(calibrated.as_ref(), due.as_ref(), "calibration_due", faults);
    let days = table.whole(faults, "verify_every_days", 1..=MOST_DAYS);
    InstrumentCare {
        calibrated: calibrated.map(|day| day.value),
        calibration_due: due.map(|day| day.value),
        verify_every_days: days.map(|days| days.value),
    }
}

/// `serial`, `certificate` and `maker_sheet` of an instrument: texts for a report.
pub(super) fn papers(table: &mut Table<'_>, faults: &mut Faults) -> Papers {
    let mut text = |key| said(table, faults, key);
    Papers {
        serial: text("serial"),
        certificate: text("certificate"),
        maker_sheet: text("maker_sheet"),
    }
}

/// A text that is shown as it is.
pub(super) fn said(
    table: &mut Table<'_>,
    faults: &mut Faults,
    key: &'static str,
) -> Option<String> {
    let text = table.text(faults, key)?;
    match words(&text.value, LONGEST_WORDS) {
        Ok(words) => Some(words),
        Err(why) => {
            let got = format!("{key} is {}", quoted(&text.value));
            faults.add(&text.place, Fault::new(got, why.to_string()));
            None
        }
    }
}

/// `last_check`, `check_due`, `check_every_crimps`, `crimps_before` and `crimps_at_check` of a tool.
pub(super) fn tool(table: &mut Table<'_>, faults: &mut Faults) -> ToolCare {
    let last = table.parsed::<Date>(faults, "last_check", DAY);
    let due = table.parsed::<Date>(faults, "check_due", DAY);
    in_order(last.as_ref(), due.as_ref(), "check_due", faults);
    let every = table.whole(faults, "check_every_crimps", 1..=MOST_CRIMPS);
    let before = table.whole(faults, "crimps_before", 0..=MOST_CRIMPS);
    let at_check = table.whole(faults, "crimps_at_check", 0..=MOST_CRIMPS);
    ToolCare {
        last_check: last.map(|day| day.value),
        check_due: due.map(|day| day.value),
        check_every_crimps: every.map(|crimps| crimps.value),
        crimps_before: before.map_or(0, |crimps| u64::from(crimps.value)),
        crimps_at_check: at_check.map(|crimps| u64::from(crimps.value)),
    }
}

fn in_order(last: Option<&At<Date>>, due: Option<&At<Date>>, key: &str, faults: &mut Faults) {
    let (Some(last), Some(due)) = (last, due) else {
        return;
    };
    if due.value < last.value {
        let got = format!("{key} is {}, before it was last done", due.value);
        let want = format!("want a day after {}", last.value);
        faults.add(&due.place, Fault::new(got, want));
    }
}
