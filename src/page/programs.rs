//! The tokens of programs: named, each with a scope, made and revoked by command.
//!
//! In: requests of a person at the machine, and the token of a request. Out: the secret, once; and who a request comes
//! from.
//!
//! - Only digests are stored, in a file that only the daemon's user can read.
//! - Revoking a token closes the connections that came with it.

use super::tablet::TabletError;
use super::tokens::{Held, Tokens, digest};
use crate::durable::Failed;
use crate::message::reply::{NewToken, TokenList, TokenMessage};
use crate::message::{ErrorObject, Scope, code};
use crate::quantity::WallMicros;
use std::path::Path;
use std::sync::Arc;

/// Maximum number of tokens.
pub const MOST_TOKENS: usize = 64;

/// The tokens of the programs of a state folder.
#[derive(Debug)]
pub struct Programs {
    pub(super) tokens: Tokens,
    now: fn() -> WallMicros,
}

impl Programs {
    /// The tokens of a state folder, by the wall clock `now`.
    pub fn open(state_dir: &Path, now: fn() -> WallMicros) -> Result<Self, TabletError> {
        Ok(Self {
            tokens: Tokens::of_programs(state_dir)?,
            now,
        })
    }

    /// Makes a token. It is valid at once; [`Programs::save`] makes it last.
    pub fn add(&self, name: &str, scope: Scope) -> Result<NewToken, ErrorObject> {
        let refused = |message: String, remedy: &str| {
            ErrorObject::new(code::REFUSED, message, Some(remedy.to_owned()))
        };
        if !crate::config::is_name(name) {
            return Err(refused(
                format!(
                    "got the name {name:?}, want letters, digits, - _ and ., at most 64, a letter or digit first"
                ),
                "name it by the program that will have it, such as scraper",
            ));
        }
        let known = self.tokens.list();
        if known.iter().any(|holder| holder.name == name) {
            return Err(refused(
                format!("there is a token {name:?} already"),
                "take another name, or revoke that one first: tallyjaw token revoke NAME",
            ));
        }
        if known.len() >= MOST_TOKENS {
            return Err(refused(
                format!("there are {MOST_TOKENS} tokens, no more can be made"),
                "revoke one that is not used any more: tallyjaw token list, then tallyjaw token revoke NAME",
            ));
        }
        let secret = self.tokens.admit(name, Some(scope), (self.now)());
        let secret = secret.map_err(|error| {
            refused(
                format!("no token can be made: {error}"),
                "look at the system: it gives no random numbers",
            )
        })?;
        Ok(NewToken {
            token: name.to_owned(),
            scope,
            secret,
        })
    }

    /// Revokes a token, in force at once; [`Programs::save`] makes it last.
    pub fn revoke(&self, name: &str) -> Result<(), ErrorObject> {
        if self.tokens.revoke(name) {
            return Ok(());
        }
        Err(ErrorObject::new(
            code::REFUSED,
            format!("there is no token {name:?}"),
            Some("list them: tallyjaw token list".to_owned()),
        ))
    }

    /// The tokens, without their secrets.
    pub fn list(&self) -> TokenList {
        let known = self.tokens.list().into_iter();
        let tokens = known.map(|holder| TokenMessage {
            token: holder.name,
            scope: holder.scope.unwrap_or(Scope::Read),
            made_at: holder.since,
            used_at: holder.used,
        });
        TokenList {
            tokens: tokens.collect(),
        }
    }

    /// The digest of the secret, if it is that of the token with this name.
    pub fn digest_of(&self, name: &str, secret: &[u8]) -> Option<String> {
        let sha256 = digest(secret);
        let known = self.tokens.name_of(&sha256);
        (known.as_deref() == Some(name)).then_some(sha256)
    }

    /// Whether the token with this name and digest is still there.
    pub fn has(&self, name: &str, sha256: &str) -> bool {
        self.tokens.name_of(sha256).as_deref() == Some(name)
    }

    /// Writes the file, and waits for the disk.
    pub fn save(&self) -> Result<(), Failed> {
        self.tokens.save()
    }

    /// Whose token a request shows, and what it may do. From here on the connection belongs to that token, and is closed
    /// when it is revoked.
    pub(super) fn who(self: &Arc<Self>, shown: &[u8], held: &Held) -> Option<(String, Scope)> {
        let sha256 = digest(shown);
        // Before it is looked for, so that a token that is revoked in this moment closes the connection.
        held.belongs_to(Some(&sha256));
        let Some(holder) = self.tokens.holder_of(&sha256) else {
            held.belongs_to(None);
            return None;
        };
        if self.tokens.used(&sha256, (self.now)()) {
            let programs = Arc::clone(self);
            tokio::task::spawn_blocking(move || {
                if let Err(error) = programs.save() {
                    tracing::warn!(%error, "when a token was last used was not written");
                }
            });
        }
        Some((holder.name, holder.scope?))
    }
}
