//! Opens a journal, and handles a torn tail or a damaged entry.
//!
//! In: the folder. Out: a [`Writer`] at the end with the [`State`] there, or the reason why nothing may be written.
//!
//! - Only the last segment is read, on all processors, and the last line of the one before, because a segment begins
//!   with the whole state. The chain within it is checked; that of earlier segments is left to `verify`.
//! - Only bytes after the last newline are torn. An entry and its newline are written together, so those bytes were
//!   never announced. They are moved to a file beside the segment. A segment without other content is removed, and the
//!   one before becomes the last.
//! - Any other change is damage, because a complete line may have been announced. Nothing is written until a person has
//!   accepted it (see [`super::salvage`]).
//! - The end may have been written by a process that was killed before it synced. So it is synced before it is shown.

use super::block::{Part, Parts};
use super::dir::{Dir, io_error};
use super::lines::{Chain, ParsedLine, last_line};
use super::reader::len;
use super::salvage::salvage;
use super::trouble::{Trouble, Troubles};
use super::witness::{End, of_a_vanished_one};
use super::writer::{Manner, Position};
use super::{
    Damage, JOURNAL_FOLDER, JournalError, RolledBack, SEGMENT_BYTES, SegmentNumber, StateLock,
    Storage as _, Witness, Writer,
};
use crate::entry::line::Digest;
use crate::entry::{Begun, Entry, JournalId, Seq, Stamped, State};
use crate::quantity::WallMicros;
use crate::workers::Workers;
use std::collections::VecDeque;
use std::fs::File;
use std::io::{Read as _, Seek as _, SeekFrom};
use std::ops::ControlFlow;
use std::path::Path;

/// Options for opening a journal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Options {
    /// Time of entries that opening makes (`begun`, `damage_accepted`).
    pub now: WallMicros,
    /// `false` only for measuring the cost of syncing.
    pub sync: bool,
    /// The first damaged entry, if a person accepted it.
    pub accept_damage: Option<Seq>,
    /// The last entry of the journal, if a person accepted that others know more.
    pub accept_rollback: Option<Seq>,
    /// A longer segment is full.
    pub segment_bytes_most: u64,
}

impl Options {
    /// With syncing, segments of [`SEGMENT_BYTES`], and no damage accepted.
    pub const fn at(now: WallMicros) -> Self {
        Self {
            now,
            sync: true,
            accept_damage: None,
            accept_rollback: None,
            segment_bytes_most: SEGMENT_BYTES,
        }
    }

    const fn manner(&self) -> Manner {
        Manner {
            sync: self.sync,
            segment_bytes_most: self.segment_bytes_most,
        }
    }
}

/// An open journal.
#[derive(Debug)]
pub struct Opened {
    /// The writer for [`super::spawn`]. It holds the lock of `state_dir`.
    pub writer: Writer<Dir>,
    /// State after all entries. It always has a journal identity and a last entry, because opening begins a new
    /// journal.
    pub state: State,
    /// Identity of the journal.
    pub journal: JournalId,
    /// The first entry that can be read: 1 unless old segments were moved away.
    pub first: Seq,
    /// The last entry and the digest of its line.
    pub tail: (Seq, Digest),
    /// Wall time of that entry.
    pub last_at: WallMicros,
    /// The torn line that was moved to a file; the last one, if there were several.
    pub torn: Option<Torn>,
}

/// A half-written last line that was moved to a file. It was never announced.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Torn {
    /// Name of the file beside the segments.
    pub file: String,
    /// Length of the torn line.
    pub bytes: u64,
}

/// Opens the journal of `state_dir`, or begins one. The lock file is the only witness of its end.
pub fn open(state_dir: &Path, options: Options) -> Result<Opened, JournalError> {
    open_known(state_dir, options, Vec::new())
}

/// As [`open`], with further witnesses: the entries that they know must exist, unless a person accepted that they are
/// lost.
pub fn open_known(
    state_dir: &Path,
    options: Options,
    mut witnesses: Vec<Witness>,
) -> Result<Opened, JournalError> {
    let lock = StateLock::take(state_dir)?;
    witnesses.extend(lock.found().cloned());
    let mut opened = open_held(state_dir, lock, options, &witnesses)?;
    opened.writer.note_end_of(&opened.journal);
    Ok(opened)
}

fn open_held(
    state_dir: &Path,
    lock: StateLock,
    options: Options,
    witnesses: &[Witness],
) -> Result<Opened, JournalError> {
    let mut dir = Dir::open_or_make(&state_dir.join(JOURNAL_FOLDER))?;
    let mut numbers = dir.segments()?;
    let mut torn = None;
    while let Some(number) = numbers.last().copied() {
        let file = dir.read_and_append(number)?;
        sync(&mut dir, number, &file)?;
        let ending = Ending::read(&dir, number, &file, &numbers)?;
        torn = ending.set_torn_aside(&mut dir, number, &file)?.or(torn);
        if ending.good_bytes == 0 {
            remove(&mut dir, number)?;
            numbers.pop();
            continue;
        }
        let first = first_seq(&dir, &numbers)?;
        let at_end = |segment_bytes, last, prev| Position {
            segment: number,
            segment_bytes,
            opening_bytes: ending.opening_bytes,
            last: Some(last),
            prev,
        };
        match (ending.fault, options.accept_damage) {
            (None, None) => {
                let (last, prev) = (ending.last, ending.prev);
                let last_at = ending.last_at.unwrap_or(options.now);
                let rolled_back = rolled_back(state_dir, (&ending.state, last), witnesses)?;
                let Some((journal, rolled_back)) = options.accepts(rolled_back)? else {
                    let position = at_end(ending.good_bytes, last, prev);
                    let manner = options.manner();
                    let writer = Writer::new(dir, Some(file), position, manner, Some(lock));
                    return opened(writer, ending.state, first, (torn, last_at));
                };
                let behind = rolled_back.behind(&journal);
                let position = at_end(ending.good_bytes, behind, prev);
                let mut writer = Writer::new(dir, None, position, options.manner(), Some(lock));
                let left = (journal, ending.state);
                let now = options.now.max(last_at); // The core reports a clock that is behind, when it starts.
                let state = rolled_back.write(&mut writer, left, now)?;
                return opened(writer, state, first, (torn, now));
            }
            (Some(Trouble::Newer(error)), _) => return Err(error),
            (Some(Trouble::Damage(damage)), None) => return Err(Box::new(damage).into()),
            (Some(Trouble::Damage(damage)), Some(asked)) if damage.seq == asked => {
                let mut salvaged = salvage(&dir, &numbers, damage)?;
                let end = (salvaged.state(), salvaged.last);
                let accepted = options.accepts(rolled_back(state_dir, end, witnesses)?)?;
                if let Some((journal, rolled_back)) = &accepted {
                    salvaged.last = rolled_back.behind(journal);
                }
                let position = at_end(ending.good_bytes, salvaged.last, salvaged.prev);
                let mut writer = Writer::new(dir, None, position, options.manner(), Some(lock));
                let rolled_back = accepted.map(|(_, rolled_back)| rolled_back);
                let state = salvaged.write(&mut writer, rolled_back, options.now)?;
                return opened(writer, state, first, (torn, options.now));
            }
            (fault, Some(asked)) => {
                let found = match fault {
                    Some(Trouble::Damage(damage)) => Some(damage.seq),
                    Some(Trouble::Newer(_)) | None => None,
                };
                return Err(JournalError::OtherDamage { asked, found });
            }
        }
    }
    if let Some(asked) = options.accept_damage {
        return Err(JournalError::OtherDamage { asked, found: None });
    }
    let vanished = of_a_vanished_one(witnesses).map(|found| (JournalId(String::new()), found));
    let vanished = options.accepts(vanished)?.map(|(_, vanished)| vanished);
    begin(dir, lock, options, vanished, torn)
}

/// The witness that knows entries which the journal lacks, and its name.
fn rolled_back(
    state_dir: &Path,
    (state, last): (&State, Seq),
    witnesses: &[Witness],
) -> Result<Option<(JournalId, RolledBack)>, JournalError> {
    let Some(journal) = &state.journal else {
        return Ok(None); // `opened` refuses it.
    };
    let end = End {
        state_dir,
        journal,
        last,
    };
    let found = end.held_against(witnesses)?;
    Ok(found.map(|found| (journal.clone(), found)))
}

impl Options {
    /// Checks that exactly what was found was accepted.
    fn accepts(
        &self,
        found: Option<(JournalId, RolledBack)>,
    ) -> Result<Option<(JournalId, RolledBack)>, JournalError> {
        match (found, self.accept_rollback) {
            (None, None) => Ok(None),
            (Some((_, found)), None) => Err(Box::new(found).into()),
            (Some((journal, found)), Some(asked)) if found.end == asked => {
                Ok(Some((journal, found)))
            }
            (found, Some(asked)) => Err(JournalError::OtherRollback {
                asked,
                found: found.map(|(_, found)| found.end),
            }),
        }
    }
}

/// Begins a journal with its first entry.
fn begin(
    dir: Dir,
    lock: StateLock,
    options: Options,
    vanished: Option<RolledBack>,
    torn: Option<Torn>,
) -> Result<Opened, JournalError> {
    let position = Position {
        segment: SegmentNumber::NONE,
        segment_bytes: 0,
        opening_bytes: 0,
        last: None,
        prev: Digest::NONE,
    };
    let journal = new_id()
        .map_err(|cause| io_error("draw a name for the journal from", Path::new(RANDOM), cause))?;
    let mut writer = Writer::new(dir, None, position, options.manner(), Some(lock));
    let begun = Stamped {
        token: None,
        seq: Seq::FIRST,
        at: options.now,
        entry: Entry::from(Begun { journal }),
    };
    let mut state = State::default();
    state.apply(&begun);
    let mut entries = VecDeque::from([begun]);
    if let Some(vanished) = vanished {
        let entered = Stamped {
            token: None,
            seq: Seq::FIRST.following(),
            at: options.now,
            entry: vanished.entry(),
        };
        state.apply(&entered);
        entries.push_back(entered);
    }
    writer.append(&mut entries)?;
    opened(writer, state, Seq::FIRST, (torn, options.now))
}

fn opened(
    writer: Writer<Dir>,
    state: State,
    first: Seq,
    (torn, last_at): (Option<Torn>, WallMicros),
) -> Result<Opened, JournalError> {
    let tail = writer.tail();
    match (state.journal.clone(), tail) {
        (Some(journal), Some(tail)) => Ok(Opened {
            writer,
            state,
            journal,
            first,
            tail,
            last_at,
            torn,
        }),
        (None, _) | (_, None) => Err(Box::new(Damage {
            file: SegmentNumber(1).file_name(),
            line: 1,
            seq: Seq::FIRST,
            what: "the journal has no name",
            got: "a state without one".to_owned(),
            want: "32 hex digits".to_owned(),
            is_as_written: false,
        })
        .into()),
    }
}

const RANDOM: &str = "/dev/urandom";

fn new_id() -> std::io::Result<JournalId> {
    let mut bytes = [0_u8; 16];
    File::open(RANDOM)?.read_exact(&mut bytes)?;
    Ok(JournalId(format!("{:032x}", u128::from_be_bytes(bytes))))
}

/// Makes the content and name of the file durable.
fn sync(dir: &mut Dir, number: SegmentNumber, file: &File) -> Result<(), JournalError> {
    file.sync_all() // fsync: what a killed process wrote and did not sync
        .and_then(|()| dir.sync_dir()) // fsync: the name of a segment that it made
        .map_err(|cause| io_error("sync", &dir.path_of(&number.file_name()), cause))
}

fn remove(dir: &mut Dir, number: SegmentNumber) -> Result<(), JournalError> {
    dir.remove(number)
        .and_then(|()| dir.sync_dir()) // fsync: the name is gone
        .map_err(|cause| io_error("remove", &dir.path_of(&number.file_name()), cause))
}

fn first_seq(dir: &Dir, numbers: &[SegmentNumber]) -> Result<Seq, JournalError> {
    let Some(number) = numbers.first() else {
        return Ok(Seq::FIRST);
    };
    let file = dir.read(*number)?;
    let said = super::reader::head(&file, 0)
        .map_err(|cause| io_error("read", &dir.path_of(&number.file_name()), cause))?;
    Ok(said.unwrap_or(Seq::FIRST))
}

/// The last segment after reading it.
struct Ending {
    /// The state up to the first fault.
    state: State,
    /// The last entry, damaged or not.
    last: Seq,
    /// Wall time of that entry, if it can be read.
    last_at: Option<WallMicros>,
    /// Digest of its line.
    prev: Digest,
    /// Length of the first line, with its newline.
    opening_bytes: u64,
    /// Length up to the last newline.
    good_bytes: u64,
    /// Bytes after that.
    torn: Vec<u8>,
    /// Whether the file holds no complete line, so that it is torn as a whole.
    is_torn: bool,
    /// Why it cannot simply be continued.
    fault: Option<Trouble>,
}

impl Ending {
    fn read(
        dir: &Dir,
        number: SegmentNumber,
        file: &File,
        numbers: &[SegmentNumber],
    ) -> Result<Self, JournalError> {
        let before = match numbers.iter().rev().nth(1) {
            Some(before) if Some(*before) == number.before() => last_line(dir, *before)?,
            Some(_) | None => None, // The segment was moved away; `verify` reports it.
        };
        let mut chain = match before {
            Some((last, digest)) => Chain {
                last,
                named: last,
                prev: Some(digest),
                may_jump: true,
            },
            None if number == SegmentNumber(1) => Chain::BEGINNING,
            None => Chain {
                last: None,
                named: None,
                prev: None,
                may_jump: true,
            },
        };
        let mut state = State::default();
        let mut troubles = Troubles::new(number);
        let mut opening_bytes = 0;
        let mut last_at = None;
        let (mut line, mut good_bytes, mut torn_bytes) = (0, 0, 0);
        let workers = Workers::of_machine();
        let only = [number];
        let mut parts = Parts::new(dir, &only);
        let parse = |part: Result<Part, JournalError>| {
            part.map(|part| {
                let parsed: Vec<ParsedLine> = match &part {
                    Part::Lines(block) => block.texts().map(ParsedLine::of).collect(),
                    Part::Begin(_) | Part::End { .. } => Vec::new(),
                };
                (part, parsed)
            })
        };
        let next = || parts.next(vec![0; workers.block_bytes]).transpose();
        workers.in_order(next, parse, |part| {
            let (part, parsed) = part?;
            match part {
                Part::Begin(_) => {}
                Part::Lines(block) => {
                    if line == 0 {
                        opening_bytes = block.texts().next().map_or(0, |text| len(text) + 1);
                    }
                    for (text, parsed) in block.texts().zip(parsed) {
                        line += 1;
                        troubles.followed_by(text);
                        let digest = parsed.digest;
                        let (stamped, faults) = chain.follow(number, line, parsed);
                        last_at = stamped.as_ref().map(|stamped| stamped.at);
                        if troubles.is_none()
                            && let Some(stamped) = &stamped
                        {
                            state.apply(stamped);
                        }
                        troubles.take(line, digest, faults);
                    }
                }
                Part::End {
                    whole, unfinished, ..
                } => (good_bytes, torn_bytes) = (whole, unfinished),
            }
            Ok::<_, JournalError>(ControlFlow::Continue(()))
        })?;
        let mut torn = Vec::new();
        let mut after = file;
        after
            .seek(SeekFrom::Start(good_bytes))
            .and_then(|_| after.take(torn_bytes).read_to_end(&mut torn))
            .map_err(|cause| io_error("read", &dir.path_of(&number.file_name()), cause))?;
        let (last, prev) = (
            chain.last.unwrap_or(Seq(0)),
            chain.prev.unwrap_or(Digest::NONE),
        );
        Ok(Self {
            state,
            last,
            last_at,
            prev,
            opening_bytes,
            good_bytes,
            is_torn: torn_bytes > 0 || good_bytes == 0,
            torn,
            fault: troubles.end(),
        })
    }

    fn set_torn_aside(
        &self,
        dir: &mut Dir,
        number: SegmentNumber,
        file: &File,
    ) -> Result<Option<Torn>, JournalError> {
        if !self.is_torn {
            return Ok(None);
        }
        let name = dir.set_aside(number, &self.torn)?;
        file.set_len(self.good_bytes)
            .and_then(|()| file.sync_all()) // fsync: the torn line is gone
            .map_err(|cause| io_error("cut", &dir.path_of(&number.file_name()), cause))?;
        Ok(Some(Torn {
            file: name,
            bytes: u64::try_from(self.torn.len()).unwrap_or(u64::MAX),
        }))
    }
}
