//! The advisory lock on `state_dir/lock`: one daemon a journal.
//!
//! The lock is the kernel's and ends with its process, however that ends. What stands in the file: the pid, for the
//! message to the second one; and how far the journal was, `JOURNAL SEQ DIGEST`, for the next start to compare. Neither
//! is needed: a full disk does not keep anybody from taking the lock.

use super::JournalError;
use super::Witness;
use super::dir::{Dir, io_error};
use crate::entry::line::Digest;
use crate::entry::{JournalId, Seq};
use rustix::fs::{Mode, OFlags};
use std::fs::{File, TryLockError};
use std::io::{self, Read as _};
use std::os::unix::fs::FileExt as _;
use std::path::{Path, PathBuf};

/// A longer file is not ours.
const LARGEST: u64 = 4096;

/// The parts of `JOURNAL SEQ DIGEST`.
fn witness(line: &str) -> Option<(JournalId, Seq, Digest)> {
    let mut parts = line.split(' ');
    let journal = JournalId(parts.next()?.to_owned());
    let seq = Seq(parts.next()?.parse().ok()?);
    Some((journal, seq, parts.next()?.parse().ok()?))
}

/// The held lock.
#[derive(Debug)]
pub struct StateLock {
    file: File,
    path: PathBuf,
    /// How far the journal was when the lock was held last.
    found: Option<Witness>,
}

impl StateLock {
    /// Takes the lock of `state_dir`, or says who holds it. A link in place of the folder is refused:
    /// who may change it could move the journal.
    pub fn take(state_dir: &Path) -> Result<Self, JournalError> {
        Dir::open_or_make(state_dir)?;
        let path = state_dir.join("lock");
        let failed = |cause| io_error("lock", &path, cause);
        let flags = OFlags::CREATE | OFlags::RDWR | OFlags::NOFOLLOW | OFlags::CLOEXEC;
        let file: File = rustix::fs::open(&path, flags, Mode::RUSR | Mode::WUSR)
            .map_err(|errno| failed(errno.into()))?
            .into();
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut text = String::new();
                let pid = (&file)
                    .take(LARGEST)
                    .read_to_string(&mut text)
                    .ok()
                    .and_then(|_| text.lines().next()?.trim().parse().ok());
                return Err(JournalError::Locked { path, pid });
            }
            Err(TryLockError::Error(cause)) => return Err(failed(cause)),
        }
        let mut text = String::new();
        // What cannot be read says nothing.
        let _ = (&file).take(LARGEST).read_to_string(&mut text);
        let line = text.lines().nth(1).unwrap_or_default();
        let found = witness(line).map(|(journal, seq, digest)| Witness {
            path: path.clone(),
            journal,
            seq,
            digest: Some(digest),
            is_of_this_folder: true,
        });
        let lock = Self { file, path, found };
        // The rest stays as it was: the journal is not open yet.
        let _ = lock.write(line);
        Ok(lock)
    }

    /// How far the journal was when the lock was held last.
    pub(super) const fn found(&self) -> Option<&Witness> {
        self.found.as_ref()
    }

    /// So far the journal is now. That the disk has no room for it is no reason to stop.
    pub(super) fn note(&self, journal: &JournalId, (seq, digest): (Seq, Digest)) {
        if let Err(error) = self.write(&format!("{journal} {seq} {digest}")) {
            tracing::debug!(%error, path = %self.path.display(), "the end of the journal was not noted");
        }
    }

    /// In place, without giving room back first: on a full disk somebody else could take it.
    fn write(&self, line: &str) -> io::Result<()> {
        let text = format!("{}\n{line}\n", std::process::id());
        self.file.write_all_at(text.as_bytes(), 0)?;
        let len = u64::try_from(text.len()).unwrap_or(u64::MAX);
        self.file.set_len(len)
    }
}

impl Drop for StateLock {
    /// Closing the file would not do: a process that is being started just now shares it until its
    /// exec, and the lock with it.
    fn drop(&mut self) {
        // An error leaves the lock to the end of the process.
        let _ = self.file.unlock();
    }
}
