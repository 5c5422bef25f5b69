//! The token that commands need: 32 random bytes in a file that only the daemon's user can read.
//!
//! It survives restarts, so that an open page continues to work. For a new one, remove the file and restart the daemon.

use crate::durable::{Access, Failed, failed, put};
use rustix::fs::{Mode, OFlags};
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::{self, Read};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

/// Name of the file in the state folder.
pub const TOKEN_FILE: &str = "page.token";

const BYTES: usize = 32;

/// Why the token cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum TokenError {
    /// The file cannot be read or made.
    #[error(transparent)]
    Io(#[from] Failed),
    /// Other users may have read or written the file.
    #[error("{} has mode {mode:04o} and owner {uid}, want 0600 and this user", path.display())]
    Open {
        /// The file.
        path: PathBuf,
        /// Permission bits of the file.
        mode: u32,
        /// User id of its owner.
        uid: u32,
    },
    /// The file does not contain a token.
    #[error("{} holds no token, want 64 hexadecimal digits", path.display())]
    NoToken {
        /// The file.
        path: PathBuf,
    },
}

impl TokenError {
    /// What to do. It is printed on a line of its own, never as part of the message.
    pub fn remedy(&self) -> String {
        match self {
            Self::Io(_) => {
                "use it as the user that runs the daemon; the file is made when the daemon starts"
                    .to_owned()
            }
            Self::Open { path, .. } | Self::NoToken { path } => format!(
                "take it away, then start the daemon again: it makes a new one (rm {})",
                path.display()
            ),
        }
    }
}

/// The token that a command must carry.
#[derive(Clone)]
pub struct Token {
    text: String,
    digest: [u8; 32],
}

impl std::fmt::Debug for Token {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Token")
    }
}

impl Token {
    /// The token of a state folder. It is made if there is none.
    pub(super) fn open(state_dir: &Path) -> Result<Self, TokenError> {
        let path = state_dir.join(TOKEN_FILE);
        match fs::symlink_metadata(&path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => make(&path)?,
            Err(cause) => return Err(failed("look at", &path)(cause).into()),
            Ok(_) => {}
        }
        Self::read(state_dir)
    }

    /// The token of a state folder, for users who may read it.
    pub fn read(state_dir: &Path) -> Result<Self, TokenError> {
        let path = state_dir.join(TOKEN_FILE);
        let flags = OFlags::RDONLY | OFlags::NOFOLLOW | OFlags::CLOEXEC | OFlags::NONBLOCK;
        let file = rustix::fs::open(&path, flags, Mode::empty())
            .map_err(|errno| failed("open", &path)(errno.into()))?;
        let file = File::from(file);
        let metadata = file.metadata().map_err(failed("look at", &path))?;
        let own = rustix::process::geteuid().as_raw();
        let (mode, uid) = (metadata.mode() & 0o7777, metadata.uid());
        if mode & 0o077 != 0 || (uid != own && own != 0) {
            return Err(TokenError::Open { path, mode, uid });
        }
        let mut text = String::new();
        let most = u64::try_from(2 * BYTES + 2).unwrap_or_default();
        file.take(most)
            .read_to_string(&mut text)
            .map_err(failed("read", &path))?;
        let text = text.trim_end().to_owned();
        let is_token = text.len() == 2 * BYTES && text.bytes().all(|byte| byte.is_ascii_hexdigit());
        if !is_token {
            return Err(TokenError::NoToken { path });
        }
        let digest = Sha256::digest(&text).into();
        Ok(Self { text, digest })
    }

    /// The token as `tallyjaw page` prints it.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Whether this is the token. The time taken does not depend on where a wrong one differs.
    pub(super) fn is(&self, shown: &[u8]) -> bool {
        let shown: [u8; 32] = Sha256::digest(shown).into();
        let pairs = shown.iter().zip(&self.digest);
        pairs.fold(0, |differs, (one, other)| differs | (one ^ other)) == 0
    }
}

fn make(path: &Path) -> Result<(), TokenError> {
    let mut bytes = [0; BYTES];
    fill(&mut bytes).map_err(failed("make a token for", path))?;
    let mut text = bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}"); // writing to a String cannot fail
        text
    });
    text.push('\n');
    Ok(put(path, text.as_bytes(), true, Access::Private).map_err(failed("write", path))?)
}

/// Fills the buffer from the kernel's generator, which may return less than requested.
fn fill(bytes: &mut [u8]) -> io::Result<()> {
    let mut rest = bytes;
    while !rest.is_empty() {
        let got = rustix::rand::getrandom(&mut *rest, rustix::rand::GetRandomFlags::empty())?;
        rest = rest.get_mut(got..).unwrap_or_default();
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write as _;
    use std::os::unix::fs::PermissionsExt;

    #[test]
    fn a_token_is_made_once_for_its_owner_alone_and_stays() {
        let dir = tempfile::tempdir().unwrap();
        let token = Token::open(dir.path()).unwrap();
        let path = dir.path().join(TOKEN_FILE);
        assert_eq!(
            fs::metadata(&path).unwrap().permissions().mode() & 0o7777,
            0o600
        );
        assert_eq!(Token::open(dir.path()).unwrap().text(), token.text());
        assert!(token.is(token.text().as_bytes()));
        for wrong in [&b""[..], b"x", &token.text().as_bytes()[1..]] {
            assert!(!token.is(wrong));
        }
        let other = tempfile::tempdir().unwrap();
        assert_ne!(Token::open(other.path()).unwrap().text(), token.text());
    }

    #[test]
    fn a_token_that_others_may_have_read_or_that_is_none_is_refused() {
        let dir = tempfile::tempdir().unwrap();
        Token::open(dir.path()).unwrap();
        let path = dir.path().join(TOKEN_FILE);
        fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
        assert!(matches!(
            Token::open(dir.path()),
            Err(TokenError::Open { mode: 0o640, .. })
        ));
        fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
        let file = rustix::fs::open(&path, OFlags::WRONLY | OFlags::TRUNC, Mode::empty());
        File::from(file.unwrap()).write_all(b"short").unwrap();
        assert!(matches!(
            Token::open(dir.path()),
            Err(TokenError::NoToken { .. })
        ));
        fs::remove_file(&path).unwrap();
        std::os::unix::fs::symlink(dir.path().join("elsewhere"), &path).unwrap();
        assert!(matches!(Token::open(dir.path()), Err(TokenError::Io(_))));
    }
}
