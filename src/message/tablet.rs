//! What the control socket is asked about tablets.

use super::reply::ErrorObject;
use super::request::{Call, read};
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::Deserialize;
use serde_json::Value;

/// What is asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TabletCall {
    /// Make a code by which a tablet is let in to the page.
    Pair {
        /// Its name; one is found where it is left out.
        tablet: Option<String>,
    },
    /// Shut a tablet out.
    Revoke {
        /// Its name.
        tablet: String,
    },
    /// Which tablets are let in.
    List,
    /// The page lets a tablet in. No request says so.
    Paired {
        /// Its name.
        tablet: String,
    },
}

/// The call of a method about tablets: `pair`, `revoke`, or else the list.
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

/// For each method its parameters.
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
