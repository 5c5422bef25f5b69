//! The advisory lock on `state_dir/lock`: one daemon a journal.
//!
//! The lock is the kernel's and ends with its process, however that ends; the pid in the file is
//! only for the message to the second one.

use super::JournalError;
use super::dir::{Dir, io_error};
use rustix::fs::{Mode, OFlags};
use std::fs::{File, TryLockError};
use std::io::{Read as _, Write as _};
use std::path::Path;

/// The held lock.
#[derive(Debug)]
pub struct StateLock {
    file: File,
}

impl StateLock {
    /// Takes the lock of `state_dir`, or says who holds it. A link in place of the folder is refused:
    /// who may change it could move the journal.
    pub fn take(state_dir: &Path) -> Result<Self, JournalError> {
        Dir::open_or_make(state_dir)?;
        let path = state_dir.join("lock");
        let failed = |cause| io_error("lock", &path, cause);
        let flags = OFlags::CREATE | OFlags::RDWR | OFlags::NOFOLLOW | OFlags::CLOEXEC;
        let mut file: File = rustix::fs::open(&path, flags, Mode::RUSR | Mode::WUSR)
            .map_err(|errno| failed(errno.into()))?
            .into();
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut text = String::new();
                let pid = file
                    .read_to_string(&mut text)
                    .ok()
                    .and_then(|_| text.trim().parse().ok());
                return Err(JournalError::Locked { path, pid });
            }
            Err(TryLockError::Error(cause)) => return Err(failed(cause)),
        }
        file.set_len(0).map_err(failed)?;
        writeln!(file, "{}", std::process::id()).map_err(failed)?;
        Ok(Self { file })
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
