//! The bench's signing key in the journal: from which entry on each key signs, and its seals.
//!
//! A seal is a signature over the digest of one line. Each line holds the digest of the line before, so a seal covers
//! every entry up to that one, and whoever changes any of them needs the private key for a new seal. The signed text is
//! short, so that `ssh-keygen` alone can check it. Nothing is signed or checked here.

use super::line::Digest;
use super::{JournalId, Seq, State};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The purpose of our signatures. A signature with another purpose is not valid here.
pub const NAMESPACE: &str = "tallyjaw";
/// The name under which the key stands in the file of allowed signers that we write.
pub const PRINCIPAL: &str = "tallyjaw";

/// The command that checks the signature of a file without tallyjaw; `allowed` is the file with the public key.
pub fn check_by_hand(file: &str, signature: &str, allowed: &str) -> String {
    format!(
        "ssh-keygen -Y verify -n {NAMESPACE} -I {PRINCIPAL} -f {allowed} -s {signature} < {file}"
    )
}

/// A signing key is in use from here on: later seals are made with it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct KeyBegun {
    /// The public key, as OpenSSH writes it: `ssh-ed25519 AAAA…`.
    pub public_key: String,
    /// Its fingerprint: `SHA256:…`.
    pub key: String,
    /// Fingerprint of the key before it; left out for the first key.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key_before: Option<String>,
    /// The signature over this key by the key before it, base64; left out if that key was lost.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub signature: Option<String>,
}

/// All entries up to one are sealed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Sealed {
    /// Identity of the journal.
    pub journal: JournalId,
    /// The last entry that the seal covers.
    pub up_to: Seq,
    /// SHA-256 of its line, hex.
    pub digest: String,
    /// Fingerprint of the key: `SHA256:…`.
    pub key: String,
    /// The signature in the form of OpenSSH, base64, without the lines around it.
    pub signature: String,
}

/// The signing key, as the state keeps it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct KeyInUse {
    /// Its fingerprint: `SHA256:…`.
    pub key: String,
    /// The last entry that a seal of any key covers; `None` before the first seal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub up_to: Option<Seq>,
}

/// The text that a seal signs.
pub fn sealed_text(journal: &JournalId, up_to: Seq, digest: Digest) -> String {
    format!("tallyjaw seal 1\njournal {journal}\nentry {up_to}\nsha256 {digest}\n")
}

/// The text that a key signs for the key after it.
pub fn key_text(public_key: &str) -> String {
    format!("tallyjaw key 1\n{public_key}\n")
}

impl Sealed {
    /// The text that was signed; `None` if the digest is not valid.
    pub fn text(&self) -> Option<String> {
        let digest = self.digest.parse().ok()?;
        Some(sealed_text(&self.journal, self.up_to, digest))
    }
}

impl State {
    pub(super) fn begin_key(&mut self, begun: &KeyBegun) {
        self.key = Some(KeyInUse {
            key: begun.key.clone(),
            up_to: self.key.as_ref().and_then(|known| known.up_to),
        });
    }

    pub(super) fn seal(&mut self, sealed: &Sealed) {
        if let Some(known) = &mut self.key {
            known.up_to = Some(sealed.up_to);
        }
    }
}
