//! Who may read: anybody on this machine where only this machine can connect, and whoever has a token of a program.
//!
//! A token's name is the user name, and its secret the password. It goes over encrypted channels only.

use crate::config::OpcuaConfig;
use crate::page::Programs;
use crate::page::tablet::TabletError;
use crate::quantity::WallMicros;
use async_trait::async_trait;
use opcua::crypto::SecurityPolicy;
use opcua::server::authenticator::{
    AuthManager, Password, UserToken, user_pass_security_policy_id, user_pass_security_policy_uri,
};
use opcua::server::{ANONYMOUS_USER_TOKEN_ID, ServerEndpoint};
use opcua::types::{Error, StatusCode, UAString, UserTokenPolicy, UserTokenType};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// Name of the policy of clients without a token.
const ANONYMOUS_POLICY: &str = "anonymous";

/// The tokens, and who has logged in with one.
pub(super) struct Login {
    state_dir: PathBuf,
    now: fn() -> WallMicros,
    /// Whether only this machine can connect.
    loopback: bool,
    /// Digests of the tokens that were shown, by name.
    shown: Mutex<BTreeMap<String, String>>,
}

impl Login {
    /// The tokens of a state folder, which must be readable.
    pub(super) fn new(
        state_dir: &Path,
        opcua: &OpcuaConfig,
        now: fn() -> WallMicros,
    ) -> Result<Self, TabletError> {
        Programs::open(state_dir, now)?;
        Ok(Self {
            state_dir: state_dir.to_owned(),
            now,
            loopback: opcua.listen.ip().is_loopback(),
            shown: Mutex::default(),
        })
    }

    /// Whether a token that was shown is no longer valid. Each client must log in again then, and the list is empty.
    pub(super) fn is_any_revoked(&self) -> bool {
        let mut shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        if shown.is_empty() {
            return false;
        }
        let Ok(programs) = Programs::open(&self.state_dir, self.now) else {
            // A file that is being replaced is there again at the next look; a damaged one lets nobody in any more.
            return false;
        };
        let valid = |(name, digest): (&String, &String)| programs.has(name, digest);
        let revoked = !shown.iter().all(valid);
        if revoked {
            shown.clear();
        }
        revoked
    }
}

fn refused(why: &str) -> Error {
    Error::new(StatusCode::BadIdentityTokenRejected, why.to_owned())
}

#[async_trait]
impl AuthManager for Login {
    async fn authenticate_anonymous_token(&self, _: &ServerEndpoint) -> Result<(), Error> {
        if self.loopback {
            return Ok(());
        }
        Err(refused("a client of another machine needs a token"))
    }

    async fn authenticate_username_identity_token(
        &self,
        _: &ServerEndpoint,
        username: &str,
        password: &Password,
    ) -> Result<UserToken, Error> {
        let programs = Programs::open(&self.state_dir, self.now);
        let programs = programs.map_err(|error| {
            tracing::error!(%error, "the tokens cannot be read: nobody can log in");
            refused("the tokens cannot be read")
        })?;
        let Some(digest) = programs.digest_of(username, password.get().as_bytes()) else {
            tracing::warn!(name = username, "refused: no such token");
            return Err(refused("no such token"));
        };
        let mut shown = self.shown.lock().unwrap_or_else(PoisonError::into_inner);
        shown.insert(username.to_owned(), digest);
        Ok(UserToken(username.to_owned()))
    }

    fn user_token_policies(&self, endpoint: &ServerEndpoint) -> Vec<UserTokenPolicy> {
        let mut policies = Vec::new();
        if self.loopback && endpoint.user_token_ids.contains(ANONYMOUS_USER_TOKEN_ID) {
            policies.push(UserTokenPolicy {
                policy_id: UAString::from(ANONYMOUS_POLICY),
                token_type: UserTokenType::Anonymous,
                ..UserTokenPolicy::default()
            });
        }
        if endpoint.security_policy() != SecurityPolicy::None {
            policies.push(UserTokenPolicy {
                policy_id: user_pass_security_policy_id(endpoint),
                token_type: UserTokenType::UserName,
                security_policy_uri: user_pass_security_policy_uri(endpoint),
                ..UserTokenPolicy::default()
            });
        }
        policies
    }
}
