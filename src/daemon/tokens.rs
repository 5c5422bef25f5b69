//! Tokens of programs: making, listing and revoking them, by requests of a person at this machine.

use super::answers::AnswerTo;
use super::hub::Hub;
use crate::message::reply::{Outcome, TokenRevoked};
use crate::message::{ErrorObject, TokenCall, code};
use crate::page::Programs;
use crate::page::tablet::not_written;
use std::sync::Arc;

/// The answer to a program that makes another request than a command at a station.
pub(super) fn not_with_a_token() -> ErrorObject {
    ErrorObject::new(
        code::REFUSED,
        "a token may not do that, want a command at a station",
        Some(
            "do it on the bench's machine: tallyjaw --help; or on the bench page, with the address that `tallyjaw page` prints"
                .to_owned(),
        ),
    )
}

fn no_page() -> ErrorObject {
    ErrorObject::new(
        code::REFUSED,
        "this daemon serves neither page nor OPC UA, so there is nothing that a token opens",
        Some(
            "write [page] or [opcua] into the configuration, then start the daemon again"
                .to_owned(),
        ),
    )
}

impl Hub {
    /// Answers when what was done is on the disk.
    pub(super) fn ask_about_tokens(&mut self, call: TokenCall, to: AnswerTo) {
        let Some(programs) = self.programs.clone() else {
            let _ = to.send(Err(no_page()));
            return;
        };
        let outcome = match call {
            TokenCall::List => {
                // The client may be gone.
                let _ = to.send(Ok(Outcome::Tokens(programs.list())));
                return;
            }
            TokenCall::Add { token, scope } => programs.add(&token, scope).map(|made| {
                tracing::info!(token, scope = scope.name(), "a token was made");
                Outcome::Token(made)
            }),
            TokenCall::Revoke { token } => programs.revoke(&token).map(|()| {
                tracing::info!(token, "a token was revoked");
                Outcome::TokenRevoked(TokenRevoked {
                    revoked_token: token,
                })
            }),
        };
        match outcome {
            Ok(outcome) => answer_once_written(programs, outcome, to),
            Err(error) => {
                let _ = to.send(Err(error));
            }
        }
    }
}

fn answer_once_written(programs: Arc<Programs>, outcome: Outcome, to: AnswerTo) {
    tokio::spawn(async move {
        let saving = Arc::clone(&programs);
        let written = tokio::task::spawn_blocking(move || saving.save()).await;
        let answer = match written {
            Ok(Err(error)) => {
                // Its secret was shown to nobody.
                if let Outcome::Token(made) = &outcome {
                    let _ = programs.revoke(&made.token);
                }
                Err(not_written(&error))
            }
            Ok(Ok(())) | Err(_) => Ok(outcome),
        };
        let _ = to.send(answer);
    });
}
