//! How far a sink has got in the journal: `state_dir/sinks/NAME`, with the line `JOURNAL SEQ`.
//!
//! In: the last entry that is durable elsewhere. Out: a file that says so, replaced as a whole. It may be behind but
//! never ahead: after a kill a sink repeats some entries and misses none.

use super::{SinkError, cursors};
use crate::durable::{Access, failed, put};
use crate::entry::Seq;
use rustix::fs::OFlags;
use std::fs::OpenOptions;
use std::io::{self, Read as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

/// A larger file is not a cursor.
const LARGEST: u64 = 4096;

/// The cursor of a sink.
#[derive(Debug, Clone)]
pub(crate) struct SinkCursor {
    path: PathBuf,
    journal: String,
    after: Seq,
}

impl SinkCursor {
    /// Opens the cursor of this name. Without a file, or with one of another journal, it is before the first entry.
    pub(crate) fn open(state_dir: &Path, name: &str, journal: &str) -> Result<Self, SinkError> {
        let mut cursor = Self {
            path: cursors(state_dir)?.join(name),
            journal: journal.to_owned(),
            after: Seq(0),
        };
        let Some((stored, after)) = cursor.read()? else {
            return Ok(cursor);
        };
        if stored == journal {
            cursor.after = after;
        } else {
            tracing::warn!(
                sink = name,
                journal = stored,
                "the sink's cursor is of another journal; the sink starts at the first entry of this one"
            );
        }
        Ok(cursor)
    }

    /// The last entry that was delivered.
    pub(crate) fn after(&self) -> Seq {
        self.after
    }

    /// All cursors: path, journal, and last delivered entry. A file that is no cursor is left out; its sink reports it.
    pub(crate) fn known(state_dir: &Path) -> Vec<(PathBuf, String, Seq)> {
        let Ok(folder) = std::fs::read_dir(state_dir.join("sinks")) else {
            return Vec::new(); // No sink has a cursor.
        };
        let paths = folder.filter_map(|item| Some(item.ok()?.path()));
        let known = paths.filter_map(|path| {
            let is_data_set = path.extension().is_some_and(|end| end == "json");
            let (journal, after) = if is_data_set {
                super::data_set::reached(&path)?
            } else {
                let cursor = Self {
                    path: path.clone(),
                    journal: String::new(),
                    after: Seq(0),
                };
                cursor.read().ok()??
            };
            Some((path, journal, after))
        });
        known.collect()
    }

    fn read(&self) -> Result<Option<(String, Seq)>, SinkError> {
        let failed = failed("read", &self.path);
        let flags = i32::try_from(OFlags::NOFOLLOW.bits()).unwrap_or_default();
        let file = match OpenOptions::new()
            .read(true)
            .custom_flags(flags)
            .open(&self.path)
        {
            Err(cause) if cause.kind() == io::ErrorKind::NotFound => return Ok(None),
            file => file.map_err(&failed)?,
        };
        let mut text = String::new();
        file.take(LARGEST)
            .read_to_string(&mut text)
            .map_err(&failed)?;
        let line = text.strip_suffix('\n');
        let parts = line.and_then(|line| line.split_once(' '));
        let stored =
            parts.and_then(|(journal, after)| Some((journal.to_owned(), Seq(after.parse().ok()?))));
        let no_cursor =
            || io::Error::other(format!("got {text:?}, want a line with journal and seq"));
        Ok(Some(stored.ok_or_else(no_cursor).map_err(failed)?))
    }

    /// Moves the cursor to `after`, durably.
    pub(crate) fn save(&mut self, after: Seq) -> Result<(), SinkError> {
        let text = format!("{} {after}\n", self.journal);
        let written = put(&self.path, text.as_bytes(), true, Access::Usual);
        written.map_err(failed("write", &self.path))?;
        self.after = after;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cursor_is_found_again_and_one_of_another_journal_starts_over() {
        let dir = tempfile::tempdir().unwrap();
        let mut cursor = SinkCursor::open(dir.path(), "plant", "ab").unwrap();
        assert_eq!(cursor.after(), Seq(0));
        cursor.save(Seq(7)).unwrap();
        let again = SinkCursor::open(dir.path(), "plant", "ab").unwrap();
        assert_eq!(again.after(), Seq(7));
        let other = SinkCursor::open(dir.path(), "plant", "cd").unwrap();
        assert_eq!(other.after(), Seq(0));
    }

    #[test]
    fn what_is_no_cursor_is_said_and_not_taken_for_the_beginning() {
        let dir = tempfile::tempdir().unwrap();
        SinkCursor::open(dir.path(), "plant", "ab")
            .unwrap()
            .save(Seq(7))
            .unwrap();
        let path = dir.path().join("sinks/plant");
        std::fs::write(&path, "ab").unwrap();
        let error = SinkCursor::open(dir.path(), "plant", "ab").unwrap_err();
        assert!(
            error
                .to_string()
                .starts_with(&format!("cannot read {}", path.display()))
        );
    }
}
