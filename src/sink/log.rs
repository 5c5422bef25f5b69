//! The verdict log: `state_dir/verdicts.log`, one line for each verdict, made for `tail -f`.
//!
//! - A line is `TIME #SEQ STATION: WHAT` in UTC. Text from people cannot begin a new line.
//! - The log continues after its own last line, so that after a crash no entry is missing or repeated. An incomplete
//!   last line is cut off and written again.
//! - It can be made again from the journal: stop the daemon, move the log away, start the daemon.
//! - It can be rotated while the daemon runs. A log that was moved, removed or truncated is begun again with the next
//!   entry (a reload by SIGHUP makes two), and continues where the old one ended.

use super::{Sink, SinkContext, SinkError, SinkKind};
use crate::durable::failed;
use crate::entry::{
    Entry, FrameEntry, JournalEntry, PortEntry, SaidEntry, Seq, SeriesEntry, Stamped, words,
};
use rustix::fs::OFlags;
use rustix::io::Errno;
use std::fs::{File, OpenOptions};
use std::io::{self, Read as _, Seek as _, SeekFrom, Write as _};
use std::os::unix::fs::{MetadataExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};

/// Name of the log in `state_dir`.
pub(crate) const FILE_NAME: &str = "verdicts.log";

/// Number of bytes at the end in which the last line is searched; no line is longer.
const TAIL: u64 = 64 * 1024;

/// Beginning of its first line, before the identity of the journal.
const HEAD: &str = "# verdicts of journal ";

pub(crate) static VERDICT_LOG: SinkKind = SinkKind {
    name: "log",
    open: |place| Ok(Box::new(Log::open(place)?)),
};

/// The open log.
#[derive(Debug)]
struct Log {
    file: File,
    path: PathBuf,
    journal: String,
    after: Seq,
}

/// First line of a log.
fn header(journal: &str) -> String {
    format!("{HEAD}{journal}\n")
}

/// Beginning of the second line of a rotated log, before the last entry of the old one.
const CONTINUED: &str = "# continues after entry #";

impl Log {
    fn open(place: &SinkContext) -> Result<Self, SinkError> {
        let path = place.state_dir.join(FILE_NAME);
        let header = header(&place.journal);
        let mut file = open_file(&path)?;
        let mut tail = read_tail(&mut file).map_err(failed("read", &path))?;
        if tail.len > 0 && !begins_with(&mut file, &header).map_err(failed("read", &path))? {
            move_away(&path)?;
            file = open_file(&path)?;
            tail = Tail {
                len: 0,
                whole: 0,
                after: Seq(0),
            };
        }
        if tail.whole < tail.len {
            file.set_len(tail.whole).map_err(failed("cut", &path))?;
        }
        if tail.whole == 0 {
            file.write_all(header.as_bytes())
                .map_err(failed("write", &path))?;
        }
        Ok(Self {
            file,
            path,
            journal: place.journal.clone(),
            after: tail.after,
        })
    }

    /// Begins the log again if it was moved, removed or truncated.
    fn follow_rotation(&mut self) -> Result<(), SinkError> {
        let ours = self
            .file
            .metadata()
            .map_err(failed("examine", &self.path))?;
        let found = std::fs::symlink_metadata(&self.path).ok();
        let is_ours = found.is_some_and(|found| {
            (found.dev(), found.ino()) == (ours.dev(), ours.ino()) && found.len() > 0
        });
        if is_ours {
            return Ok(());
        }
        self.file = open_file(&self.path)?;
        let from = format!("{}{CONTINUED}{}\n", header(&self.journal), self.after);
        let written = self.file.write_all(from.as_bytes());
        Ok(written.map_err(failed("write", &self.path))?)
    }
}

/// What the log knows: path, journal and last entry.
pub(super) fn known(state_dir: &Path) -> Option<(PathBuf, String, Seq)> {
    let path = state_dir.join(FILE_NAME);
    let flags = OFlags::NOFOLLOW | OFlags::NONBLOCK;
    let flags = i32::try_from(flags.bits()).unwrap_or_default();
    let mut options = OpenOptions::new();
    let mut file = options.read(true).custom_flags(flags).open(&path).ok()?;
    let mut head = Vec::new();
    (&file).take(TAIL).read_to_end(&mut head).ok()?;
    let head = head.split(|byte| *byte == b'\n').next()?;
    let journal = std::str::from_utf8(head)
        .ok()?
        .strip_prefix(HEAD)?
        .to_owned();
    let after = read_tail(&mut file).ok()?.after;
    (after > Seq(0)).then_some((path, journal, after))
}

impl Sink for Log {
    fn after(&self) -> Seq {
        self.after
    }

    fn take(&mut self, entries: &[Stamped]) -> Result<(), SinkError> {
        self.follow_rotation()?;
        let text: String = entries.iter().filter_map(log_line).collect();
        self.file
            .write_all(text.as_bytes())
            .map_err(failed("write", &self.path))?;
        self.after = entries.last().map_or(self.after, |entry| entry.seq);
        Ok(())
    }
}

/// Opens a regular file, never through a link. Otherwise whoever may write to the folder could make the daemon write
/// elsewhere, or wait for ever.
fn open_file(path: &Path) -> Result<File, SinkError> {
    let flags = OFlags::NOFOLLOW | OFlags::NONBLOCK;
    let flags = i32::try_from(flags.bits()).unwrap_or_default();
    let opened = OpenOptions::new()
        .read(true)
        .append(true)
        .create(true)
        .mode(0o640)
        .custom_flags(flags)
        .open(path);
    let wrong_kind = || io::Error::other("got a link or a device, want a regular file");
    let file = match opened {
        Err(cause) if cause.raw_os_error() == Some(Errno::LOOP.raw_os_error()) => Err(wrong_kind()),
        Ok(file) if !file.metadata().is_ok_and(|found| found.is_file()) => Err(wrong_kind()),
        opened => opened,
    };
    Ok(file.map_err(failed("open", path))?)
}

/// Keeps a log of another journal under the next free name.
fn move_away(path: &Path) -> Result<(), SinkError> {
    let free = (1..=u32::MAX)
        .map(|number| path.with_extension(format!("log.{number}")))
        .find(|kept| !kept.exists());
    let kept = free.unwrap_or_else(|| path.with_extension("log.old"));
    tracing::warn!(kept = %kept.display(), "the verdict log of another journal was moved away");
    Ok(std::fs::rename(path, &kept).map_err(failed("move away", path))?)
}

/// The end of a log.
#[derive(Debug)]
struct Tail {
    len: u64,
    /// Offset after its last complete line.
    whole: u64,
    after: Seq,
}

fn read_tail(file: &mut File) -> io::Result<Tail> {
    let len = file.metadata()?.len();
    let from = len.saturating_sub(TAIL);
    file.seek(SeekFrom::Start(from))?;
    let mut end = Vec::new();
    file.take(TAIL).read_to_end(&mut end)?;
    let whole = end
        .iter()
        .rposition(|byte| *byte == b'\n')
        .map_or(0, |at| at + 1);
    let lines = end.get(..whole).unwrap_or_default();
    let after = lines
        .split(|byte| *byte == b'\n')
        .rev()
        .find_map(seq_of)
        .unwrap_or(Seq(0));
    let whole = from + u64::try_from(whole).unwrap_or_default();
    Ok(Tail { len, whole, after })
}

/// Number of the entry that a line of the log is about.
fn seq_of(line: &[u8]) -> Option<Seq> {
    let text = std::str::from_utf8(line).ok()?;
    let number = match text.strip_prefix(CONTINUED) {
        Some(number) => number,
        None => text.split(' ').nth(1)?.strip_prefix('#')?,
    };
    number.parse().ok().map(Seq)
}

fn begins_with(file: &mut File, header: &str) -> io::Result<bool> {
    file.seek(SeekFrom::Start(0))?;
    let mut beginning = Vec::new();
    let most = u64::try_from(header.len()).unwrap_or_default();
    file.take(most).read_to_end(&mut beginning)?;
    Ok(beginning == header.as_bytes())
}

/// The line for an entry; `None` for kinds that the log leaves out.
fn log_line(stamped: &Stamped) -> Option<String> {
    let is_wanted = match &stamped.entry {
        Entry::Journal(entry) => match entry {
            JournalEntry::Gap(_)
            | JournalEntry::DamageAccepted(_)
            | JournalEntry::RolledBack(_)
            | JournalEntry::Paired(_)
            | JournalEntry::Revoked(_)
            | JournalEntry::ConfigurationEdited(_)
            | JournalEntry::KeyBegun(_) => true,
            JournalEntry::Begun(_)
            | JournalEntry::Segment(_)
            | JournalEntry::Started(_)
            | JournalEntry::Stopped(_)
            | JournalEntry::ClockStepped(_)
            | JournalEntry::TabletSaid(_)
            | JournalEntry::Sealed(_) => false,
        },
        Entry::Port(entry) => match entry {
            PortEntry::AdapterChanged(_) | PortEntry::Disturbed(_) => true,
            PortEntry::Attached(_) | PortEntry::Detached(_) => false,
        },
        Entry::Said(entry) => match entry {
            SaidEntry::AdapterSaid(_) | SaidEntry::Noted(_) | SaidEntry::Refused(_) => true,
            SaidEntry::ZeroSaid(_)
            | SaidEntry::OperatorSaid(_)
            | SaidEntry::ToolSaid(_)
            | SaidEntry::JobSaid(_)
            | SaidEntry::LotSaid(_) => false,
        },
        Entry::Frame(entry) => !matches!(entry, FrameEntry::Unread(_)),
        Entry::Series(entry) => !matches!(entry, SeriesEntry::ZeroDue(_)),
        Entry::Production(_) => true,
    };
    is_wanted.then(|| words::line(stamped) + "\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::Noted;
    use crate::quantity::WallMicros;

    fn noted(seq: u64, text: &str) -> Stamped {
        Stamped {
            token: None,
            seq: Seq(seq),
            at: WallMicros(0),
            entry: Entry::from(Noted {
                station: "bench-1".to_owned(),
                series: None,
                text: text.to_owned(),
            }),
        }
    }

    fn place(state_dir: &Path, journal: &str) -> SinkContext {
        SinkContext {
            name: "verdict log".to_owned(),
            data_set: None,
            state_dir: state_dir.to_owned(),
            journal: journal.to_owned(),
        }
    }

    fn lines(state_dir: &Path) -> Vec<String> {
        let text = std::fs::read_to_string(state_dir.join(FILE_NAME)).unwrap();
        text.lines().map(str::to_owned).collect()
    }

    #[test]
    fn a_log_goes_on_after_its_last_whole_line() {
        let dir = tempfile::tempdir().unwrap();
        let here = place(dir.path(), "ab");
        let mut log = Log::open(&here).unwrap();
        assert_eq!(log.after(), Seq(0));
        log.take(&[noted(3, "three"), noted(4, "four")]).unwrap();
        log.file.write_all(b"1970-01-01T00:00:00Z #5 ben").unwrap();
        let mut again = Log::open(&here).unwrap();
        assert_eq!(again.after(), Seq(4));
        again.take(&[noted(5, "five")]).unwrap();
        let last = "1970-01-01T00:00:00Z #5 bench-1: note: five";
        let lines = lines(dir.path());
        assert_eq!(
            (lines.len(), lines.last().map(String::as_str)),
            (4, Some(last))
        );
    }

    #[test]
    fn a_log_that_is_moved_away_or_cut_to_nothing_goes_on_in_a_new_one_after_a_restart_too() {
        let dir = tempfile::tempdir().unwrap();
        let here = place(dir.path(), "ab");
        let mut log = Log::open(&here).unwrap();
        log.take(&[noted(3, "three")]).unwrap();
        let path = dir.path().join(FILE_NAME);
        std::fs::rename(&path, dir.path().join("verdicts.log.1")).unwrap();
        log.take(&[noted(4, "four")]).unwrap();
        let heads = ["# verdicts of journal ab", "# continues after entry #3"];
        let four = "1970-01-01T00:00:00Z #4 bench-1: note: four";
        assert_eq!(lines(dir.path()), [heads[0], heads[1], four]);
        std::fs::write(&path, "").unwrap();
        log.take(&[]).unwrap();
        let heads = [heads[0], "# continues after entry #4"];
        assert_eq!(lines(dir.path()), heads);
        let mut again = Log::open(&here).unwrap();
        assert_eq!(again.after(), Seq(4));
        again.take(&[noted(5, "five")]).unwrap();
        assert_eq!(lines(dir.path()).len(), 3);
        let kept = std::fs::read_to_string(dir.path().join("verdicts.log.1")).unwrap();
        assert!(kept.ends_with("#3 bench-1: note: three\n"), "{kept}");
    }

    #[test]
    fn a_note_cannot_write_a_line_of_its_own() {
        let dir = tempfile::tempdir().unwrap();
        let mut log = Log::open(&place(dir.path(), "ab")).unwrap();
        let forged = "x\n1970-01-01T00:00:00.000000Z #99 bench-1 pass\u{1b}[2J\u{202e}";
        log.take(&[noted(3, forged)]).unwrap();
        let lines = lines(dir.path());
        assert_eq!(lines.len(), 2);
        assert!(!lines[1].chars().any(char::is_control), "{lines:?}");
        assert_eq!(Log::open(&place(dir.path(), "ab")).unwrap().after(), Seq(3));
    }

    #[test]
    fn nothing_is_written_through_a_link_or_into_a_pipe() {
        let dir = tempfile::tempdir().unwrap();
        let (log, elsewhere) = (dir.path().join(FILE_NAME), dir.path().join("elsewhere"));
        std::fs::write(&elsewhere, "mine").unwrap();
        std::os::unix::fs::symlink(&elsewhere, &log).unwrap();
        let refused = |place: &SinkContext| Log::open(place).unwrap_err().to_string();
        let want = format!(
            "cannot open {}: got a link or a device, want a regular file",
            log.display()
        );
        assert_eq!(refused(&place(dir.path(), "ab")), want);
        assert_eq!(std::fs::read_to_string(&elsewhere).unwrap(), "mine");

        std::fs::remove_file(&log).unwrap();
        rustix::fs::mkfifoat(rustix::fs::CWD, &log, rustix::fs::Mode::RWXU).unwrap();
        assert_eq!(refused(&place(dir.path(), "ab")), want);
    }

    #[test]
    fn a_log_of_another_journal_is_moved_away() {
        let dir = tempfile::tempdir().unwrap();
        let mut log = Log::open(&place(dir.path(), "ab")).unwrap();
        log.take(&[noted(500, "old")]).unwrap();
        let other = Log::open(&place(dir.path(), "cd")).unwrap();
        assert_eq!(other.after(), Seq(0));
        assert_eq!(lines(dir.path()), ["# verdicts of journal cd"]);
        let kept = std::fs::read_to_string(dir.path().join("verdicts.log.1")).unwrap();
        assert!(kept.contains("#500"));
    }
}
