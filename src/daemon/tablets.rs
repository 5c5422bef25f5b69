//! Tablets: pairing, revoking, and the origin of commands.
//!
//! In: requests of a person at this machine, requests of the page, and commands of tablets. Out: answers, and entries
//! that record which tablets were paired, which were revoked, and which entries came from a tablet.

use super::answers::AnswerTo;
use super::hub::Hub;
use super::tokens::not_with_a_token;
use crate::clients::Commander;
use crate::entry::{Entry, Paired, Revoked, Seq, TabletSaid};
use crate::message::reply::{Done, Outcome};
use crate::message::{Call, ErrorObject, TabletCall, code};
use crate::page::tablet::{Gate, not_written};
use crate::station::{Command, Input};
use std::sync::Arc;
use tokio::sync::oneshot;

/// Refuses a request that is only for the machine. A tablet or a program may give commands at a station, and ask about the
/// state. Pairing tablets, making tokens and changing the configuration are not among them.
pub(super) fn may_say(from: &Commander, call: &Call) -> Result<(), ErrorObject> {
    let may = match call {
        Call::Station(_) | Call::Picture(_) | Call::Status | Call::Catalog => true,
        Call::Reload | Call::Setup | Call::Change(_) | Call::Tablet(_) | Call::Token(_) => false,
    };
    match from {
        Commander::Tablet(_) if !may => Err(only_at_the_machine()),
        Commander::Token(_) if !may => Err(not_with_a_token()),
        Commander::Machine | Commander::Tablet(_) | Commander::Token(_) => Ok(()),
    }
}

/// The answer to a tablet that makes another request.
fn only_at_the_machine() -> ErrorObject {
    ErrorObject::new(
        code::REFUSED,
        "a tablet may not do that, want a command on the bench's machine",
        Some("on that machine: tallyjaw page --help, tallyjaw reload".to_owned()),
    )
}

fn no_tablets() -> ErrorObject {
    ErrorObject::new(
        code::REFUSED,
        "this daemon lets no tablets in",
        Some("write tablet = true under [page], then start the daemon again".to_owned()),
    )
}

impl Hub {
    /// Pairing codes, revocations and the list.
    pub(super) fn ask_about_tablets(&mut self, call: TabletCall, to: AnswerTo) {
        let Some(gate) = self.gate.clone() else {
            let _ = to.send(Err(no_tablets()));
            return;
        };
        let answer = match call {
            TabletCall::Pair { tablet } => {
                let made = gate.pair(tablet);
                made.map(|pairing| Outcome::Pairing(Box::new(pairing)))
            }
            TabletCall::List => Ok(Outcome::Tablets(gate.tablets())),
            TabletCall::Revoke { tablet } => {
                self.revoke(&gate, tablet, to);
                return;
            }
            TabletCall::Paired { tablet } => match self.check_room() {
                Ok(()) => {
                    self.enter(Paired { tablet });
                    let seq = self.appended;
                    self.waiting.add(seq, done(seq), to);
                    return;
                }
                Err(error) => Err(error),
            },
        };
        // The client may be gone.
        let _ = to.send(answer);
    }

    fn enter(&mut self, entry: impl Into<Entry>) {
        self.feed(Input::Journal(entry.into()));
    }

    /// Revokes a tablet: first in memory, then on the disk, then the answer is sent.
    fn revoke(&mut self, gate: &Arc<Gate>, tablet: String, to: AnswerTo) {
        let waited = gate.withdraw(&tablet);
        let was_in = gate.tokens.revoke(&tablet);
        if !waited && !was_in {
            let error = ErrorObject::new(
                code::REFUSED,
                format!("no tablet {tablet:?} is paired"),
                Some("list them: tallyjaw page --tablets".to_owned()),
            );
            let _ = to.send(Err(error));
            return;
        }
        let (entered, durable) = oneshot::channel();
        let seq = self.appended;
        if !was_in {
            let _ = entered.send(Ok(done(seq)));
        } else if self.check_room().is_ok() {
            tracing::info!(tablet, "the pairing of a tablet was revoked");
            self.enter(Revoked { tablet });
            let seq = self.appended;
            self.waiting.add(seq, done(seq), entered);
        } else {
            // If the disk is full the tablet is revoked even so; the next start enters it.
            gate.tokens.enter_later(tablet);
            let _ = entered.send(Ok(done(seq)));
        }
        let gate = Arc::clone(gate);
        tokio::spawn(async move {
            let written = tokio::task::spawn_blocking(move || gate.tokens.save()).await;
            let answer = match written {
                Ok(Err(error)) => Err(not_written(&error)),
                Ok(Ok(())) | Err(_) => match durable.await {
                    Ok(answer) => answer,
                    Err(_) => return,
                },
            };
            let _ = to.send(answer);
        });
    }

    /// Enters the pairings that were revoked while no daemon ran.
    pub(super) fn enter_revocations(&mut self) {
        let Some(gate) = self.gate.clone() else {
            return;
        };
        if self.check_room().is_err() {
            return;
        }
        let revoked = gate.tokens.to_enter();
        if revoked.is_empty() {
            return;
        }
        for tablet in revoked {
            self.enter(Revoked { tablet });
        }
        tokio::task::spawn_blocking(move || {
            if let Err(error) = gate.tokens.save() {
                tracing::warn!(%error, "revoked tablets will be entered again");
            }
        });
    }

    /// Carries out a command. Its entries have the name of a program's token; a tablet is entered after them.
    pub(super) fn command_of(
        &mut self,
        command: Command,
        from: &Commander,
    ) -> Result<Outcome, ErrorObject> {
        let before = self.appended;
        let tablet = match from {
            Commander::Machine => return self.command(command),
            Commander::Token(name) => {
                self.commanding = Some(name.clone());
                let outcome = self.command(command);
                self.commanding = None;
                return outcome;
            }
            Commander::Tablet(tablet) => tablet,
        };
        let outcome = self.command(command)?;
        if before < self.appended {
            let (first_entry, last_entry) = (before.following(), self.appended);
            self.enter(TabletSaid {
                tablet: tablet.clone(),
                first_entry,
                last_entry,
            });
        }
        Ok(outcome)
    }
}

fn done(seq: Seq) -> Outcome {
    Outcome::Done(Done {
        seq: seq.0,
        warning: None,
    })
}
