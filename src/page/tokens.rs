//! The tokens of paired tablets and of programs: names and digests in files that only the daemon's user can read.
//!
//! A token is 32 random bytes, so its SHA-256 reveals nothing about it. A salted or slow digest, as for passwords,
//! would add nothing, because a token cannot be guessed. Whoever reads the file has no token by it.

use super::tablet::TabletError;
use super::token::same;
use crate::durable::secret;
use crate::durable::{Access, Failed, failed, put};
use crate::message::Scope;
use crate::quantity::{WallMicros, hex};
use serde::Deserialize;
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tokio::sync::watch;

/// Name of the file of tablets in the state folder.
pub const TABLETS_FILE: &str = "page.tablets";

/// Name of the file of programs in the state folder.
pub(super) const TOKENS_FILE: &str = "page.tokens";

/// A longer file was not written by us.
const LARGEST: u64 = 256 * 1024;

/// Minimum interval between two writes of the time at which a token was last used.
const USED_EVERY_MICROS: i64 = 600_000_000;

/// The digest of a token, hex.
pub(crate) type Digest = String;

/// A tablet or program that has a token.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Holder {
    /// The name that the person gave it.
    pub name: String,
    /// What a program may do; a tablet may do what the page may.
    #[serde(default)]
    pub scope: Option<Scope>,
    sha256: Digest,
    /// When it got the token, RFC 3339 in UTC.
    #[serde(alias = "paired")]
    pub since: String,
    /// When it was last used, RFC 3339 in UTC, to about ten minutes.
    pub used: Option<String>,
}

/// The content of a file.
#[derive(Debug, Default, Clone, Deserialize)]
struct Kept {
    v: u32,
    #[serde(alias = "tablets")]
    tokens: Vec<Holder>,
    /// Tablets that were revoked while no daemon ran; the next daemon enters that.
    #[serde(default)]
    to_enter: Vec<String>,
}

impl Kept {
    fn of_tablets(&self) -> Value {
        let tablets = self.tokens.iter().map(|tablet| {
            let Holder {
                name,
                sha256,
                since,
                used,
                scope: _,
            } = tablet;
            json!({"name": name, "sha256": sha256, "paired": since, "used": used})
        });
        json!({"v": 1, "tablets": tablets.collect::<Vec<_>>(), "to_enter": self.to_enter})
    }

    fn of_programs(&self) -> Value {
        let tokens = self.tokens.iter().map(|token| {
            let Holder {
                name,
                sha256,
                since,
                used,
                scope,
            } = token;
            let scope = scope.map(Scope::name);
            json!({"name": name, "scope": scope, "sha256": sha256, "since": since, "used": used})
        });
        json!({"v": 1, "tokens": tokens.collect::<Vec<_>>()})
    }
}

/// The tokens of a state folder.
#[derive(Debug)]
pub struct Tokens {
    path: PathBuf,
    as_json: fn(&Kept) -> Value,
    kept: Mutex<Kept>,
    /// Held during a write, so that each write has everything that is known by then.
    writing: Mutex<()>,
    changed: watch::Sender<()>,
}

impl Tokens {
    /// The tokens of the tablets of a state folder; none if there is no file.
    pub fn of_tablets(state_dir: &Path) -> Result<Self, TabletError> {
        Self::open(state_dir.join(TABLETS_FILE), Kept::of_tablets)
    }

    /// The same of programs.
    pub(super) fn of_programs(state_dir: &Path) -> Result<Self, TabletError> {
        let tokens = Self::open(state_dir.join(TOKENS_FILE), Kept::of_programs)?;
        let without = tokens.kept().tokens.iter().any(|one| one.scope.is_none());
        if without {
            return Err(damaged(&tokens.path));
        }
        Ok(tokens)
    }

    fn open(path: PathBuf, as_json: fn(&Kept) -> Value) -> Result<Self, TabletError> {
        let kept = match secret::read(&path, LARGEST)? {
            None => Kept::default(),
            Some(text) => serde_json::from_str(&text)
                .ok()
                .filter(|kept: &Kept| kept.v <= 1)
                .ok_or_else(|| damaged(&path))?,
        };
        Ok(Self {
            path,
            as_json,
            kept: Mutex::new(kept),
            writing: Mutex::new(()),
            changed: watch::Sender::new(()),
        })
    }

    /// Nothing can panic while the lock is held, so a poisoned lock still protects valid data.
    fn kept(&self) -> MutexGuard<'_, Kept> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Everyone who has a token, by name.
    pub fn list(&self) -> Vec<Holder> {
        let mut tokens = self.kept().tokens.clone();
        tokens.sort_by(|one, other| one.name.cmp(&other.name));
        tokens
    }

    /// Number of tokens.
    pub fn count(&self) -> usize {
        self.kept().tokens.len()
    }

    /// Notifies when a token is revoked.
    fn changes(&self) -> watch::Receiver<()> {
        self.changed.subscribe()
    }

    /// Makes a token. Returns it; it is stored nowhere. An earlier one of this name is replaced.
    pub(super) fn admit(
        &self,
        name: &str,
        scope: Option<Scope>,
        now: WallMicros,
    ) -> std::io::Result<String> {
        let token = hex(&secret::random::<32>()?);
        let mut kept = self.kept();
        kept.tokens.retain(|holder| holder.name != name);
        kept.tokens.push(Holder {
            name: name.to_owned(),
            scope,
            sha256: digest(token.as_bytes()),
            since: now.to_string(),
            used: None,
        });
        drop(kept);
        self.changed.send_replace(());
        Ok(token)
    }

    /// Revokes a token; `false` if there is none of this name.
    pub fn revoke(&self, name: &str) -> bool {
        let mut kept = self.kept();
        let before = kept.tokens.len();
        kept.tokens.retain(|holder| holder.name != name);
        let is_gone = kept.tokens.len() < before;
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

    /// Whose token has this digest. All are compared to their ends, so the time does not depend on where one differs.
    pub(super) fn holder_of(&self, sha256: &str) -> Option<Holder> {
        let kept = self.kept();
        let all = kept.tokens.iter();
        let found = all.fold(None, |found, holder| {
            if is_of(holder, sha256) {
                Some(holder)
            } else {
                found
            }
        });
        found.cloned()
    }

    /// The name of the holder whose token has this digest.
    pub(super) fn name_of(&self, sha256: &str) -> Option<String> {
        Some(self.holder_of(sha256)?.name)
    }

    /// Notes that a token was used. Returns `true` if that should be written.
    pub(super) fn used(&self, sha256: &str, now: WallMicros) -> bool {
        let mut kept = self.kept();
        let mut held = kept.tokens.iter_mut();
        let Some(holder) = held.find(|holder| is_of(holder, sha256)) else {
            return false;
        };
        let before: Option<WallMicros> = holder.used.as_deref().and_then(|at| at.parse().ok());
        let is_due = before.is_none_or(|before| {
            now < before || now.0.saturating_sub(before.0) >= USED_EVERY_MICROS
        });
        if is_due {
            holder.used = Some(now.to_string());
        }
        is_due
    }

    /// Writes the file, and waits for the disk.
    pub fn save(&self) -> Result<(), Failed> {
        let writing = self.writing.lock().unwrap_or_else(PoisonError::into_inner);
        let text = format!("{:#}\n", (self.as_json)(&self.kept()));
        let written = put(&self.path, text.as_bytes(), true, Access::Private);
        drop(writing);
        written.map_err(failed("write", &self.path))
    }
}

fn damaged(path: &Path) -> TabletError {
    TabletError::Damaged {
        path: path.to_owned(),
        want: "names and digests as JSON, of this release or an older one",
    }
}

fn is_of(holder: &Holder, sha256: &str) -> bool {
    same(holder.sha256.as_bytes(), sha256.as_bytes())
}

/// The digest of a token.
pub(super) fn digest(token: &[u8]) -> Digest {
    hex(&Sha256::digest(token))
}

/// The token with which a connection came last, by its digest.
#[derive(Debug, Default)]
pub(super) struct Held(Mutex<Option<Digest>>);

impl Held {
    /// Notes that its requests have the token with this digest, or one that none of these tokens is.
    pub(super) fn belongs_to(&self, sha256: Option<&str>) {
        let mut held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        *held = sha256.map(str::to_owned);
    }

    fn sha256(&self) -> Option<Digest> {
        let held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        held.clone()
    }

    /// Returns once that token is revoked.
    pub(super) async fn revoked(&self, tokens: &Tokens) {
        let mut changes = tokens.changes();
        while changes.changed().await.is_ok() {
            let held = self.sha256();
            if held.is_some_and(|sha256| tokens.name_of(&sha256).is_none()) {
                return;
            }
        }
        std::future::pending::<()>().await;
    }
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
        let tokens = Tokens::of_tablets(dir.path()).unwrap();
        let token = tokens.admit("bench-left", None, NOW).unwrap();
        tokens.save().unwrap();
        let path = dir.path().join(TABLETS_FILE);
        let text = secret::read(&path, LARGEST).unwrap().unwrap();
        assert!(!text.contains(&token), "{text}");
        assert_eq!(
            fs::metadata(&path).unwrap().permissions().mode() & 0o7777,
            0o600
        );
        let again = Tokens::of_tablets(dir.path()).unwrap();
        let shown = digest(token.as_bytes());
        assert_eq!(again.name_of(&shown).as_deref(), Some("bench-left"));
        assert_eq!(again.name_of(&digest(b"another")), None);
        assert!(again.revoke_for_later("bench-left") && !again.revoke("bench-left"));
        assert_eq!(again.name_of(&shown), None);
        again.save().unwrap();
        let again = Tokens::of_tablets(dir.path()).unwrap();
        assert_eq!(again.to_enter(), ["bench-left"]);
        assert_eq!(again.to_enter(), [""; 0]);
    }

    #[test]
    fn when_it_was_last_used_is_written_every_ten_minutes() {
        let dir = tempfile::tempdir().unwrap();
        let tokens = Tokens::of_tablets(dir.path()).unwrap();
        let shown = digest(tokens.admit("one", None, NOW).unwrap().as_bytes());
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
        Tokens::of_tablets(dir.path()).unwrap().save().unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).unwrap();
        let error = Tokens::of_tablets(dir.path()).unwrap_err();
        assert!(matches!(error, TabletError::Secret(_)), "{error}");
        fs::remove_file(&path).unwrap();
        put(&path, b"{\"v\":2,\"tablets\":[]}", true, Access::Private).unwrap();
        let error = Tokens::of_tablets(dir.path()).unwrap_err();
        assert!(matches!(error, TabletError::Damaged { .. }), "{error}");
    }

    #[test]
    fn tokens_of_programs_have_a_scope_and_files_of_either_kind_are_read_back() {
        let dir = tempfile::tempdir().unwrap();
        let programs = Tokens::of_programs(dir.path()).unwrap();
        let secret = programs.admit("office", Some(Scope::Read), NOW).unwrap();
        programs.save().unwrap();
        let again = Tokens::of_programs(dir.path()).unwrap();
        let holder = again.holder_of(&digest(secret.as_bytes())).unwrap();
        assert_eq!((&*holder.name, holder.scope), ("office", Some(Scope::Read)));
        let without = br#"{"v":1,"tokens":[{"name":"x","sha256":"","since":"","used":null}]}"#;
        put(&again.path, without, true, Access::Private).unwrap();
        let error = Tokens::of_programs(dir.path()).unwrap_err();
        assert!(matches!(error, TabletError::Damaged { .. }), "{error}");
        // As releases before have written it.
        let old = br#"{"v":1,"tablets":[{"name":"x","sha256":"ab","paired":"p","used":null}],"to_enter":[]}"#;
        let tablets = dir.path().join(TABLETS_FILE);
        put(&tablets, old, true, Access::Private).unwrap();
        let old = Tokens::of_tablets(dir.path()).unwrap();
        assert_eq!(old.list()[0].since, "p");
        old.save().unwrap();
        assert_eq!(Tokens::of_tablets(dir.path()).unwrap().list(), old.list());
    }
}
