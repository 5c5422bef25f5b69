//! The tokens of paired tablets: names and digests in a file that only the daemon's user can read.
//!
//! A token is 32 random bytes, so its SHA-256 reveals nothing about it. A salted or slow digest, as for passwords,
//! would add nothing, because a token cannot be guessed. Whoever reads the file cannot pair a device with it.

use super::TabletError;
use crate::durable::secret;
use crate::durable::{Access, Failed, failed, put};
use crate::quantity::{WallMicros, hex};
use serde::Deserialize;
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tokio::sync::watch;

/// Name of the file in the state folder.
pub const TABLETS_FILE: &str = "page.tablets";

/// A longer file was not written by us.
const LARGEST: u64 = 256 * 1024;

/// Maximum number of paired tablets.
pub const MOST_TABLETS: usize = 32;

/// Minimum interval between two writes of the time at which a tablet was last used.
const USED_EVERY_MICROS: i64 = 600_000_000;

/// The digest of a token, hex.
pub(crate) type Digest = String;

/// A paired tablet.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Tablet {
    /// The name that the person gave it.
    pub name: String,
    sha256: Digest,
    /// When it was paired, RFC 3339 in UTC.
    pub paired: String,
    /// When it was last used, RFC 3339 in UTC, to about ten minutes.
    pub used: Option<String>,
}

/// The content of the file.
#[derive(Debug, Default, Clone, Deserialize)]
struct Kept {
    v: u32,
    tablets: Vec<Tablet>,
    /// Tablets that were revoked while no daemon ran; the next daemon enters that.
    #[serde(default)]
    to_enter: Vec<String>,
}

impl Kept {
    fn as_json(&self) -> Value {
        let tablets = self.tablets.iter().map(|tablet| {
            let Tablet {
                name,
                sha256,
                paired,
                used,
            } = tablet;
            json!({"name": name, "sha256": sha256, "paired": paired, "used": used})
        });
        json!({"v": 1, "tablets": tablets.collect::<Vec<_>>(), "to_enter": self.to_enter})
    }
}

/// The tokens of a state folder.
#[derive(Debug)]
pub struct Tokens {
    path: PathBuf,
    kept: Mutex<Kept>,
    /// Held during a write, so that each write has everything that is known by then.
    writing: Mutex<()>,
    changed: watch::Sender<()>,
}

impl Tokens {
    /// The tokens of a state folder; none if there is no file.
    pub fn open(state_dir: &Path) -> Result<Self, TabletError> {
        let path = state_dir.join(TABLETS_FILE);
        let kept = match secret::read(&path, LARGEST)? {
            None => Kept::default(),
            Some(text) => serde_json::from_str(&text)
                .ok()
                .filter(|kept: &Kept| kept.v <= 1)
                .ok_or(TabletError::Damaged {
                    path: path.clone(),
                    want: "names and digests as JSON, of this release or an older one",
                })?,
        };
        Ok(Self {
            path,
            kept: Mutex::new(kept),
            writing: Mutex::new(()),
            changed: watch::Sender::new(()),
        })
    }

    /// Nothing can panic while the lock is held, so a poisoned lock still protects valid data.
    fn kept(&self) -> MutexGuard<'_, Kept> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The paired tablets, by name.
    pub fn list(&self) -> Vec<Tablet> {
        let mut tablets = self.kept().tablets.clone();
        tablets.sort_by(|one, other| one.name.cmp(&other.name));
        tablets
    }

    /// Number of paired tablets.
    pub fn count(&self) -> usize {
        self.kept().tablets.len()
    }

    /// Notifies when a tablet is revoked.
    pub(super) fn changes(&self) -> watch::Receiver<()> {
        self.changed.subscribe()
    }

    /// Pairs a tablet. Returns its token, which is stored nowhere. An earlier tablet of this name is replaced.
    pub(super) fn admit(&self, name: &str, now: WallMicros) -> std::io::Result<String> {
        let token = hex(&secret::random::<32>()?);
        let mut kept = self.kept();
        kept.tablets.retain(|tablet| tablet.name != name);
        kept.tablets.push(Tablet {
            name: name.to_owned(),
            sha256: digest(token.as_bytes()),
            paired: now.to_string(),
            used: None,
        });
        drop(kept);
        self.changed.send_replace(());
        Ok(token)
    }

    /// Revokes a tablet; `false` if there is none of this name.
    pub fn revoke(&self, name: &str) -> bool {
        let mut kept = self.kept();
        let before = kept.tablets.len();
        kept.tablets.retain(|tablet| tablet.name != name);
        let is_gone = kept.tablets.len() < before;
        drop(kept);
        self.changed.send_replace(());
        is_gone
    }

    /// Revokes a tablet while no daemon runs; the next daemon enters that.
    pub fn revoke_for_later(&self, name: &str) -> bool {
        let is_gone = self.revoke(name);
        if is_gone {
            self.enter_later(name.to_owned());
        }
        is_gone
    }

    /// Has the next daemon enter that the tablet was revoked.
    pub(crate) fn enter_later(&self, name: String) {
        self.kept().to_enter.push(name);
    }

    /// The tablets that were revoked while no daemon ran.
    pub(crate) fn to_enter(&self) -> Vec<String> {
        std::mem::take(&mut self.kept().to_enter)
    }

    /// The tablet whose token has this digest.
    pub(super) fn name_of(&self, sha256: &str) -> Option<String> {
        let kept = self.kept();
        let tablet = kept.tablets.iter().find(|tablet| tablet.sha256 == sha256)?;
        Some(tablet.name.clone())
    }

    /// Notes that a tablet was used. Returns `true` if that should be written.
    pub(super) fn used(&self, sha256: &str, now: WallMicros) -> bool {
        let mut kept = self.kept();
        let found = kept
            .tablets
            .iter_mut()
            .find(|tablet| tablet.sha256 == sha256);
        let Some(tablet) = found else {
            return false;
        };
        let before: Option<WallMicros> = tablet.used.as_deref().and_then(|at| at.parse().ok());
        let is_due = before.is_none_or(|before| {
            now < before || now.0.saturating_sub(before.0) >= USED_EVERY_MICROS
        });
        if is_due {
            tablet.used = Some(now.to_string());
        }
        is_due
    }

    /// Writes the file, and waits for the disk.
    pub fn save(&self) -> Result<(), Failed> {
        let writing = self.writing.lock().unwrap_or_else(PoisonError::into_inner);
        let text = format!("{:#}\n", self.kept().as_json());
        let written = put(&self.path, text.as_bytes(), true, Access::Private);
        drop(writing);
        written.map_err(failed("write", &self.path))
    }
}

/// The digest of a token. Comparing digests may take a time that depends on where they differ, since that reveals
/// nothing about the token.
pub(super) fn digest(token: &[u8]) -> Digest {
    hex(&Sha256::digest(token))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;
    use std::os::unix::fs::PermissionsExt;

    const NOW: WallMicros = WallMicros(1_795_000_000_000_000);

    #[test]
    fn a_token_is_kept_as_a_digest_in_its_owners_file_and_is_good_until_it_is_revoked() {
        let dir = tempfile::tempdir().unwrap();
        let tokens = Tokens::open(dir.path()).unwrap();
        let token = tokens.admit("bench-left", NOW).unwrap();
        tokens.save().unwrap();
        let path = dir.path().join(TABLETS_FILE);
        let text = secret::read(&path, LARGEST).unwrap().unwrap();
        assert!(!text.contains(&token), "{text}");
        assert_eq!(
            fs::metadata(&path).unwrap().permissions().mode() & 0o7777,
            0o600
        );
        let again = Tokens::open(dir.path()).unwrap();
        let shown = digest(token.as_bytes());
        assert_eq!(again.name_of(&shown).as_deref(), Some("bench-left"));
        assert_eq!(again.name_of(&digest(b"another")), None);
        assert!(again.revoke_for_later("bench-left") && !again.revoke("bench-left"));
        assert_eq!(again.name_of(&shown), None);
        again.save().unwrap();
        let again = Tokens::open(dir.path()).unwrap();
        assert_eq!(again.to_enter(), ["bench-left"]);
        assert_eq!(again.to_enter(), [""; 0]);
    }

    #[test]
    fn when_it_was_last_used_is_written_every_ten_minutes() {
        let dir = tempfile::tempdir().unwrap();
        let tokens = Tokens::open(dir.path()).unwrap();
        let shown = digest(tokens.admit("one", NOW).unwrap().as_bytes());
        let after = |seconds: i64| tokens.used(&shown, WallMicros(NOW.0 + seconds * 1_000_000));
        assert_eq!(
            [0, 1, 599, 600, 601].map(after),
            [true, false, false, true, false]
        );
        assert!(!tokens.used("none", NOW));
    }

    #[test]
    fn a_file_that_others_may_have_written_or_that_is_none_is_refused() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join(TABLETS_FILE);
        Tokens::open(dir.path()).unwrap().save().unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).unwrap();
        let error = Tokens::open(dir.path()).unwrap_err();
        assert!(matches!(error, TabletError::Secret(_)), "{error}");
        fs::remove_file(&path).unwrap();
        put(&path, b"{\"v\":2,\"tablets\":[]}", true, Access::Private).unwrap();
        let error = Tokens::open(dir.path()).unwrap_err();
        assert!(matches!(error, TabletError::Damaged { .. }), "{error}");
    }
}
