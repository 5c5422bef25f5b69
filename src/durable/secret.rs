//! Files of the state folder that hold a secret, and random bytes for one.
//!
//! A file that others may have read, or have put there, is refused: who reads it, or wrote it, could command or sign.

use super::{Failed, failed};
use rustix::fs::{Mode, OFlags};
use std::fs::File;
use std::io::{self, Read};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

/// Why such a file is not used.
#[derive(Debug, thiserror::Error)]
pub enum SecretError {
    /// It cannot be read or written.
    #[error(transparent)]
    Io(#[from] Failed),
    /// Others may have read it, or have put it there.
    #[error("{} has mode {mode:04o} and owner {uid}, want 0600 and this user", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// Permission bits, as `stat` has them.
        mode: u32,
        /// Its owner.
        uid: u32,
    },
}

/// The text of a file, where there is one; a longer one than `most` is cut.
pub(crate) fn read(path: &Path, most: u64) -> Result<Option<String>, SecretError> {
    let flags = OFlags::RDONLY | OFlags::NOFOLLOW | OFlags::CLOEXEC | OFlags::NONBLOCK;
    let file = match rustix::fs::open(path, flags, Mode::empty()) {
        Ok(file) => File::from(file),
        Err(rustix::io::Errno::NOENT) => return Ok(None),
        Err(errno) => return Err(failed("open", path)(errno.into()).into()),
    };
    let metadata = file.metadata().map_err(failed("look at", path))?;
    let own = rustix::process::geteuid().as_raw();
    let (mode, uid) = (metadata.mode() & 0o7777, metadata.uid());
    if mode & 0o077 != 0 || (uid != own && own != 0) {
        let path = path.to_owned();
        return Err(SecretError::Open { path, mode, uid });
    }
    let mut text = String::new();
    file.take(most)
        .read_to_string(&mut text)
        .map_err(failed("read", path))?;
    Ok(Some(text))
}

/// From the kernel's generator, which may give less at a time than is requested.
pub(crate) fn random<const N: usize>() -> io::Result<[u8; N]> {
    let mut bytes = [0; N];
    let mut rest = &mut bytes[..];
    while !rest.is_empty() {
        let got = rustix::rand::getrandom(&mut *rest, rustix::rand::GetRandomFlags::empty())?;
        rest = rest.get_mut(got..).unwrap_or_default();
    }
    Ok(bytes)
}
