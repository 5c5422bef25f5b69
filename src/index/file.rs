//! The file of one segment's index: `state_dir/index/NNNNNNNN.json`, three lines of JSON.
//!
//! The first line names the segment and the digests of the other two; it stands alone where a segment can have no index.
//! The second has what lies across segments, the
//! third the series that lie within this one, which most questions need of few segments only.
//!
//! - A file that is cut off, changed, of another release, of another segment or of a segment that was written to since is no index: it is made
//!   again.
//! - One that others than the owner of the journal could have written is none either.
//! - It is written whole or not at all, and not synced: the worst that a power cut does is that it is made again.

use super::facts::{Facts, Row};
use super::plan::NEAR;
use crate::durable::{make_folder, put_derived};
use crate::entry::Seq;
use crate::entry::line::Digest;
use crate::journal::{Identity, JOURNAL_FOLDER, SegmentNumber};
use crate::quantity::WallMicros;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::fs::{File, Metadata};
use std::io::{self, BufRead as _, BufReader, Read as _};
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};

/// Name of the folder in `state_dir`.
const INDEX_FOLDER: &str = "index";

/// Version of the form. A release that keeps other facts, or finds them differently, has another one.
const VERSION: u32 = 2;

/// A longer line is not ours.
const LONGEST_LINE: u64 = 64 * 1024 * 1024;

#[derive(Serialize, Deserialize)]
struct Head {
    v: u32,
    /// The [`Identity`] of the segment.
    of: String,
    /// Digests of the other lines; `None` if the segment can have no index.
    lines: Option<[Digest; 2]>,
}

/// What is known of the index of a segment.
pub(super) enum Found<T> {
    Index(T),
    /// It can have none.
    NonePossible,
    /// It has none yet.
    Lacking,
}

impl<T> Found<T> {
    pub(super) const fn is_lacking(&self) -> bool {
        matches!(self, Self::Lacking)
    }
}

/// What of a segment concerns series that are not within it, and reports of later ones.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(super) struct Across {
    /// The series of which nothing is known without reading them, with the lines here that belong to them.
    pub(super) spans: Vec<Span>,
    /// Entries about a series that nothing can change any more: the series and the entry.
    pub(super) late: Vec<(Seq, Seq)>,
    /// Ports that were opened: the instrument and the entry.
    pub(super) attached: Vec<(String, Seq)>,
    /// The last zero of each instrument.
    pub(super) zeros: BTreeMap<String, Seq>,
    /// Series of gauge blocks that were closed: the series, the closing entry, the instruments.
    pub(super) verified: Vec<(Seq, Seq, Vec<String>)>,
    /// Readings that belong to no series, ascending.
    pub(super) loose: Vec<Loose>,
}

/// Entries, the first and the last of which are readings that belong to no series.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Loose {
    pub(super) from: Seq,
    pub(super) to: Seq,
    /// The earliest and the latest time of such a reading, in microseconds.
    pub(super) earliest: i64,
    pub(super) latest: i64,
}

impl Across {
    /// Notes a reading that belongs to no series. One that is near the last is one with it.
    pub(super) fn note_loose(&mut self, seq: Seq, at: WallMicros) {
        match self.loose.last_mut() {
            Some(last) if seq.0 <= last.to.0.saturating_add(NEAR) => {
                last.to = seq;
                last.earliest = last.earliest.min(at.0);
                last.latest = last.latest.max(at.0);
            }
            Some(_) | None => self.loose.push(Loose {
                from: seq,
                to: seq,
                earliest: at.0,
                latest: at.0,
            }),
        }
    }
}

/// The lines of a series that begins or ends in another segment, or in which something out of the ordinary happened.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Span {
    pub(super) id: Seq,
    /// Its first and last line in this segment.
    pub(super) from: Seq,
    pub(super) to: Seq,
    pub(super) instruments: Vec<String>,
    /// The first of the zeros before it that open it too.
    pub(super) zeros: Option<Seq>,
}

/// The series within a segment, ascending.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(super) struct Within {
    pub(super) facts: Vec<Facts>,
    pub(super) rows: Vec<Row>,
}

impl Within {
    /// The row of this series.
    pub(super) fn row(&self, id: Seq) -> Option<&Row> {
        let at = self.rows.binary_search_by_key(&id, |row| row.id).ok()?;
        self.rows.get(at)
    }
}

fn path(state_dir: &Path, number: SegmentNumber) -> PathBuf {
    state_dir.join(INDEX_FOLDER).join(format!("{number}.json"))
}

/// Whether this process may write indexes here, that others take for true: it is the owner of the journal, or root.
pub(super) fn may_write(state_dir: &Path) -> bool {
    use rustix::fs::{Access, access};
    let folder = state_dir.join(INDEX_FOLDER);
    let target = if folder.symlink_metadata().is_ok() {
        &*folder
    } else {
        state_dir
    };
    is_trusted(state_dir, rustix::process::geteuid().as_raw())
        && access(target, Access::WRITE_OK | Access::EXEC_OK).is_ok()
}

/// Whether who owns an index owns the journal too, and so can do no more with it than with the journal.
fn is_trusted(state_dir: &Path, owner: u32) -> bool {
    let journal = state_dir.join(JOURNAL_FOLDER).symlink_metadata();
    owner == 0 || journal.is_ok_and(|journal| journal.uid() == owner)
}

/// Writes the index of a segment, or that it can have none.
pub(super) fn write(
    state_dir: &Path,
    number: SegmentNumber,
    of: &Identity,
    made: Option<(&Across, &Within)>,
) -> io::Result<()> {
    let mut lines = Vec::new();
    let mut digests = None;
    if let Some((across, within)) = made {
        let (across, within) = (serde_json::to_vec(across)?, serde_json::to_vec(within)?);
        digests = Some([Digest::of(&across), Digest::of(&within)]);
        lines = vec![across, within];
    }
    let head = Head {
        v: VERSION,
        of: of.to_string(),
        lines: digests,
    };
    lines.insert(0, serde_json::to_vec(&head)?);
    lines.push(Vec::new());
    let bytes = lines.join(&b'\n');
    make_folder(&state_dir.join(INDEX_FOLDER), 0o700)?;
    put_derived(&path(state_dir, number), &bytes)
}

/// What lies across segments, by the index of exactly this segment.
pub(super) fn across(state_dir: &Path, number: SegmentNumber, of: &Identity) -> Found<Across> {
    match open(state_dir, number, of) {
        None => Found::Lacking,
        Some((None, mut rest)) => {
            let is_over = rest.fill_buf().is_ok_and(<[u8]>::is_empty);
            if is_over {
                Found::NonePossible
            } else {
                Found::Lacking
            }
        }
        Some((Some([across, _]), mut rest)) => {
            read(&mut rest, across).map_or(Found::Lacking, Found::Index)
        }
    }
}

/// Throws away what is here of other segments than these.
pub(super) fn remove_others(state_dir: &Path, segments: &[SegmentNumber]) {
    let known: BTreeSet<PathBuf> = segments
        .iter()
        .map(|number| path(state_dir, *number))
        .collect();
    let items = std::fs::read_dir(state_dir.join(INDEX_FOLDER));
    for item in items.into_iter().flatten().flatten() {
        let path = item.path();
        let is_ours = path
            .extension()
            .is_some_and(|extension| extension == "json");
        if is_ours && !known.contains(&path) {
            let _ = std::fs::remove_file(path);
        }
    }
}

/// The series within the segment; `None` if there is no index of exactly this segment. What was found out to be none is
/// thrown away.
pub(super) fn within(state_dir: &Path, number: SegmentNumber, of: &Identity) -> Option<Within> {
    let read = || {
        let (digests, mut rest) = open(state_dir, number, of)?;
        let [_, digest] = digests?;
        line(&mut rest)?;
        let within: Within = read(&mut rest, digest)?;
        let is_sound = within.rows.iter().all(|row| row.facts < within.facts.len());
        is_sound.then_some(within)
    };
    let found = read();
    if found.is_none() {
        remove(state_dir, number);
    }
    found
}

/// Throws the index of a segment away.
pub(super) fn remove(state_dir: &Path, number: SegmentNumber) {
    let _ = std::fs::remove_file(path(state_dir, number));
}

/// The digests of the lines, and these.
fn open(
    state_dir: &Path,
    number: SegmentNumber,
    of: &Identity,
) -> Option<(Option<[Digest; 2]>, BufReader<File>)> {
    let path = path(state_dir, number);
    let is_ours = |found: &Metadata| {
        found.is_file() && found.mode() & 0o022 == 0 && is_trusted(state_dir, found.uid())
    };
    path.symlink_metadata().ok().filter(is_ours)?;
    let file = File::open(path).ok()?;
    file.metadata().ok().filter(is_ours)?;
    let mut reader = BufReader::new(file);
    let written = line(&mut reader)?;
    let head: Head = serde_json::from_slice(&written).ok()?;
    // No digest covers the head, so a letter in another case would go unnoticed.
    let is_as_written = serde_json::to_vec(&head).ok()? == written;
    let is_it = is_as_written && head.v == VERSION && head.of == of.to_string();
    is_it.then_some((head.lines, reader))
}

fn line(reader: &mut BufReader<File>) -> Option<Vec<u8>> {
    let mut line = Vec::new();
    reader
        .by_ref()
        .take(LONGEST_LINE)
        .read_until(b'\n', &mut line)
        .ok()?;
    line.pop_if(|byte| *byte == b'\n')?;
    Some(line)
}

fn read<T: serde::de::DeserializeOwned>(reader: &mut BufReader<File>, want: Digest) -> Option<T> {
    let line = line(reader)?;
    if Digest::of(&line) != want {
        return None;
    }
    serde_json::from_slice(&line).ok()
}
