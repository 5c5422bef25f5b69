//! The trusted keys: a public key, or a file of allowed signers in the form of OpenSSH.

use super::{NAMESPACE, Public};

/// The public keys that somebody trusts.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Trusted {
    keys: Vec<Public>,
}

/// Why a file has no trusted keys.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TrustedError {
    /// A line is not an Ed25519 key.
    #[error("line {line} names no Ed25519 key as OpenSSH writes it")]
    NoKey {
        /// The line, from 1.
        line: usize,
    },
    /// A line limits its key with an option that is not supported here.
    #[error("line {line} has the option {option:?}, want at most namespaces=\"{NAMESPACE}\"")]
    Option {
        /// The line, from 1.
        line: usize,
        /// The option.
        option: String,
    },
    /// No line names a key.
    #[error("there is no key")]
    Empty,
}

impl Trusted {
    /// Reads a public key (`ssh-ed25519 AAAA… comment`) or lines of allowed signers (`NAME [OPTIONS] ssh-ed25519 AAAA…`).
    pub fn from_text(text: &str) -> Result<Self, TrustedError> {
        let mut keys = Vec::new();
        for (line, text) in (1..).zip(text.lines()) {
            let text = text.trim();
            if text.is_empty() || text.starts_with('#') {
                continue;
            }
            let words: Vec<&str> = text.split_whitespace().collect();
            let at = words.iter().position(|word| *word == "ssh-ed25519");
            let (before, key) = words.split_at(at.ok_or(TrustedError::NoKey { line })?);
            let options = before.get(1..).unwrap_or_default();
            for option in options.iter().flat_map(|options| options.split(',')) {
                if option.replace('"', "") != format!("namespaces={NAMESPACE}") {
                    let option = option.to_owned();
                    return Err(TrustedError::Option { line, option });
                }
            }
            let key = Public::from_line(&key.join(" "));
            keys.push(key.ok_or(TrustedError::NoKey { line })?);
        }
        if keys.is_empty() {
            return Err(TrustedError::Empty);
        }
        Ok(Self { keys })
    }

    /// Whether the key is one of them.
    pub fn has(&self, key: &Public) -> bool {
        self.keys.contains(key)
    }

    /// Adds a key that a trusted key vouches for.
    pub fn add(&mut self, key: Public) {
        self.keys.push(key);
    }

    /// Their fingerprints.
    pub fn fingerprints(&self) -> Vec<&str> {
        self.keys.iter().map(Public::fingerprint).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signing::Key;

    #[test]
    fn a_public_key_and_lines_of_allowed_signers_are_read() {
        let key = Key::of_seed([1; 32]).public().clone();
        let other = Key::of_seed([2; 32]).public().clone();
        let text = format!("# ours\n\n{} bench-1\n{}", key.line(), other.allowed());
        let trusted = Trusted::from_text(&text).unwrap();
        assert!(trusted.has(&key) && trusted.has(&other));
        assert!(!trusted.has(Key::of_seed([3; 32]).public()));
    }

    #[test]
    fn what_cannot_be_understood_is_refused() {
        let key = Key::of_seed([1; 32]);
        let line = key.public().line();
        for (text, wanted) in [
            (String::new(), TrustedError::Empty),
            (
                "tallyjaw ssh-rsa AAAA".to_owned(),
                TrustedError::NoKey { line: 1 },
            ),
            (
                "\nssh-ed25519 AAAA".to_owned(),
                TrustedError::NoKey { line: 2 },
            ),
            (
                format!("a cert-authority {line}"),
                TrustedError::Option {
                    line: 1,
                    option: "cert-authority".to_owned(),
                },
            ),
        ] {
            assert_eq!(Trusted::from_text(&text), Err(wanted), "{text}");
        }
    }
}
