//! An entry as one line of JSON, and back.
//!
//! In: a [`Stamped`] entry and the [`Digest`] of the line before. Out: the bytes of a line without
//! its newline; and the same way back. Knows no file.
//!
//! - A line begins with `v`, `seq`, `at`, `kind`, `prev`, in this order; the rest is up to its kind.
//! - A line is never changed: whoever passes it on passes on these bytes.

use super::{Seq, Stamped, v1};
use sha2::{Digest as _, Sha256};
use std::fmt;
use std::str::FromStr;

/// SHA-256 of a line's bytes, its newline left out.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Digest([u8; 32]);

impl Digest {
    /// What the first line of a journal names as the one before.
    pub const NONE: Self = Self([0; 32]);

    /// Of the bytes of a line, its newline left out.
    pub fn of(line: &[u8]) -> Self {
        Self(Sha256::digest(line).into())
    }
}

impl fmt::Display for Digest {
    /// 64 lower-case hex digits.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Digest {
    type Err = LineError;

    /// 64 lower-case hex digits.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        v1::unhex(text)
            .and_then(|bytes| bytes.try_into().ok())
            .map(Self)
            .ok_or_else(|| LineError::NotADigest {
                got: text.to_owned(),
            })
    }
}

/// Why a line is not an entry.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LineError {
    /// Not JSON, or not what its kind is made of.
    #[error("not an entry: {cause}")]
    NotAnEntry {
        /// What the parser says, with the column.
        cause: String,
    },
    /// Written by a newer release.
    #[error("entry of version {got}, want at most {newest}", newest = v1::VERSION)]
    Newer {
        /// Its version.
        got: u64,
    },
    /// A kind that this release does not know.
    #[error("unknown kind of entry {got:?}")]
    UnknownKind {
        /// Its kind.
        got: String,
    },
    /// `prev` is not a digest.
    #[error("got {got:?}, want 64 lower-case hex digits")]
    NotADigest {
        /// The text.
        got: String,
    },
}

/// The line of an entry, without a newline; `prev` is the digest of the line before.
pub fn encode(stamped: &Stamped, prev: Digest) -> Vec<u8> {
    v1::encode(stamped, prev)
}

/// The entry in a line (without its newline), and the digest it names as the line before.
pub fn decode(line: &[u8]) -> Result<(Stamped, Digest), LineError> {
    v1::decode(line)
}

/// The number of the entry in a line, told from the line's beginning alone.
pub fn peek_seq(line: &[u8]) -> Option<Seq> {
    let rest = line.strip_prefix(br#"{"v":"#)?;
    let version_len = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let rest = rest.get(version_len..)?.strip_prefix(br#","seq":"#)?;
    let seq_len = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let (digits, after) = rest.split_at_checked(seq_len)?;
    after.strip_prefix(b",")?;
    std::str::from_utf8(digits).ok()?.parse().ok().map(Seq)
}
