//! Folds bytes that cannot be read: the first are entered at once, a run of them becomes one entry a second.

use crate::decode::DecodeError;
use crate::quantity::MonoMicros;
use std::fmt;
use std::time::Duration;

/// A run of unread bytes is entered at this interval.
const FOLD: Duration = Duration::from_secs(1);
/// Number of bytes that an entry keeps of a run.
pub(super) const KEPT: usize = 256;

/// Why bytes could not be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Why {
    /// They are not a valid frame of the format.
    Undecoded(DecodeError),
    /// There are too many, more than a person can press.
    Flood,
}

impl Why {
    /// What the operator can do.
    pub(super) fn remedy(&self) -> Option<&'static str> {
        match self {
            Self::Undecoded(error) => error.remedy(),
            Self::Flood => Some(
                "none of it counts; find what sends without pause: a stuck button, a wrong device at the port, or an instrument that streams and is configured for presses",
            ),
        }
    }
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Undecoded(error) => error.fmt(f),
            Self::Flood => f.write_str("over 200 frames a second, more than a person can press"),
        }
    }
}

/// A run of unread bytes, complete for an entry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct UnreadRun {
    /// The first bytes of the run.
    pub(super) raw: Vec<u8>,
    /// Number of all bytes.
    pub(super) bytes: u64,
    /// Number of times that bytes were unread.
    pub(super) times: u64,
    /// Reason of the first time.
    pub(super) reason: Why,
}

/// Folds runs of unread bytes of one instrument or scanner.
#[derive(Debug, Default)]
pub(super) struct Folding {
    run: Option<UnreadRun>,
    told_at: Option<MonoMicros>,
}

impl Folding {
    /// Takes unread bytes. Returns them for an entry at once if there were none in the last second.
    pub(super) fn take(&mut self, now: MonoMicros, raw: &[u8], reason: Why) -> Option<UnreadRun> {
        let bytes = u64::try_from(raw.len()).unwrap_or(u64::MAX);
        if let Some(run) = &mut self.run {
            run.bytes = run.bytes.saturating_add(bytes);
            run.times = run.times.saturating_add(1);
            let room = KEPT.saturating_sub(run.raw.len());
            run.raw.extend(raw.iter().take(room));
        } else {
            let raw = raw.iter().copied().take(KEPT).collect();
            self.run = Some(UnreadRun {
                raw,
                bytes,
                times: 1,
                reason,
            });
        }
        let quiet = self.told_at.is_none_or(|at| now.since(at) >= FOLD);
        if quiet { self.flush(now) } else { None }
    }

    /// Whether unread bytes wait to be entered.
    pub(super) const fn is_running(&self) -> bool {
        self.run.is_some()
    }

    /// Returns the unread bytes that are not entered yet.
    pub(super) fn flush(&mut self, now: MonoMicros) -> Option<UnreadRun> {
        let run = self.run.take()?;
        self.told_at = Some(now);
        Some(run)
    }

    /// Returns the unread bytes that are due to be entered.
    pub(super) fn flush_if_due(&mut self, now: MonoMicros) -> Option<UnreadRun> {
        if self.due_at()? <= now {
            self.flush(now)
        } else {
            None
        }
    }

    /// The next time at which unread bytes must be entered.
    pub(super) fn due_at(&self) -> Option<MonoMicros> {
        self.run.as_ref()?;
        self.told_at.map(|at| at.plus(FOLD))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_unread_bytes_are_entered_at_once_and_a_run_folds() {
        let mut folding = Folding::default();
        let at = |millis: u64| MonoMicros(millis * 1_000);
        let why = Why::Undecoded(DecodeError::NoDigits);
        let first = folding.take(at(0), b"xyz", why.clone()).unwrap();
        assert_eq!((first.bytes, first.times), (3, 1));
        for millis in 1..500 {
            assert_eq!(folding.take(at(millis), b"ab", why.clone()), None);
        }
        assert_eq!(folding.flush_if_due(at(999)), None);
        assert_eq!(folding.due_at(), Some(at(1_000)));
        let run = folding.flush_if_due(at(1_000)).unwrap();
        assert_eq!((run.bytes, run.times, run.raw.len()), (998, 499, KEPT));
        assert_eq!(folding.due_at(), None);
    }
}
