//! The names of the methods on the control socket.

use super::reply::{ErrorObject, code};

/// Every method, for messages and for the nearest known name.
pub const METHODS: [&str; 27] = [
    "arm",
    "disarm",
    "retract",
    "restore",
    "resume",
    "note",
    "zero",
    "ask",
    "adapter",
    "operator",
    "tool",
    "job",
    "lot",
    "status",
    "catalog",
    "reload",
    "pair",
    "revoke",
    "tablets",
    "token_add",
    "token_revoke",
    "tokens",
    "look",
    "pulled",
    "crimps",
    "settle",
    "picture",
];

/// The answer to any other name.
pub(super) fn no_method(unknown: &str) -> ErrorObject {
    ErrorObject::new(
        code::UNKNOWN_METHOD,
        format!("no method {unknown:?}, want one of {}", METHODS.join(", ")),
        crate::quantity::meant(unknown, METHODS),
    )
}
