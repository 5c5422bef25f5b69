//! Verifies a whole journal: every line must be as written, and every entry must follow from those before it.
//!
//! In: the folder, which may be written meanwhile, and what someone kept: a digest, or keys. Out: a [`Report`] with a
//! [`Finding`] for each fault. Nothing is changed. Lines are parsed and hashed on all processors, and then checked in
//! their order.
//!
//! A limit: each line is confirmed by the digest in the next one. So nothing in the journal confirms the last line, or
//! shows that whole lines are missing after it. To check that, keep [`Report::last_digest`] elsewhere and give it as
//! [`Kept::digest`]. And a journal that was rewritten as a whole is intact in itself: seals show that, if the public key
//! was kept ([`Kept::keys`]).

use super::block::{Block, Part, Parts};
use super::dir::{Dir, io_error};
use super::lines::{Chain, Fault, ParsedLine};
use super::seals::{SealCheck, Seals, Wrong};
use super::times::Times;
use super::{JOURNAL_FOLDER, JournalError, SegmentNumber, StoredLine};
use crate::entry::audit::{Mismatch, audit};
use crate::entry::line::{Digest, decode};
use crate::entry::read_again::ReadAgain;
use crate::entry::{
    DamageAccepted, Entry, JournalEntry, JournalId, RolledBack, Seq, Stamped, State,
};
use crate::qualification;
use crate::signing::Trusted;
use crate::workers::Workers;
use std::cell::RefCell;
use std::ops::ControlFlow;
use std::path::Path;

/// A fault: a line that was changed, or an entry that does not follow.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// The segment's file name.
    pub file: String,
    /// Line in the file, from 1; 0 if it is about the file itself.
    pub line: u64,
    /// The entry, where it is known.
    pub seq: Option<Seq>,
    /// Description of the fault.
    pub what: String,
    /// What is there.
    pub got: String,
    /// What is expected.
    pub want: String,
    /// The entry by which a person accepted it.
    pub accepted_in: Option<Seq>,
}

/// The result of verifying a journal.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Report {
    /// Identity of the journal; `None` if it has no entry.
    pub journal: Option<JournalId>,
    /// Number of segments.
    pub segments: u64,
    /// Number of lines.
    pub entries: u64,
    /// Number of readings.
    pub readings: u64,
    /// Number of verdicts that were recomputed.
    pub verdicts: u64,
    /// Number of values of readings and zeros that were decoded again from their bytes.
    pub values: u64,
    /// Number of values that could not be decoded again, because the journal does not name their format.
    pub values_unchecked: u64,
    /// Total length of the segments.
    pub bytes: u64,
    /// The first entry.
    pub first: Option<Seq>,
    /// The last entry.
    pub last: Option<Seq>,
    /// The digest of the last line.
    pub last_digest: Option<Digest>,
    /// Number of bytes after the last newline: torn by a crash, or being written now.
    pub unfinished_bytes: u64,
    /// A kept digest, and the entry whose line has it; `None` if no line has it. If the first segments were removed, it
    /// may be the digest of the line before the first one: an entry before `first`.
    pub kept: Option<(Digest, Option<Seq>)>,
    /// The seals.
    pub seals: Seals,
    /// Number of lines that a newer release may have written; each is among the findings.
    pub newer: u64,
    /// The faults, in the order of the journal.
    pub findings: Vec<Finding>,
}

impl Report {
    /// Whether there is a journal without faults.
    pub fn is_intact(&self) -> bool {
        self.segments > 0 && self.findings.is_empty()
    }
}

/// What somebody kept elsewhere, which the journal must agree with.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Kept {
    /// A digest that one of its lines must have.
    pub digest: Option<Digest>,
    /// The public keys whose seals are trusted.
    pub keys: Option<Trusted>,
}

impl From<Option<Digest>> for Kept {
    fn from(digest: Option<Digest>) -> Self {
        Self { digest, keys: None }
    }
}

/// Verifies the journal of `state_dir`. Without folder or segment, [`Report::segments`] is 0. It is compared with what was
/// `kept`. `each` is given every line, faulty or not, with the number that it has or should have.
pub fn verify(
    state_dir: &Path,
    kept: impl Into<Kept>,
    mut each: impl FnMut(StoredLine<'_>),
) -> Result<Report, JournalError> {
    verify_with(state_dir, kept, |_, _| (), |line, ()| each(line))
}

/// As [`verify`], with `work` done on each line by all processors; `each` is given its result.
pub(crate) fn verify_with<W: Send>(
    state_dir: &Path,
    kept: impl Into<Kept>,
    work: impl Fn(&[u8], &ParsedLine) -> W + Sync,
    each: impl FnMut(StoredLine<'_>, W),
) -> Result<Report, JournalError> {
    verified(state_dir, kept.into(), Workers::of_machine(), work, each)
}

fn verified<W: Send>(
    state_dir: &Path,
    kept: Kept,
    workers: Workers,
    work: impl Fn(&[u8], &ParsedLine) -> W + Sync,
    mut each: impl FnMut(StoredLine<'_>, W),
) -> Result<Report, JournalError> {
    let Kept { digest: kept, keys } = kept;
    let Some(dir) = Dir::open_if_there(&state_dir.join(JOURNAL_FOLDER))? else {
        return Ok(Report {
            kept: kept.map(|digest| (digest, None)),
            ..Report::default()
        });
    };
    let numbers = dir.segments()?;
    let mut walk = Walk::new(keys);
    walk.report.kept = kept.map(|digest| (digest, None));
    let mut parts = Parts::new(&dir, &numbers);
    let spare = RefCell::new(Vec::new());
    let next = || {
        let buffer = spare.borrow_mut().pop();
        let buffer = buffer.unwrap_or_else(|| vec![0; workers.block_bytes]);
        parts.next(buffer).transpose()
    };
    let parse = |part: Result<Part, JournalError>| {
        part.map(|part| {
            let done: Vec<(ParsedLine, W)> = match &part {
                Part::Lines(block) => {
                    let parsed = block.texts().map(|line| {
                        let parsed = ParsedLine::of(line);
                        let done = work(line, &parsed);
                        (parsed, done)
                    });
                    parsed.collect()
                }
                Part::Begin(_) | Part::End { .. } => Vec::new(),
            };
            (part, done)
        })
    };
    workers.in_order(next, parse, |part| {
        let (part, done) = part?;
        match part {
            Part::Begin(number) => walk.begin(number),
            Part::Lines(block) => {
                walk.lines(&block, done, &mut each);
                spare.borrow_mut().push(block.into_buffer());
            }
            Part::End {
                whole,
                unfinished,
                file,
            } => {
                let is_last = numbers.last() == Some(&walk.number);
                let is_empty =
                    whole == 0 && unfinished == 0 && is_still_empty(&dir, walk.number, &file)?;
                walk.end(unfinished, is_empty, is_last);
            }
        }
        Ok::<_, JournalError>(ControlFlow::Continue(()))
    })?;
    walk.look_for_kept();
    walk.end_seals();
    let mut report = walk.report;
    report.seals = walk.seals.found;
    report.values = walk.values.checked;
    report.values_unchecked = walk.values.unchecked;
    report.last = walk.chain.last.filter(|_| report.entries > 0);
    report.last_digest = walk.chain.prev.filter(|_| report.entries > 0);
    Ok(report)
}

/// A segment that is being created gets its first line a moment later.
fn is_still_empty(
    dir: &Dir,
    number: SegmentNumber,
    file: &std::fs::File,
) -> Result<bool, JournalError> {
    let path = dir.path_of(&number.file_name());
    let metadata = file.metadata();
    let metadata = metadata.map_err(|cause| io_error("look at", &path, cause))?;
    Ok(metadata.len() == 0)
}

struct Walk {
    report: Report,
    number: SegmentNumber,
    line: u64,
    chain: Chain,
    /// State after the entries so far; `None` after damage, until the next `segment`.
    state: Option<State>,
    values: ReadAgain,
    times: Times,
    seals: SealCheck,
}

impl Walk {
    fn new(trusted: Option<Trusted>) -> Self {
        Self {
            report: Report::default(),
            number: SegmentNumber::NONE,
            line: 0,
            chain: Chain::BEGINNING,
            state: Some(State::default()),
            values: ReadAgain::default(),
            times: Times::default(),
            seals: SealCheck::new(trusted),
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
                named: None,
                prev: None,
                may_jump: true,
            };
            self.state = None;
            self.times = Times::default();
        } else if self.state.is_none() {
            self.chain.may_jump = true;
        }
    }

    fn lines<W>(
        &mut self,
        block: &Block,
        done: Vec<(ParsedLine, W)>,
        each: &mut impl FnMut(StoredLine<'_>, W),
    ) {
        for (bytes, (parsed, done)) in block.texts().zip(done) {
            self.line += 1;
            self.entry(bytes, parsed);
            let seq = self.chain.named.unwrap_or(Seq::FIRST);
            each(StoredLine { seq, bytes }, done);
        }
        self.report.bytes += block.stored_len();
    }

    fn end(&mut self, unfinished: u64, is_empty: bool, is_last: bool) {
        self.line += 1;
        if is_empty {
            self.line = 0;
            let want = "a segment entry; an empty last segment that a crash left is set aside at the next start";
            self.add(None, "a segment is empty", "0 bytes", want);
        } else if is_last {
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
        }
    }

    fn entry(&mut self, bytes: &[u8], parsed: ParsedLine) {
        self.report.entries += 1;
        self.compare_kept_with_what_was_before(bytes);
        let (stamped, faults) = self.chain.follow(self.number, self.line, parsed);
        let is_damaged = !faults.is_empty();
        for fault in faults {
            self.report.newer += u64::from(fault.newer.is_some());
            self.add_fault(&fault);
        }
        self.compare_kept();
        if is_damaged {
            self.state = None;
            self.times = Times::default();
        }
        let Some(stamped) = stamped else {
            return;
        };
        self.report.first = self.report.first.or(Some(stamped.seq));
        self.count(&stamped);
        if self.state.is_none() && matches!(stamped.entry, Entry::Journal(JournalEntry::Segment(_)))
        {
            self.times = Times::default(); // After damage the history of the clock is unknown.
        }
        let digest = self.chain.prev.unwrap_or(Digest::NONE);
        for wrong in self.seals.follow(&stamped, digest) {
            self.add_wrong(Some(stamped.seq), &wrong);
        }
        if let Some(wrong) = self.times.follow(&stamped) {
            self.add(Some(stamped.seq), wrong.what, &wrong.got, &wrong.want);
        }
        match self.state.take() {
            Some(mut state) => {
                let shown = qualification::audit(&state, &stamped);
                for mismatch in audit(&state, &stamped).into_iter().chain(shown) {
                    self.add_mismatch(stamped.seq, &mismatch);
                }
                if let Some(Mismatch { got, want, .. }) = self.values.check(&state, &stamped) {
                    let what = "value is not what its bytes say";
                    self.add(Some(stamped.seq), what, &got, &want);
                }
                state.apply(&stamped);
                self.state = Some(state);
            }
            None => self.begin_state(&stamped),
        }
        if let Entry::Journal(JournalEntry::DamageAccepted(DamageAccepted { seq, .. })) =
            &stamped.entry
        {
            self.accept(*seq, stamped.seq);
        } else if let Entry::Journal(JournalEntry::RolledBack(RolledBack { end, .. })) =
            &stamped.entry
        {
            self.accept(end.following(), stamped.seq);
        }
    }

    /// Compares the current line with the kept digest.
    fn compare_kept(&mut self) {
        if let Some((digest, found)) = &mut self.report.kept
            && self.chain.prev == Some(*digest)
        {
            *found = self.chain.last;
        }
    }

    /// Compares the kept digest with the line before the first one, if the first segments were removed.
    fn compare_kept_with_what_was_before(&mut self, first: &[u8]) {
        if self.report.entries > 1 || self.chain.prev.is_some() {
            return;
        }
        if let Some((digest, found)) = &mut self.report.kept
            && let Ok((stamped, prev)) = decode(first)
            && prev == *digest
        {
            *found = Some(Seq(stamped.seq.0.saturating_sub(1)));
            self.report.findings.clear();
        }
    }

    fn look_for_kept(&mut self) {
        if let Some((digest, None)) = self.report.kept {
            self.line = 0;
            let what = "no line has the digest that was kept: the journal was cut or rewritten";
            self.add(None, what, "none", &digest.to_string());
        }
    }

    /// Faults about missing seals at the end belong to no line.
    fn end_seals(&mut self) {
        self.line = 0;
        for (seq, wrong) in self.seals.end() {
            self.add_wrong(seq, &wrong);
        }
    }

    fn add_wrong(&mut self, seq: Option<Seq>, wrong: &Wrong) {
        self.add(seq, wrong.what, &wrong.got, &wrong.want);
    }

    /// After damage the state is taken from the next `segment`.
    fn begin_state(&mut self, stamped: &Stamped) {
        if let Entry::Journal(JournalEntry::Segment(_)) = &stamped.entry {
            let mut state = State::default();
            state.apply(stamped);
            self.state = Some(state);
        }
    }

    fn count(&mut self, stamped: &Stamped) {
        if let Some(reading) = stamped.entry.reading() {
            self.report.readings += 1;
            if self.state.is_some() && reading.verdict().is_some() {
                self.report.verdicts += 1;
            }
        }
        if let Some(journal) = stamped.entry.opens() {
            let known = self.report.journal.get_or_insert_with(|| journal.clone());
            if known != journal {
                let known = known.0.clone();
                self.add(Some(stamped.seq), "another journal", &journal.0, &known);
            }
        }
    }

    /// Marks the faults from `damaged` up to the segment in which a person accepted them.
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
