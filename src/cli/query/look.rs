//! What a line shows by itself, found on any thread before the entries are taken in order.

use super::lines;
use crate::cli::Failure;
use crate::config::DaemonConfig;
use crate::entry::Stamped;
use crate::entry::glance::{Glancer, Spotted};
use crate::entry::ledger::{Need, Whole};
use crate::entry::line::{Digest, LineError, decode};
use crate::journal::StoredLine;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

/// An entry, and the digest that it gives for the line before.
type Decoded = Result<(Stamped, Digest), LineError>;

/// The result of looking at a line.
pub(in crate::cli) enum Look {
    /// A reading of a series, and the whole of it if it was parsed already.
    Reading(Spotted, Option<Result<Whole, LineError>>),
    /// An entry that may be needed.
    Entry(Need, Box<Decoded>),
    /// Nothing that is needed.
    Nothing,
}

/// A line with a reading, parsed as far as needed so far.
pub(in crate::cli) struct Rest<'l> {
    pub(super) line: StoredLine<'l>,
    pub(super) whole: Option<Result<Whole, LineError>>,
}

impl Rest<'_> {
    /// The whole reading.
    pub(in crate::cli) fn whole(self, daemon: &DaemonConfig) -> Result<Option<Whole>, Failure> {
        match self.whole {
            Some(whole) => Ok(Some(lines::understood(daemon, whole)?)),
            None => Ok(Whole::of(&lines::decoded(daemon, self.line)?)),
        }
    }
}

/// Looks at lines. It is shared by the threads that look and the one that takes the entries.
#[derive(Debug)]
pub(in crate::cli) struct Looker {
    glancer: Glancer,
    what: Wanted,
    /// Whether whole readings are parsed ahead. They are while at least one in four is kept; with a filter that few
    /// match, this would be wasted work.
    whole: AtomicBool,
    /// Number of recent readings, and how many of them were kept.
    noted: [AtomicU32; 2],
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Wanted {
    Glances,
    Wholes,
    Entries,
    Nothing,
}

/// After this number of readings, parsing ahead is decided again.
const NOTED: u32 = 1024;

impl Looker {
    /// For a search, which needs glances at readings, or `whole` readings.
    pub(in crate::cli) fn of_readings(whole: bool) -> Self {
        Self::new(if whole {
            Wanted::Wholes
        } else {
            Wanted::Glances
        })
    }

    /// For lines, which are needed either as entries or not at all.
    pub(in crate::cli) fn of_lines(are_entries_needed: bool) -> Self {
        Self::new(if are_entries_needed {
            Wanted::Entries
        } else {
            Wanted::Nothing
        })
    }

    fn new(what: Wanted) -> Self {
        Self {
            glancer: Glancer::default(),
            what,
            whole: AtomicBool::new(what == Wanted::Wholes),
            noted: [AtomicU32::new(0), AtomicU32::new(0)],
        }
    }

    /// What the line shows by itself.
    pub(in crate::cli) fn look(&self, line: &[u8]) -> Look {
        self.look_by(line, || decode(line))
    }

    /// As [`Looker::look`], for a line that was decoded already.
    pub(in crate::cli) fn look_again(&self, line: &[u8], decoded: &Decoded) -> Look {
        self.look_by(line, || decoded.clone())
    }

    fn look_by(&self, line: &[u8], decoded: impl Fn() -> Decoded) -> Look {
        let entry = |need| Look::Entry(need, Box::new(decoded()));
        match self.what {
            Wanted::Nothing => Look::Nothing,
            Wanted::Entries => entry(Need::Always),
            Wanted::Glances | Wanted::Wholes => {
                let Some(spotted) = self.glancer.spot(line) else {
                    return match Need::of(line) {
                        Need::Never => Look::Nothing,
                        need @ (Need::WhileStopped | Need::Always) => entry(need),
                    };
                };
                let is_whole = self.whole.load(Ordering::Relaxed);
                let whole = is_whole.then(|| decoded().map(|(stamped, _)| Whole::of(&stamped)));
                Look::Reading(spotted, whole.and_then(Result::transpose))
            }
        }
    }

    /// Notes whether a reading was kept.
    pub(super) fn note(&self, is_kept: bool) {
        if self.what != Wanted::Wholes {
            return;
        }
        let [all, kept] = &self.noted;
        kept.fetch_add(u32::from(is_kept), Ordering::Relaxed);
        if all.fetch_add(1, Ordering::Relaxed) + 1 >= NOTED {
            let kept = kept.swap(0, Ordering::Relaxed);
            all.store(0, Ordering::Relaxed);
            self.whole.store(kept > NOTED / 4, Ordering::Relaxed);
        }
    }
}
