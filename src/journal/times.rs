//! Do the times of entries follow their order?
//!
//! In: entries in order. Out: what is wrong with the time of one. A clock that was set back has its `clock_stepped`;
//! without one, an entry is not from before the one before it, but for what a slewed clock may run off unnoticed.

use crate::entry::{ClockStepped, Entry, JournalEntry, Stamped};
use crate::quantity::WallMicros;

/// A step by less is slewing or noise, and is not entered.
const UNNOTICED_MICROS: i64 = 1_500_000;

/// The time of the last entry.
#[derive(Debug, Default)]
pub(super) struct Times {
    last: Option<WallMicros>,
}

/// A time that does not follow.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Wrong {
    pub(super) what: &'static str,
    pub(super) got: String,
    pub(super) want: String,
}

impl Times {
    /// Takes the next entry.
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
