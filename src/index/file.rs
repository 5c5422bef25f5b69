//! The file of one segment's index: `state_dir/index/NNNNNNNN.json`, three lines of JSON.
//!
//! The first line names the segment and the digests of the other two lines; it stands alone if the segment cannot have
//! an index. The second line has what concerns other segments, the third the series within this one. Most queries need
//! the third line of a few segments only.
//!
//! - A file that is truncated, changed, from another release, of another segment, or of a segment that was changed
//!   since is not used: the index is made again.
//! - A file that a user other than the owner of the journal could have written is not used either.
//! - It is written as a whole, and not synced: after a power cut the index may have to be made again.

use super::facts::{Facts, Row};
use super::plan::NEAR;
use crate::durable::{make_folder, put_derived};
use crate::entry::Seq;
use crate::entry::line::Digest;
use crate::journal::{Identity, JOURNAL_FOLDER, SegmentNumber};
use crate::quantity::WallMicros;
use crate::system;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::fs::{File, Metadata};
use std::io::{self, BufRead as _, BufReader, Read as _};
use std::path::{Path, PathBuf};

/// Name of the folder in `state_dir`.
const INDEX_FOLDER: &str = "index";

/// Version of the form. It changes if a release stores other facts, or determines them differently.
const VERSION: u32 = 2;

/// A longer line was not written by us.
const LONGEST_LINE: u64 = 64 * 1024 * 1024;

#[derive(Serialize, Deserialize)]
struct Head {
    v: u32,
    /// The [`Identity`] of the segment.
    of: String,
    /// Digests of the other lines; `None` if the segment can have no index.
    lines: Option<[Digest; 2]>,
}

/// The result of looking for the index of a segment.
pub(super) enum Found<T> {
    Index(T),
    /// The segment cannot have one.
    NonePossible,
    /// The segment has none yet.
    Lacking,
}

impl<T> Found<T> {
    pub(super) const fn is_lacking(&self) -> bool {
        matches!(self, Self::Lacking)
    }
}

/// The part of an index that concerns series of several segments, and reports of later series.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(super) struct Across {
    /// The series that must be read, with their lines in this segment.
    pub(super) spans: Vec<Span>,
    /// Late entries about a finished series: the series and the entry.
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

/// A range of entries that begins and ends with a reading that belongs to no series.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Loose {
    pub(super) from: Seq,
    pub(super) to: Seq,
    /// The earliest and the latest time of such a reading, in microseconds.
    pub(super) earliest: i64,
    pub(super) latest: i64,
}

impl Across {
    /// Notes a reading that belongs to no series. If it is close to the last one, it extends its range.
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

/// The lines of a series that begins or ends in another segment, or that has unusual entries.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Span {
    pub(super) id: Seq,
    /// Its first and last line in this segment.
    pub(super) from: Seq,
    pub(super) to: Seq,
    pub(super) instruments: Vec<String>,
    /// The first of the earlier zeros that open it too.
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

/// Whether this process may write indexes that others use: it belongs to the owner of the journal, or to root.
pub(super) fn may_write(state_dir: &Path) -> bool {
    let folder = state_dir.join(INDEX_FOLDER);
    let target = if folder.symlink_metadata().is_ok() {
        &*folder
    } else {
        state_dir
    };
    system::user().is_some_and(|own| is_trusted(state_dir, own)) && system::may_write_in(target)
}

/// Whether the owner of an index also owns the journal, and so could have changed the journal as well.
fn is_trusted(state_dir: &Path, owner: u32) -> bool {
    let journal = state_dir.join(JOURNAL_FOLDER).symlink_metadata();
    owner == 0 || journal.is_ok_and(|journal| system::owner(&journal) == Some(owner))
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

/// The second part of the index of exactly this segment.
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

/// Removes the indexes of segments other than these.
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

/// The series within the segment; `None` if there is no index of exactly this segment. A file that turns out to be
/// invalid is removed.
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

/// Removes the index of a segment.
pub(super) fn remove(state_dir: &Path, number: SegmentNumber) {
    let _ = std::fs::remove_file(path(state_dir, number));
}

/// The digests of the lines, and the lines.
fn open(
    state_dir: &Path,
    number: SegmentNumber,
    of: &Identity,
) -> Option<(Option<[Digest; 2]>, BufReader<File>)> {
    let path = path(state_dir, number);
    let is_ours = |found: &Metadata| {
        let writer = system::sole_writer(found);
        found.is_file() && writer.is_some_and(|writer| is_trusted(state_dir, writer))
    };
    path.symlink_metadata().ok().filter(is_ours)?;
    let file = File::open(path).ok()?;
    file.metadata().ok().filter(is_ours)?;
    let mut reader = BufReader::new(file);
    let written = line(&mut reader)?;
    let head: Head = serde_json::from_slice(&written).ok()?;
    // No digest covers the first line, so it is written again and compared.
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
