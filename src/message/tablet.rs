//! Requests about tablets on the control socket.

use super::reply::ErrorObject;
use super::request::{Call, read};
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::Deserialize;
use serde_json::Value;

/// A request about tablets.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TabletCall {
    /// Make a pairing code for a tablet.
    Pair {
        /// The tablet's name; if it is left out, a name is chosen.
        tablet: Option<String>,
    },
    /// Revoke the pairing of a tablet.
    Revoke {
        /// The tablet's name.
        tablet: String,
    },
    /// List the paired tablets.
    List,
    /// Enter that the page has paired a tablet. The control socket has no such method.
    Paired {
        /// The tablet's name.
        tablet: String,
    },
}

/// The call for a method about tablets: `pair`, `revoke` or `tablets`.
pub(super) fn call(method: &str, params: Option<Value>) -> Result<Call, ErrorObject> {
    let call = match method {
        "pair" => {
            let PairForm { tablet } = read(params)?;
            TabletCall::Pair { tablet }
        }
        "revoke" => {
            let RevokeForm { tablet } = read(params)?;
            TabletCall::Revoke { tablet }
        }
        _ => {
            let ListForm {} = read(params)?;
            TabletCall::List
        }
    };
    Ok(Call::Tablet(call))
}

/// The methods with their parameters.
pub(super) fn schemas(generator: &mut SchemaGenerator) -> Vec<(&'static str, Schema)> {
    vec![
        ("pair", generator.subschema_for::<PairForm>()),
        ("revoke", generator.subschema_for::<RevokeForm>()),
        ("tablets", generator.subschema_for::<ListForm>()),
    ]
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct PairForm {
    tablet: Option<String>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct RevokeForm {
    tablet: String,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct ListForm {}
