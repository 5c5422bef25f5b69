//! Files of the state folder that hold a secret, and random bytes for one.
//!
//! A file that others may have read or written is refused, because they could give commands or sign.

use super::{Failed, failed};
use crate::system::{self, Guarded};
use std::io::{self, Read};
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

/// The text of a file; `None` if there is none. A text longer than `most` is cut.
pub(crate) fn read(path: &Path, most: u64) -> Result<Option<String>, SecretError> {
    let Some(found) = system::guarded(path).map_err(failed("open", path))? else {
        return Ok(None);
    };
    let Guarded { file, mode, owner } = found;
    let own = system::user();
    if mode & 0o077 != 0 || (own != Some(owner) && own != Some(0)) {
        return Err(SecretError::Open {
            path: path.to_owned(),
            mode,
            uid: owner,
        });
    }
    let mut text = String::new();
    file.take(most)
        .read_to_string(&mut text)
        .map_err(failed("read", path))?;
    Ok(Some(text))
}

/// Random bytes from the kernel's generator.
pub(crate) fn random<const N: usize>() -> io::Result<[u8; N]> {
    let mut bytes = [0; N];
    system::random(&mut bytes)?;
    Ok(bytes)
}
