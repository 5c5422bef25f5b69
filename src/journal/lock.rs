//! The advisory lock on `state_dir/lock`, which allows one daemon for a journal.
//!
//! The kernel holds the lock and releases it when the process ends in any way. The file contains the process id, for
//! the error message of a second daemon; and the end of the journal as `JOURNAL SEQ DIGEST`, which the next start
//! compares. The lock works without either, so a full disk does not prevent it.

use super::JournalError;
use super::Witness;
use super::dir::{Dir, io_error};
use crate::entry::line::Digest;
use crate::entry::{JournalId, Seq};
use crate::system;
use std::fs::{File, TryLockError};
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

/// A longer file was not written by us.
const LARGEST: u64 = 4096;

/// Parses `JOURNAL SEQ DIGEST`.
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
    /// End of the journal when the lock was last held.
    found: Option<Witness>,
}

impl StateLock {
    /// Takes the lock of `state_dir`; the error names the holder. A symbolic link in place of the folder is refused,
    /// because whoever can change it could move the journal.
    pub fn take(state_dir: &Path) -> Result<Self, JournalError> {
        Dir::open_or_make(state_dir)?;
        let path = state_dir.join("lock");
        let failed = |cause| io_error("lock", &path, cause);
        let file = system::lock_file(&path).map_err(failed)?;
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
        // An unreadable file gives no information.
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
        // The rest of the file stays as it is, because the journal is not open yet.
        let _ = lock.write(line);
        Ok(lock)
    }

    /// End of the journal when the lock was last held.
    pub(super) const fn found(&self) -> Option<&Witness> {
        self.found.as_ref()
    }

    /// Writes the end of the journal into the file. A full disk is no reason to stop, so failures are only logged.
    pub fn note(&self, journal: &JournalId, (seq, digest): (Seq, Digest)) {
        if let Err(error) = self.write(&format!("{journal} {seq} {digest}")) {
            tracing::debug!(%error, path = %self.path.display(), "the end of the journal was not noted");
        }
    }

    /// Writes in place without truncating first. On a full disk the freed space could be taken by others.
    fn write(&self, line: &str) -> io::Result<()> {
        let text = format!("{}\n{line}\n", std::process::id());
        system::write_all_at(&self.file, text.as_bytes(), 0)?;
        let len = u64::try_from(text.len()).unwrap_or(u64::MAX);
        self.file.set_len(len)
    }
}

impl Drop for StateLock {
    /// Closing the file is not enough: a process that is just being started shares it until its exec, and the lock with
    /// it.
    fn drop(&mut self) {
        // After an error the lock is released when the process ends.
        let _ = self.file.unlock();
    }
}
