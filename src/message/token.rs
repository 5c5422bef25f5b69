//! Requests about the tokens of programs on the control socket.

use super::reply::ErrorObject;
use super::request::{Call, read};
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// What a program may do with its token.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Scope {
    /// Read what the page shows.
    Read,
    /// Also give commands at a station.
    Command,
}

impl Scope {
    /// Both, the lesser one first.
    pub const ALL: [Self; 2] = [Self::Read, Self::Command];

    /// The word for it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Command => "command",
        }
    }
}

/// A request about tokens.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TokenCall {
    /// Make a token.
    Add {
        /// Name of the program that will have it.
        token: String,
        /// What it may do.
        scope: Scope,
    },
    /// List the tokens.
    List,
    /// Revoke a token.
    Revoke {
        /// Its name.
        token: String,
    },
}

/// The answer to `token_add`. The secret is stored nowhere.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct NewToken {
    /// Its name.
    pub token: String,
    /// What it may do.
    pub scope: Scope,
    /// The token itself, as a request must have it: `Authorization: Bearer SECRET`.
    pub secret: String,
}

/// The answer to `tokens`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct TokenList {
    /// The tokens, by name.
    pub tokens: Vec<TokenMessage>,
}

/// A token, without its secret.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct TokenMessage {
    /// Its name.
    pub token: String,
    /// What it may do.
    pub scope: Scope,
    /// When it was made, UTC, RFC 3339.
    pub made_at: String,
    /// When it was last used, UTC, RFC 3339, to about ten minutes; left out if never.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub used_at: Option<String>,
}

/// The answer to `token_revoke`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct TokenRevoked {
    /// Name of the token that is no longer valid. Its open connections are closed.
    pub revoked_token: String,
}

/// The call for a method about tokens: `token_add`, `token_revoke` or `tokens`.
pub(super) fn call(method: &str, params: Option<Value>) -> Result<Call, ErrorObject> {
    let call = match method {
        "token_add" => {
            let AddForm { token, scope } = read(params)?;
            TokenCall::Add { token, scope }
        }
        "token_revoke" => {
            let RevokeForm { token } = read(params)?;
            TokenCall::Revoke { token }
        }
        _ => {
            let ListForm {} = read(params)?;
            TokenCall::List
        }
    };
    Ok(Call::Token(call))
}

/// The methods with their parameters.
pub(super) fn schemas(generator: &mut SchemaGenerator) -> Vec<(&'static str, Schema)> {
    vec![
        ("token_add", generator.subschema_for::<AddForm>()),
        ("token_revoke", generator.subschema_for::<RevokeForm>()),
        ("tokens", generator.subschema_for::<ListForm>()),
    ]
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "TokenAddForm")]
struct AddForm {
    token: String,
    scope: Scope,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "TokenRevokeForm")]
struct RevokeForm {
    token: String,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "TokenListForm")]
struct ListForm {}
