//! The signing key of a bench: an OpenSSH private key in the state folder that only its user can read.
//!
//! - The private key is made here and stays in its file. It is never printed, and is in no entry or answer.
//! - A file that others may have read or written is refused, because they could sign.
//! - Rotation: the old key signs the new one, then the new one takes its place. After a crash between the two the old key
//!   is still there and in force.

#![expect(clippy::disallowed_methods, reason = "edge: the key is a file")]

use super::{NAMESPACE, PRINCIPAL, Public, Signature, SignatureError, not_one, signed_data};
use crate::durable::secret::{self, SecretError};
use crate::durable::{Access, Failed, failed, put};
use sha2::{Digest as _, Sha512};
use signature::Signer as _;
use ssh_key::private::{Ed25519Keypair, KeypairData};
use ssh_key::{HashAlg, LineEnding, PrivateKey, SshSig};
use std::io;
use std::path::{Path, PathBuf};

/// Name of the private key in the state folder.
pub const KEY_FILE: &str = "signing.key";

/// Name of the public key beside it, as a line of a file of allowed signers.
pub const PUBLIC_KEY_FILE: &str = "signing.allowed";

/// Name of the signature that the key before made over the key in use.
const HANDOVER_FILE: &str = "signing.handover";

/// A longer file is not a key.
const MOST: u64 = 8 * 1024;

/// Why there is no key for signing.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// The file cannot be read or made, or is not its owner's alone.
    #[error(transparent)]
    Secret(#[from] SecretError),
    /// The file has another content.
    #[error("{} holds no Ed25519 key without passphrase in the form of OpenSSH: {reason}", path.display())]
    NotAKey {
        /// The file.
        path: PathBuf,
        /// The library's reason.
        reason: String,
    },
    /// There already is a key.
    #[error("there is a key already: {}", path.display())]
    IsThere {
        /// The file.
        path: PathBuf,
    },
    /// There is no key.
    #[error("there is no key: {}", path.display())]
    NoKey {
        /// The file that would hold it.
        path: PathBuf,
    },
    /// Signing failed.
    #[error("the key did not sign: {0}")]
    Signing(#[from] SignatureError),
}

impl KeyError {
    /// What to do. It is printed on a line of its own, never as part of the message.
    pub fn remedy(&self) -> String {
        match self {
            Self::Secret(SecretError::Io(_)) => {
                "use it as the user that runs the daemon".to_owned()
            }
            Self::Secret(SecretError::Open { path, .. }) | Self::NotAKey { path, .. } => format!(
                "others may sign with it: take it away (mv {0} {0}.old), then make a new one: tallyjaw key make && tallyjaw reload",
                path.display()
            ),
            Self::IsThere { .. } => {
                "to go on with a new key that the old one vouches for: tallyjaw key rotate"
                    .to_owned()
            }
            Self::NoKey { .. } => "make one: tallyjaw key make".to_owned(),
            Self::Signing(_) => "make a new key: tallyjaw key rotate".to_owned(),
        }
    }
}

impl From<Failed> for KeyError {
    fn from(failed: Failed) -> Self {
        Self::Secret(failed.into())
    }
}

/// A private key with its public part.
#[derive(Clone)]
pub struct Key {
    private: PrivateKey,
    public: Public,
}

impl std::fmt::Debug for Key {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Key({})", self.public)
    }
}

impl Key {
    /// The key of a state folder; `None` if there is none.
    pub fn open(state_dir: &Path) -> Result<Option<Self>, KeyError> {
        let path = state_dir.join(KEY_FILE);
        let Some(text) = secret::read(&path, MOST)? else {
            return Ok(None);
        };
        let not_a_key = |reason: String| KeyError::NotAKey {
            path: path.clone(),
            reason,
        };
        let private =
            PrivateKey::from_openssh(text).map_err(|error| not_a_key(error.to_string()))?;
        Self::new(private).map(Some).map_err(not_a_key)
    }

    /// Makes the key of a state folder.
    pub fn make(state_dir: &Path) -> Result<Self, KeyError> {
        let path = state_dir.join(KEY_FILE);
        let key = Self::random(&path)?;
        key.store(state_dir, false)?;
        Ok(key)
    }

    /// Makes a new key that the old one signs, and replaces the old one.
    pub fn rotate(state_dir: &Path) -> Result<(Self, Self), KeyError> {
        let path = state_dir.join(KEY_FILE);
        let Some(old) = Self::open(state_dir)? else {
            return Err(KeyError::NoKey { path });
        };
        let new = Self::random(&path)?;
        let signed = crate::entry::seal::key_text(new.public.line());
        let handover = old.sign(signed.as_bytes())?.to_text()?;
        let beside = state_dir.join(HANDOVER_FILE);
        put(&beside, handover.as_bytes(), true, Access::Usual).map_err(failed("write", &beside))?;
        new.store(state_dir, true)?;
        Ok((old, new))
    }

    /// The signature over this key by the key before; `None` if there is none that is valid.
    pub fn handover(&self, state_dir: &Path) -> Option<Signature> {
        let text = std::fs::read_to_string(state_dir.join(HANDOVER_FILE)).ok()?;
        let signature = Signature::from_text(&text).ok()?;
        let signed = crate::entry::seal::key_text(self.public.line());
        signature
            .check(signed.as_bytes())
            .is_ok()
            .then_some(signature)
    }

    /// The public part.
    pub fn public(&self) -> &Public {
        &self.public
    }

    /// Signs bytes.
    pub fn sign(&self, bytes: &[u8]) -> Result<Signature, SignatureError> {
        self.sign_hash(&Sha512::digest(bytes).into())
    }

    /// Signs the bytes with this SHA-512.
    pub fn sign_hash(&self, hash: &[u8; 64]) -> Result<Signature, SignatureError> {
        let signed = self.private.try_sign(&signed_data(hash));
        let signed = signed.map_err(|error| not_one(&error.into()))?;
        let key = self.private.public_key().key_data().clone();
        let form = SshSig::new(key, NAMESPACE, HashAlg::Sha512, signed);
        Ok(Signature {
            form: form.map_err(|error| not_one(&error))?,
            by: self.public.clone(),
        })
    }

    /// The key that follows from a seed, for tests that need the same one each time.
    #[cfg(test)]
    pub(crate) fn of_seed(seed: [u8; 32]) -> Self {
        let private = PrivateKey::from(Ed25519Keypair::from_seed(&seed));
        Self::new(private).unwrap()
    }

    fn new(private: PrivateKey) -> Result<Self, String> {
        if !matches!(private.key_data(), KeypairData::Ed25519(_)) {
            return Err(format!("it is {}", private.algorithm()));
        }
        let public = private.public_key().key_data().clone();
        let public = Public::new(public).ok_or("its public part cannot be written")?;
        Ok(Self { private, public })
    }

    fn random(path: &Path) -> Result<Self, KeyError> {
        let seed = secret::random().map_err(failed("make a key for", path))?;
        let mut private = PrivateKey::from(Ed25519Keypair::from_seed(&seed));
        private.set_comment(PRINCIPAL);
        Self::new(private).map_err(|reason| KeyError::NotAKey {
            path: path.to_owned(),
            reason,
        })
    }

    /// Writes the private key, then the public one beside it.
    fn store(&self, state_dir: &Path, replaces: bool) -> Result<(), KeyError> {
        let path = state_dir.join(KEY_FILE);
        let text = self.private.to_openssh(LineEnding::LF);
        let text = text.map_err(|error| KeyError::Signing(not_one(&error)))?;
        put(&path, text.as_bytes(), replaces, Access::Private).map_err(|cause| {
            if cause.kind() == io::ErrorKind::AlreadyExists {
                KeyError::IsThere { path: path.clone() }
            } else {
                failed("write", &path)(cause).into()
            }
        })?;
        let beside = state_dir.join(PUBLIC_KEY_FILE);
        put(
            &beside,
            self.public.allowed().as_bytes(),
            true,
            Access::Usual,
        )
        .map_err(failed("write", &beside))?;
        Ok(())
    }
}

impl Public {
    /// Its line for a file of allowed signers, with its line end: `ssh-keygen -Y verify -f` accepts such a file.
    pub fn allowed(&self) -> String {
        format!("{PRINCIPAL} namespaces=\"{NAMESPACE}\" {}\n", self.line)
    }
}
