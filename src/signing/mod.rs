//! Signatures in the form of OpenSSH, with the namespace `tallyjaw`: `ssh-keygen -Y verify` checks them without
//! tallyjaw.
//!
//! In: bytes, or their SHA-512, and a key. Out: a [`Signature`], or why one is not valid. The private key is in
//! [`key`]; only a process that may read its file has it in memory.

pub mod beside;
pub mod key;
pub mod trusted;

pub use crate::entry::seal::{NAMESPACE, PRINCIPAL};
pub use key::{KEY_FILE, Key, KeyError, PUBLIC_KEY_FILE};
pub use trusted::{Trusted, TrustedError};

use sha2::{Digest as _, Sha512};
use signature::Verifier as _;
use ssh_key::public::KeyData;
use ssh_key::{HashAlg, LineEnding, PublicKey, SshSig};
use std::fmt;

const BEGIN: &str = "-----BEGIN SSH SIGNATURE-----\n";
const END: &str = "-----END SSH SIGNATURE-----";

/// Why a signature is not valid.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SignatureError {
    /// The text is not a signature in the form of OpenSSH.
    #[error("no signature in the form of OpenSSH: {reason}")]
    NotASignature {
        /// The library's reason.
        reason: String,
    },
    /// It was made for another purpose.
    #[error(
        "a signature for {namespace:?} by {algorithm} over {hash}, want {NAMESPACE:?}, ssh-ed25519 and sha512"
    )]
    OtherUse {
        /// Its namespace.
        namespace: String,
        /// The kind of key.
        algorithm: String,
        /// The hash of what was signed.
        hash: String,
    },
    /// The bytes are not those that were signed, or the signature was changed.
    #[error("the signature is not of these bytes")]
    Wrong,
}

/// A public key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Public {
    key: KeyData,
    line: String,
    fingerprint: String,
}

impl Public {
    fn new(key: KeyData) -> Option<Self> {
        let line = PublicKey::new(key.clone(), "").to_openssh().ok()?;
        Some(Self {
            fingerprint: key.fingerprint(HashAlg::Sha256).to_string(),
            line: line.trim_end().to_owned(),
            key,
        })
    }

    /// Reads a key as OpenSSH writes it, with or without a comment; `None` if it is not an Ed25519 key.
    ///
    /// # Examples
    ///
    /// ```
    /// use tallyjaw::signing::Public;
    /// let line = "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAILM+rvN+ot98qgEN796jTiQfZfG1KaT0PtFDJ/XFSqti bench-1";
    /// let key = Public::from_line(line).unwrap();
    /// assert!(key.fingerprint().starts_with("SHA256:"));
    /// assert_eq!(format!("{} bench-1", key.line()), line);
    /// ```
    pub fn from_line(line: &str) -> Option<Self> {
        let key = PublicKey::from_openssh(line.trim()).ok()?;
        key.key_data().is_ed25519().then_some(())?;
        Self::new(key.key_data().clone())
    }

    /// The key as OpenSSH writes it, without a comment: `ssh-ed25519 AAAA…`.
    pub fn line(&self) -> &str {
        &self.line
    }

    /// `SHA256:…`, as `ssh-keygen -l` prints it.
    pub fn fingerprint(&self) -> &str {
        &self.fingerprint
    }
}

/// A signature.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signature {
    form: SshSig,
    by: Public,
}

impl Signature {
    /// Reads the text of a `.sig` file.
    pub fn from_text(text: &str) -> Result<Self, SignatureError> {
        let form = SshSig::from_pem(text.trim()).map_err(|error| not_one(&error))?;
        let is_ours = form.namespace() == NAMESPACE
            && form.version() == SshSig::VERSION
            && form.reserved().is_empty()
            && form.public_key().is_ed25519()
            && form.hash_alg() == HashAlg::Sha512;
        let by = Public::new(form.public_key().clone()).filter(|_| is_ours);
        let Some(by) = by else {
            return Err(SignatureError::OtherUse {
                namespace: form.namespace().to_owned(),
                algorithm: form.public_key().algorithm().to_string(),
                hash: form.hash_alg().to_string(),
            });
        };
        Ok(Self { form, by })
    }

    /// Reads the base64 of an entry.
    pub fn from_base64(text: &str) -> Result<Self, SignatureError> {
        let signature = Self::from_text(&armored(text))?;
        if signature.to_base64()? != text {
            let reason = "it is written in another way".to_owned();
            return Err(SignatureError::NotASignature { reason });
        }
        Ok(signature)
    }

    /// The text of a `.sig` file.
    pub fn to_text(&self) -> Result<String, SignatureError> {
        let text = self.form.to_pem(LineEnding::LF);
        text.map(|text| format!("{}\n", text.trim_end()))
            .map_err(|error| not_one(&error))
    }

    /// The base64 for an entry: the text without its line ends and the lines around it.
    pub fn to_base64(&self) -> Result<String, SignatureError> {
        let text = self.to_text()?;
        let text = text.trim_start_matches(BEGIN).trim_end();
        Ok(text.trim_end_matches(END).replace('\n', ""))
    }

    /// The key that it names as its maker.
    pub fn by(&self) -> &Public {
        &self.by
    }

    /// Checks that it is valid for these bytes.
    pub fn check(&self, bytes: &[u8]) -> Result<(), SignatureError> {
        self.check_hash(&Sha512::digest(bytes).into())
    }

    /// Checks that it is valid for the bytes with this SHA-512.
    pub fn check_hash(&self, hash: &[u8; 64]) -> Result<(), SignatureError> {
        let signed = signed_data(hash);
        let found = self
            .form
            .public_key()
            .verify(&signed, self.form.signature());
        found.map_err(|_| SignatureError::Wrong)
    }
}

impl fmt::Display for Public {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.fingerprint)
    }
}

fn not_one(error: &ssh_key::Error) -> SignatureError {
    SignatureError::NotASignature {
        reason: error.to_string(),
    }
}

/// The base64 with line ends, between the lines that mark a signature. If the text is not base64, neither is the
/// result.
fn armored(base64: &str) -> String {
    let mut text = BEGIN.to_owned();
    for (at, letter) in base64.chars().enumerate() {
        if at > 0 && at % 70 == 0 {
            text.push('\n');
        }
        text.push(letter);
    }
    text + "\n" + END + "\n"
}

/// The data that a key really signs: OpenSSH's PROTOCOL.sshsig, "Signed Data, of which the signature goes into the blob
/// above".
fn signed_data(hash: &[u8; 64]) -> Vec<u8> {
    let mut data = b"SSHSIG".to_vec();
    for part in [NAMESPACE.as_bytes(), b"", b"sha512", hash] {
        let len = u32::try_from(part.len()).unwrap_or(u32::MAX);
        data.extend(len.to_be_bytes());
        data.extend(part);
    }
    data
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `signed_data` is what the library makes of the same bytes.
    #[test]
    fn what_is_signed_is_what_the_library_makes_of_it() {
        for bytes in [&b""[..], b"a line\n", &[0xff; 4096]] {
            let hash = Sha512::digest(bytes).into();
            let wanted = SshSig::signed_data(NAMESPACE, HashAlg::Sha512, bytes).unwrap();
            assert_eq!(signed_data(&hash), wanted);
        }
    }

    #[test]
    fn a_signature_holds_for_its_bytes_alone_and_survives_both_texts() {
        let key = Key::of_seed([7; 32]);
        let signature = key.sign(b"one").unwrap();
        assert_eq!(signature.by(), key.public());
        assert_eq!(signature.check(b"one"), Ok(()));
        assert_eq!(signature.check(b"two"), Err(SignatureError::Wrong));
        let text = signature.to_text().unwrap();
        assert_eq!(Signature::from_text(&text).unwrap(), signature);
        let base64 = signature.to_base64().unwrap();
        assert!(!base64.contains(['\n', '-', ' ']), "{base64}");
        assert_eq!(Signature::from_base64(&base64).unwrap(), signature);
    }

    #[test]
    fn every_single_changed_bit_of_a_signature_is_found() {
        let key = Key::of_seed([7; 32]);
        let base64 = key.sign(b"one").unwrap().to_base64().unwrap();
        for at in 0..base64.len() {
            for bit in 0..8 {
                let mut bytes = base64.clone().into_bytes();
                bytes[at] ^= 1 << bit;
                let Ok(text) = String::from_utf8(bytes) else {
                    continue;
                };
                let holds = Signature::from_base64(&text)
                    .is_ok_and(|other| other.by() == key.public() && other.check(b"one").is_ok());
                assert!(!holds, "bit {bit} of byte {at}");
            }
        }
    }
}
