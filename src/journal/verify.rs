//! Walks a whole journal: is every line as it was written, and does every entry follow from those
//! before it?
//!
//! In: the folder, which may be written meanwhile. Out: a [`Report`] with a [`Finding`] for each
//! thing that is not so. Changes nothing, and reads a line at a time.
//!
//! What this cannot see: a line is vouched for by the digest in the next one, so the last line, and
//! whole lines missing behind it, are vouched for by nothing in the journal. Whoever keeps
//! [`Report::last_digest`] elsewhere can compare it.

use super::dir::Dir;
use super::lines::{Chain, Fault, Found, Lines};
use super::{JOURNAL_FOLDER, JournalError, SegmentNumber};
use crate::entry::audit::{Mismatch, audit};
use crate::entry::line::Digest;
use crate::entry::{Entry, JournalId, Seq, Stamped, State};
use std::path::Path;

/// Something in a journal that is not as it was written, or does not follow.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// The segment's file name.
    pub file: String,
    /// Its line, from 1; 0 where it is about the file.
    pub line: u64,
    /// The entry, where it is known.
    pub seq: Option<Seq>,
    /// What is wrong.
    pub what: String,
    /// What is there.
    pub got: String,
    /// What should be.
    pub want: String,
    /// The entry by which a person accepted it.
    pub accepted_in: Option<Seq>,
}

/// What a journal amounts to, and what is wrong with it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Report {
    /// The journal's name.
    pub journal: Option<JournalId>,
    /// How many segments there are.
    pub segments: u64,
    /// How many lines there are.
    pub entries: u64,
    /// How many of them are readings.
    pub readings: u64,
    /// How many verdicts were recomputed.
    pub verdicts: u64,
    /// The length of all segments.
    pub bytes: u64,
    /// The first entry.
    pub first: Option<Seq>,
    /// The last entry.
    pub last: Option<Seq>,
    /// The digest of the last line.
    pub last_digest: Option<Digest>,
    /// Bytes behind the last newline: torn by a crash, or on their way just now.
    pub unfinished_bytes: u64,
    /// What is wrong, in the order of the journal.
    pub findings: Vec<Finding>,
}

impl Report {
    /// Nothing is wrong.
    pub fn is_intact(&self) -> bool {
        self.findings.is_empty()
    }
}

/// Walks the journal of `state_dir`. `progress` is told how many bytes more are done, line by line.
pub fn verify(state_dir: &Path, mut progress: impl FnMut(u64)) -> Result<Report, JournalError> {
    let dir = Dir::open(&state_dir.join(JOURNAL_FOLDER))?;
    let numbers = dir.segments()?;
    let mut walk = Walk::new();
    for (at, number) in numbers.iter().enumerate() {
        walk.begin(*number);
        walk.segment(&dir, at + 1 == numbers.len(), &mut progress)?;
    }
    let mut report = walk.report;
    report.last = walk.chain.last.filter(|_| report.entries > 0);
    report.last_digest = walk.chain.prev.filter(|_| report.entries > 0);
    Ok(report)
}

struct Walk {
    report: Report,
    number: SegmentNumber,
    line: u64,
    chain: Chain,
    /// What the entries so far amount to; `None` behind damage, until the next `segment` says it.
    state: Option<State>,
}

impl Walk {
    fn new() -> Self {
        Self {
            report: Report::default(),
            number: SegmentNumber::NONE,
            line: 0,
            chain: Chain::BEGINNING,
            state: Some(State::default()),
        }
    }

    fn begin(&mut self, number: SegmentNumber) {
        let before = std::mem::replace(&mut self.number, number);
        self.line = 0;
        self.report.segments += 1;
        if before.following() != number {
            let missing = SegmentNumber(number.0.saturating_sub(1));
            let missing = match before.following() {
                first if first == missing => first.file_name(),
                first => format!("{} to {}", first.file_name(), missing.file_name()),
            };
            self.add(None, "segments are missing", &missing, "no number left out");
            self.chain = Chain {
                last: None,
                prev: None,
                may_jump: true,
            };
            self.state = None;
        } else if self.state.is_none() {
            self.chain.may_jump = true;
        }
    }

    fn segment(
        &mut self,
        dir: &Dir,
        is_last: bool,
        progress: &mut impl FnMut(u64),
    ) -> Result<(), JournalError> {
        let file = dir.read(self.number)?;
        let mut lines = Lines::new(dir, self.number, &file);
        let done = self.report.bytes;
        loop {
            let found = lines.advance()?;
            self.line = lines.line;
            self.report.bytes = done + lines.from;
            match found {
                Found::Line => {
                    self.entry(&lines.bytes);
                    progress(u64::try_from(lines.bytes.len()).unwrap_or(0) + 1);
                }
                Found::Unfinished | Found::End => break,
            }
        }
        let unfinished = u64::try_from(lines.bytes.len()).unwrap_or(u64::MAX);
        if is_last {
            self.report.unfinished_bytes = unfinished;
        } else if unfinished > 0 {
            let got = format!("{unfinished} bytes without a newline");
            self.add(
                None,
                "a segment ends in the middle of a line",
                &got,
                "a newline",
            );
            self.state = None;
        } else if self.line == 1 {
            self.add(None, "a segment is empty", "0 bytes", "a segment entry");
        }
        Ok(())
    }

    fn entry(&mut self, bytes: &[u8]) {
        self.report.entries += 1;
        let (stamped, faults) = self.chain.follow(self.number, self.line, bytes);
        let is_damaged = !faults.is_empty();
        for fault in faults {
            self.add_fault(&fault);
        }
        if is_damaged {
            self.state = None;
        }
        let Some(stamped) = stamped else {
            return;
        };
        self.report.first = self.report.first.or(Some(stamped.seq));
        self.count(&stamped);
        match self.state.take() {
            Some(mut state) => {
                for mismatch in audit(&state, &stamped) {
                    self.add_mismatch(stamped.seq, &mismatch);
                }
                state.apply(&stamped);
                self.state = Some(state);
            }
            None => self.begin_state(&stamped),
        }
        if let Entry::DamageAccepted { seq, .. } = &stamped.entry {
            self.accept(*seq, stamped.seq);
        } else if let Entry::RolledBack { end, .. } = &stamped.entry {
            self.accept(end.following(), stamped.seq);
        }
    }

    /// Behind damage the state is what the next `segment` says it is.
    fn begin_state(&mut self, stamped: &Stamped) {
        if let Entry::Segment { .. } = &stamped.entry {
            let mut state = State::default();
            state.apply(stamped);
            self.state = Some(state);
        }
    }

    fn count(&mut self, stamped: &Stamped) {
        match &stamped.entry {
            Entry::Reading(reading) => {
                self.report.readings += 1;
                let judged = reading.slot.as_ref().and_then(|slot| slot.verdict);
                if self.state.is_some() && judged.is_some() {
                    self.report.verdicts += 1;
                }
            }
            Entry::Begun { journal } | Entry::Segment { journal, .. } => {
                let known = self.report.journal.get_or_insert_with(|| journal.clone());
                if known != journal {
                    let known = known.0.clone();
                    self.add(Some(stamped.seq), "another journal", &journal.0, &known);
                }
            }
            Entry::Started { .. }
            | Entry::Stopped { .. }
            | Entry::Attached(_)
            | Entry::Detached { .. }
            | Entry::AdapterChanged(_)
            | Entry::AdapterSaid(_)
            | Entry::Disturbed(_)
            | Entry::Armed(_)
            | Entry::Disarmed { .. }
            | Entry::Completed(_)
            | Entry::Zeroed(_)
            | Entry::ZeroSaid { .. }
            | Entry::ZeroDue { .. }
            | Entry::OperatorSaid { .. }
            | Entry::ToolSaid(_)
            | Entry::Unread(_)
            | Entry::Refused { .. }
            | Entry::Doubted { .. }
            | Entry::Retracted { .. }
            | Entry::Restored { .. }
            | Entry::Resumed { .. }
            | Entry::Noted { .. }
            | Entry::Alerted { .. }
            | Entry::ClockStepped { .. }
            | Entry::Gap { .. }
            | Entry::DamageAccepted { .. }
            | Entry::RolledBack { .. } => {}
        }
    }

    /// A person has accepted everything from `damaged` up to the segment that says so.
    fn accept(&mut self, damaged: Seq, accepted_in: Seq) {
        for finding in &mut self.report.findings {
            let is_meant = finding
                .seq
                .is_some_and(|seq| (damaged..accepted_in).contains(&seq));
            if is_meant && finding.accepted_in.is_none() {
                finding.accepted_in = Some(accepted_in);
            }
        }
    }

    fn add(&mut self, seq: Option<Seq>, what: &str, got: &str, want: &str) {
        self.report.findings.push(Finding {
            file: self.number.file_name(),
            line: self.line,
            seq,
            what: what.to_owned(),
            got: got.to_owned(),
            want: want.to_owned(),
            accepted_in: None,
        });
    }

    fn add_fault(&mut self, fault: &Fault) {
        let back = u64::from(fault.line_before && self.line > 1);
        let what = fault.what;
        self.add(Some(fault.seq), what, &fault.got, &fault.want);
        if let Some(finding) = self.report.findings.last_mut() {
            finding.line -= back;
        }
    }

    fn add_mismatch(&mut self, seq: Seq, mismatch: &Mismatch) {
        let what = format!("{} does not follow from the entries before", mismatch.what);
        self.add(Some(seq), &what, &mismatch.got, &mismatch.want);
    }
}
