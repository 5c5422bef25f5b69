//! The token that commands need: 32 random bytes in a file that only the daemon's user can read.
//!
//! It survives restarts, so that an open page continues to work. For a new one, remove the file and restart the daemon.

use crate::durable::secret::{self, SecretError};
use crate::durable::{Access, failed, put};
use crate::quantity::hex;
use sha2::{Digest, Sha256};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Name of the file in the state folder.
pub const TOKEN_FILE: &str = "page.token";

const BYTES: usize = 32;

/// Why the token cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum TokenError {
    /// The file cannot be read or made, or is not its owner's alone.
    #[error(transparent)]
    Secret(#[from] SecretError),
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
            Self::Secret(SecretError::Io(_)) => {
                "use it as the user that runs the daemon; the file is made when the daemon starts"
                    .to_owned()
            }
            Self::Secret(SecretError::Open { path, .. }) | Self::NoToken { path } => format!(
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
            Err(cause) => return Err(SecretError::from(failed("look at", &path)(cause)).into()),
            Ok(_) => {}
        }
        Self::read(state_dir)
    }

    /// The token of a state folder, for users who may read it.
    pub fn read(state_dir: &Path) -> Result<Self, TokenError> {
        let path = state_dir.join(TOKEN_FILE);
        let most = u64::try_from(2 * BYTES + 2).unwrap_or_default();
        let text = secret::read(&path, most)?.ok_or_else(|| {
            let absent = io::Error::from(io::ErrorKind::NotFound);
            SecretError::from(failed("open", &path)(absent))
        })?;
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
        same(&Sha256::digest(shown), &self.digest)
    }
}

/// Whether two digests are the same, in a time that does not depend on where they differ.
pub(super) fn same(one: &[u8], other: &[u8]) -> bool {
    let pairs = one.iter().zip(other);
    let differs = pairs.fold(0, |differs, (one, other)| differs | (one ^ other));
    one.len() == other.len() && std::hint::black_box(differs) == 0
}

fn make(path: &Path) -> Result<(), TokenError> {
    let bytes: [u8; BYTES] = secret::random()
        .map_err(|cause| SecretError::from(failed("make a token for", path)(cause)))?;
    let text = hex(&bytes) + "\n";
    put(path, text.as_bytes(), true, Access::Private)
        .map_err(|cause| SecretError::from(failed("write", path)(cause)).into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustix::fs::{Mode, OFlags};
    use std::fs::File;
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
            Err(TokenError::Secret(SecretError::Open { mode: 0o640, .. }))
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
        assert!(matches!(
            Token::open(dir.path()),
            Err(TokenError::Secret(SecretError::Io(_)))
        ));
    }
}
