//! Checks that the times of entries follow their order.
//!
//! In: entries in order. Out: a fault in the time of one. If the clock was set back there is a `clock_stepped`.
//! Otherwise no entry is earlier than the one before, except for what slewing may cause.

use crate::entry::{ClockStepped, Entry, JournalEntry, Stamped};
use crate::quantity::WallMicros;

/// A smaller step is slewing or noise, which is not entered.
const UNNOTICED_MICROS: i64 = 1_500_000;

/// The time of the last entry.
#[derive(Debug, Default)]
pub(super) struct Times {
    last: Option<WallMicros>,
}

/// A time that contradicts the order.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Wrong {
    pub(super) what: &'static str,
    pub(super) got: String,
    pub(super) want: String,
}

impl Times {
    /// Checks the next entry.
    pub(super) fn follow(&mut self, stamped: &Stamped) -> Option<Wrong> {
        let at = stamped.at;
        let before = self.last.replace(at)?;
        let mut stepped = 0;
        if let Entry::Journal(JournalEntry::ClockStepped(ClockStepped { by_micros })) =
            &stamped.entry
        {
            stepped = (*by_micros).min(0);
        }
        let first = before
            .0
            .saturating_add(stepped)
            .saturating_sub(UNNOTICED_MICROS);
        (at.0 < first).then(|| Wrong {
            what: "time runs back without a `clock_stepped`",
            got: at.to_string(),
            want: match stepped {
                0 => format!("not before {before}"),
                by => format!(
                    "not before {before} set back by {} s",
                    by.saturating_neg() / 1_000_000
                ),
            },
        })
    }
}
