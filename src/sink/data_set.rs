//! A data set of Parquet files: `FOLDER/station=STATION/day=DAY/JOURNAL.parquet`.
//!
//! - There is one file for each station, day (of the reading, in UTC) and journal, with every reading of series that
//!   are closed. When a day gets more readings, its file is made again from the journal and replaced as a whole. So no
//!   reading is ever in two files.
//! - The cursor moves after the files are durable. After a kill between the two, the same files are written again.
//! - The data set can be made again from the journal: stop the daemon, and remove `state_dir/sinks/NAME.json`.
//! - If segments of a day were moved out of the journal, its file stays as it is.
//! - If the bench has a key, each file has its signature beside it, `JOURNAL.parquet.sig`. The old signature is removed
//!   before its file is replaced, and the cursor moves after the new one is durable. So after a kill a file may lack
//!   its signature, and the next start writes both again.

use super::{Sink, SinkContext, SinkError, SinkKind, cursors};
use crate::config::DataSetConfig;
use crate::durable::{Access, WholeFile, failed, make_folder, put};
use crate::entry::ledger::Ledger;
use crate::entry::line::Digest;
use crate::entry::{JournalId, Seq, Stamped};
use crate::export::{ParquetTable, Question};
use crate::journal::Cursor;
use crate::quantity::WallMicros;
use crate::row::{Gather, Row};
use crate::signing::{Key, beside};
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, BufWriter, ErrorKind};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

pub(crate) static DATA_SET: SinkKind = SinkKind {
    name: "parquet",
    open: |place| Ok(Box::new(DataSet::open(place)?)),
};

/// Maximum number of files that are written at a time; more days wait.
const MOST_FILES: usize = 8;

const MICROS_PER_DAY: i64 = 24 * 60 * 60 * 1_000_000;

/// A station and a day: `bench-1`, `2026-11-25`.
type Part = (String, String);
/// A table, and its number of rows.
type Written = (ParquetTable<BufWriter<WholeFile>>, u64);

struct DataSet {
    place: SinkContext,
    folder: PathBuf,
    every: Duration,
    cursor: PathBuf,
    /// Every entry up to here is in the files, except for series that were open.
    done: Seq,
    /// Every entry up to here was looked at.
    seen: Seq,
    /// The readings of the open series, with their times.
    ledger: Ledger<WallMicros>,
    /// For each day, the first entry that its readings need: the `armed` of their first series.
    days: BTreeMap<String, Seq>,
    /// Days with readings that are not in the files yet.
    behind: BTreeSet<Part>,
    last: Instant,
    /// Whether it was reported that the key cannot be used.
    is_unsigned_said: bool,
}

impl DataSet {
    fn open(place: &SinkContext) -> Result<Self, SinkError> {
        let Some(DataSetConfig { folder, every }) = &place.data_set else {
            return Err(failed("open", &place.state_dir)(ErrorKind::InvalidInput.into()).into());
        };
        let cursor = cursors(&place.state_dir)?.join(format!("{}.json", place.name));
        let text = match std::fs::read(&cursor) {
            Err(cause) if cause.kind() == ErrorKind::NotFound => Vec::new(),
            other => other.map_err(failed("read", &cursor))?,
        };
        let mut data_set = Self {
            place: place.clone(),
            folder: folder.clone(),
            every: *every,
            cursor,
            done: Seq(0),
            seen: Seq(0),
            ledger: Ledger::default(),
            days: BTreeMap::new(),
            behind: BTreeSet::new(),
            last: Instant::now(),
            is_unsigned_said: false,
        };
        let _ = data_set.take_up(&text); // If the file is not a cursor of this sink, it begins at the first entry.
        Ok(data_set)
    }

    /// Continues from the cursor, if it is of this journal and folder; otherwise from the beginning.
    fn take_up(&mut self, text: &[u8]) -> Option<()> {
        let object: Value = serde_json::from_slice(text).ok()?;
        let number = |name: &str| object.get(name)?.as_u64().map(Seq);
        let same = |name: &str, want: &str| object.get(name).and_then(Value::as_str) == Some(want);
        let known = same("journal", &self.place.journal)
            && same("folder", &self.folder.to_string_lossy())
            && number("v") == Some(Seq(1));
        let (done, from) = known.then_some((number("after")?, number("from")?))?;
        let days = object.get("days")?.as_object()?.iter();
        self.days = days
            .filter_map(|(day, from)| Some((day.clone(), Seq(from.as_u64()?))))
            .collect();
        (self.done, self.seen) = (done, from);
        Some(())
    }

    fn look(&mut self, stamped: &Stamped) {
        if let Some(series) = self.ledger.take(stamped, Some(stamped.at))
            && stamped.seq > self.done
        {
            let days = series.readings.iter().map(|entered| day_of(entered.kept));
            let part = |day| (series.spec.station.clone(), day);
            self.behind.extend(days.map(part));
        }
        if let Some(reading) = stamped.entry.reading() {
            let day = day_of(stamped.at);
            let series = reading.slot.as_ref().map(|slot| slot.series);
            let needs = series.unwrap_or(stamped.seq);
            let first = self.days.entry(day.clone()).or_insert(needs);
            *first = needs.min(*first);
            if series.is_none() && stamped.seq > self.done {
                self.behind.insert((reading.station.to_string(), day));
            }
        }
        self.seen = stamped.seq;
    }

    /// Writes the waiting days, and moves the cursor.
    fn write(&mut self) -> Result<(), SinkError> {
        let parts = std::mem::take(&mut self.behind);
        if let Err(error) = self.write_parts(&parts) {
            self.behind = parts;
            return Err(error);
        }
        self.last = Instant::now();
        self.move_cursor()
    }

    /// The present key of the bench, which may have been made or replaced.
    fn key(&mut self) -> Option<Key> {
        let key = Key::open(&self.place.state_dir);
        let is_said = std::mem::replace(&mut self.is_unsigned_said, key.is_err());
        key.unwrap_or_else(|error| {
            if !is_said {
                let help = error.remedy();
                tracing::error!(help, "files of the data set are not signed: {error}");
            }
            None
        })
    }

    fn write_parts(&mut self, parts: &BTreeSet<Part>) -> Result<(), SinkError> {
        let from = |(_, day): &Part| self.days.get(day).copied().unwrap_or(Seq(1));
        let Some(from) = parts.iter().map(from).min() else {
            return Ok(());
        };
        let key = self.key();
        let mut files = BTreeMap::new();
        let beginning = self.beginning()?;
        for part in parts {
            if self.is_whole(part, &beginning) {
                files.insert(part.clone(), self.file(part)?);
            }
        }
        let journal = JournalId(self.place.journal.clone());
        let mut gather = Gather::new(journal);
        let mut cursor = Cursor::new(&self.place.state_dir, Seq(from.0.saturating_sub(1)))?;
        let mut last = None;
        while let Some(line) = cursor.next_line(self.seen)? {
            gather.take(&line.entry()?, |row| self.add(&mut files, row))?;
            last = Some(line);
        }
        let last = last.map_or((from, Digest::NONE), |line| {
            (line.seq, Digest::of(&line.bytes))
        });
        for (part, (table, rows)) in files {
            let path = self.path(&part);
            let columns = table.columns().map(str::to_owned).collect();
            beside::withdraw(&path)?;
            let named = table
                .finish(&self.question(&part, columns, (from, last), rows))
                .and_then(|file| file.into_inner().map_err(io::IntoInnerError::into_error))
                .and_then(WholeFile::commit);
            named.map_err(failed("write", &path))?;
            if let Some(key) = &key {
                beside::sign(key, &path)?;
            }
        }
        Ok(())
    }

    /// The first entry that the journal still has, and its day.
    fn beginning(&self) -> Result<(Seq, String), SinkError> {
        let mut cursor = Cursor::new(&self.place.state_dir, Seq(0))?;
        Ok(match cursor.next_line(self.seen)? {
            Some(line) => (line.seq, day_of(line.entry()?.at)),
            None => (Seq(1), String::new()),
        })
    }

    /// Whether the journal still has everything that a day's file needs. Otherwise the new file would have fewer
    /// readings.
    fn is_whole(&self, part: &Part, (first, first_day): &(Seq, String)) -> bool {
        let from = self.days.get(&part.1).copied().unwrap_or(Seq(1));
        let is_whole = *first == Seq(1) || (from >= *first && part.1 > *first_day);
        if !is_whole {
            tracing::error!(
                file = %self.path(part).display(),
                %first,
                remedy = "put the missing segments back, stop the daemon, remove the sink's cursor, start the daemon",
                "older segments of the journal are missing: the file of this day stays as it is, without new readings"
            );
        }
        is_whole
    }

    fn add(&self, files: &mut BTreeMap<Part, Written>, row: &Row<'_>) -> Result<(), SinkError> {
        let part = (row.station.to_owned(), day_of(row.at));
        match files.get_mut(&part) {
            Some((table, rows)) => {
                *rows += 1;
                Ok(table.row(row).map_err(failed("write", &self.path(&part)))?)
            }
            None => Ok(()),
        }
    }

    /// The question of a file: one day of a station, as far as its series are final.
    fn question(
        &self,
        (station, day): &Part,
        columns: Vec<String>,
        (first, (last, digest)): (Seq, (Seq, Digest)),
        rows: u64,
    ) -> Question {
        let since: Option<WallMicros> = format!("{day}T00:00:00Z").parse().ok();
        let until = since.map(|since| WallMicros(since.0 + MICROS_PER_DAY));
        let query = [
            ("station", Some(json!(station))),
            ("since", since.map(|since| json!(since.to_string()))),
            ("until", until.map(|until| json!(until.to_string()))),
        ];
        let query = query
            .into_iter()
            .filter_map(|(name, value)| Some((name.to_owned(), value?)));
        Question {
            tallyjaw: env!("CARGO_PKG_VERSION").to_owned(),
            journal: self.place.journal.clone(),
            of_lines: false,
            columns,
            query: query.collect(),
            counted: false,
            settled_after: Some(0),
            since_last: None,
            first: first.0,
            last: last.0,
            digest: digest.to_string(),
            rows,
        }
    }

    fn path(&self, (station, day): &Part) -> PathBuf {
        self.folder
            .join(format!("station={}", encoded(station)))
            .join(format!("day={day}"))
            .join(format!("{}.parquet", self.place.journal))
    }

    fn file(&self, part: &Part) -> Result<Written, SinkError> {
        let path = self.path(part);
        let made = || {
            make_folder(path.parent().unwrap_or(Path::new(".")), 0o755)?;
            let file = BufWriter::new(WholeFile::create(&path, true, Access::Usual)?);
            // Station and day are in the path.
            let about = [
                ("journal", self.place.journal.as_str()),
                ("station", &part.0),
            ];
            Ok((ParquetTable::new(file, &about, &["station"])?, 0))
        };
        Ok(made().map_err(failed("write", &path))?)
    }

    fn move_cursor(&mut self) -> Result<(), SinkError> {
        let open = self.ledger.unsettled().next();
        let from = open.map_or(self.seen, |open| Seq(open.id.0.saturating_sub(1)));
        let days = self.days.iter();
        let days: Map<String, Value> = days
            .map(|(day, from)| (day.clone(), json!(from.0)))
            .collect();
        let mark = json!({
            "v": 1,
            "journal": self.place.journal,
            "folder": self.folder.to_string_lossy(),
            "after": self.seen.0,
            "from": from.0,
            "days": days,
        });
        let text = format!("{mark}\n");
        let written = put(&self.cursor, text.as_bytes(), true, Access::Usual);
        written.map_err(failed("write", &self.cursor))?;
        self.done = self.seen;
        Ok(())
    }
}

/// The journal and entry that the cursor in this file has reached.
pub(super) fn reached(path: &Path) -> Option<(String, Seq)> {
    let cursor: Value = serde_json::from_slice(&std::fs::read(path).ok()?).ok()?;
    let journal = cursor.get("journal")?.as_str()?.to_owned();
    Some((journal, Seq(cursor.get("after")?.as_u64()?)))
}

impl Sink for DataSet {
    fn after(&self) -> Seq {
        self.seen
    }

    fn arrived(&self) -> Seq {
        if self.behind.is_empty() {
            self.seen
        } else {
            self.done
        }
    }

    fn take(&mut self, entries: &[Stamped]) -> Result<(), SinkError> {
        for stamped in entries {
            self.look(stamped);
            if self.behind.len() >= MOST_FILES {
                self.write()?;
            }
        }
        Ok(())
    }

    fn due(&self) -> Option<Duration> {
        let waits = !self.behind.is_empty();
        waits.then(|| self.every.saturating_sub(self.last.elapsed()))
    }

    fn settle(&mut self, stopping: bool) -> Result<(), SinkError> {
        let is_due = self.due().is_some_and(|left| left.is_zero());
        if is_due || (stopping && !self.behind.is_empty()) {
            self.write()?;
        }
        Ok(())
    }
}

fn day_of(at: WallMicros) -> String {
    let text = at.to_string();
    text.get(..10).unwrap_or(&text).to_owned()
}

/// Encodes a value for a path as hive does: every byte except letters, digits, `-`, `_` and `.` by its number.
fn encoded(text: &str) -> String {
    const KEPT: &AsciiSet = &NON_ALPHANUMERIC.remove(b'-').remove(b'_').remove(b'.');
    utf8_percent_encode(text, KEPT).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_name_of_a_station_leads_out_of_the_folder() {
        assert_eq!(encoded("bench-1"), "bench-1");
        assert_eq!(encoded("../é 1=2"), "..%2F%C3%A9%201%3D2");
    }
}
