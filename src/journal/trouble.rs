//! Whether a line that this release cannot use is damaged, or of a newer release.
//!
//! In: the lines of a segment with their faults. Out: the one [`Trouble`] that a person must know of.
//!
//! - The next line decides: if it holds the digest of a line, that one is as it was written. What changed on the disk is
//!   damage, whatever it looks like. Nothing confirms the last line, so there the look counts.
//! - A newer line comes before damage. A person who accepts damage goes on from what this release knows, and the rest would
//!   be missing from the next segment.

use super::lines::{Fault, UNREADABLE};
use super::salvage::names;
use super::{Damage, JournalError, SegmentNumber};
use crate::entry::line::Digest;

/// Why a journal cannot simply be continued.
pub(super) enum Trouble {
    Damage(Damage),
    Newer(JournalError),
}

/// A fault that the next line decides about.
struct Open {
    fault: Fault,
    line: u64,
    digest: Digest,
}

/// What was found in a segment so far.
pub(super) struct Troubles {
    number: SegmentNumber,
    found: Option<Trouble>,
    open: Option<Open>,
}

impl Troubles {
    pub(super) fn new(number: SegmentNumber) -> Self {
        Self {
            number,
            found: None,
            open: None,
        }
    }

    /// Whether the lines so far have no fault.
    pub(super) fn is_none(&self) -> bool {
        self.found.is_none() && self.open.is_none()
    }

    /// Takes the faults of a line with its digest.
    pub(super) fn take(&mut self, line: u64, digest: Digest, faults: Vec<Fault>) {
        for fault in faults {
            if fault.newer.is_some() || fault.what == UNREADABLE {
                self.open = Some(Open {
                    fault,
                    line,
                    digest,
                });
            } else if self.found.is_none() {
                self.found = Some(self.damage(fault, line, false));
            }
        }
    }

    /// Takes the next line, before its own faults.
    pub(super) fn followed_by(&mut self, text: &[u8]) {
        if let Some(open) = self.open.take() {
            let holds = names(text, open.digest);
            self.decide(open, Some(holds));
        }
    }

    /// What was found, after the last line.
    pub(super) fn end(mut self) -> Option<Trouble> {
        if let Some(open) = self.open.take() {
            self.decide(open, None);
        }
        self.found
    }

    /// `holds`: whether the next line has the digest; `None` if there is no next line.
    fn decide(&mut self, open: Open, holds: Option<bool>) {
        let Open { fault, line, .. } = open;
        match fault.newer {
            Some(_) if matches!(self.found, Some(Trouble::Newer(_))) => {}
            Some(cause) if holds != Some(false) => {
                let file = self.number.file_name();
                self.found = Some(Trouble::Newer(JournalError::Newer { file, line, cause }));
            }
            _ if self.found.is_none() => {
                self.found = Some(self.damage(fault, line, holds == Some(true)));
            }
            _ => {}
        }
    }

    fn damage(&self, fault: Fault, line: u64, is_as_written: bool) -> Trouble {
        Trouble::Damage(Damage {
            file: self.number.file_name(),
            line: line.saturating_sub(u64::from(fault.line_before)).max(1),
            seq: fault.seq,
            what: fault.what,
            got: fault.got,
            want: fault.want,
            is_as_written,
        })
    }
}
