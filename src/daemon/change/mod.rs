//! A change of the configuration from the page: checked as `tallyjaw check` does, written, entered, and put in force.
//!
//! In: a [`ChangeRequest`]. Out: every fault of the configuration as it would be, or files, an entry and a reload.
//!
//! - Files are read, checked and written outside the main loop. One change is made at a time.
//! - In this order: a copy of the old file, the new file, the entry, the reload. The configuration on the disk is
//!   complete after every step. If the daemon ends between the last two, the digest in its next `started` shows which
//!   configuration is in force.

mod propose;
mod write;

use super::answers::AnswerTo;
use super::hub::Hub;
use super::reload::Fixed;
use crate::entry::{ConfigurationEdited, Entry, FileEdited};
use crate::message::reply::{Done, Outcome};
use crate::message::setup::{ChangeMessage, ChangeRequest, WrittenMessage};
use crate::message::{ErrorObject, code};
use crate::station::Input;
use std::path::PathBuf;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;

/// A change that is being made, and who requested it.
#[derive(Debug, Default)]
pub(super) struct Changing {
    making: Option<(JoinHandle<Result<Made, ErrorObject>>, AnswerTo)>,
}

/// The result of making it.
#[derive(Debug)]
pub(super) struct Changed {
    made: Result<Made, ErrorObject>,
    to: AnswerTo,
}

/// A change after its check.
#[derive(Debug)]
struct Made {
    message: ChangeMessage,
    /// The files that were written; `None` if the check found faults.
    edited: Option<ConfigurationEdited>,
}

impl Changing {
    /// The result of the change that is being made; never while none is.
    pub(super) async fn made(&mut self) -> Changed {
        let Some((making, _)) = &mut self.making else {
            return std::future::pending().await;
        };
        let made = making.await;
        match self.making.take() {
            Some((_, to)) => Changed {
                made: made.unwrap_or_else(|_| Err(stopping())),
                to,
            },
            None => std::future::pending().await,
        }
    }
}

fn stopping() -> ErrorObject {
    ErrorObject::new(code::BUSY, "the daemon is stopping", None)
}

impl Hub {
    /// Answers with the configuration for the page.
    pub(super) fn say_setup(&self, to: AnswerTo) {
        let main = self.config_path.clone();
        let catalog = std::sync::Arc::clone(&self.config.catalog);
        tokio::task::spawn_blocking(move || {
            let listed = propose::listed(&main, &catalog);
            // The client may be gone.
            drop(to.send(listed.map(|listed| Outcome::Setup(Box::new(listed)))));
        });
    }

    /// Begins to check a change, and to make it if a person has signed it.
    pub(super) fn begin_change(
        &mut self,
        change: ChangeRequest,
        to: AnswerTo,
    ) -> Result<(), (ErrorObject, AnswerTo)> {
        let main = self.config_path.clone();
        let fixed = Fixed::of(&self.config);
        if change.who.is_none() {
            tokio::task::spawn_blocking(move || {
                let checked = propose::check(&main, &change, &fixed);
                let outcome = checked.map(|checked| Outcome::Change(Box::new(checked.message)));
                // The client may be gone.
                drop(to.send(outcome));
            });
            return Ok(());
        }
        if self.changing.making.is_some() {
            let error = ErrorObject::new(
                code::BUSY,
                "another change is being written",
                Some("repeat it in a moment".to_owned()),
            );
            return Err((error, to));
        }
        // A change that cannot be entered in the journal is not written.
        if let Err(error) = self.check_room() {
            return Err((error, to));
        }
        let at = self.now().wall;
        let making = tokio::task::spawn_blocking(move || {
            let checked = propose::check(&main, &change, &fixed)?;
            if !checked.message.ok {
                return Ok(Made {
                    message: checked.message,
                    edited: None,
                });
            }
            let files = write::write(&main, &checked.files, at)?;
            Ok(Made {
                edited: Some(entry(&change, checked.name, files)),
                message: checked.message,
            })
        });
        self.changing.making = Some((making, to));
        Ok(())
    }

    /// Enters a change that was written, and reloads the configuration.
    pub(super) fn changed(&mut self, changed: Changed) {
        let Changed { made, to } = changed;
        let (message, edited) = match made {
            Ok(Made {
                message,
                edited: Some(edited),
            }) => (message, edited),
            Ok(Made { message, .. }) => {
                // The client may be gone, here and below.
                drop(to.send(Ok(Outcome::Change(Box::new(message)))));
                return;
            }
            Err(error) => {
                tracing::warn!("the configuration was not changed: {}", error.message);
                drop(to.send(Err(error)));
                return;
            }
        };
        tracing::info!(
            who = edited.who,
            "the configuration was changed on the page"
        );
        let copies = edited.files.iter();
        let copies = copies.filter_map(|file| file.copy.clone()).collect();
        self.feed(Input::Journal(Entry::from(edited)));
        let (entered, is_entered) = oneshot::channel();
        let seq = self.appended;
        self.waiting.add(
            seq,
            Outcome::Done(Done {
                seq: seq.0,
                warning: None,
            }),
            entered,
        );
        let (loaded, is_loaded) = oneshot::channel();
        self.begin_reload(vec![loaded]);
        tokio::spawn(async move {
            let entered = is_entered.await.unwrap_or_else(|_| Err(stopping()));
            let loaded = is_loaded.await.unwrap_or_else(|_| Err(stopping()));
            let outcome = entered.map(|_| {
                let written = Some(WrittenMessage {
                    seq: seq.0,
                    copies,
                    not_in_force: loaded.err(),
                });
                Outcome::Change(Box::new(ChangeMessage { written, ..message }))
            });
            drop(to.send(outcome));
        });
    }
}

fn entry(change: &ChangeRequest, name: String, files: Vec<FileEdited>) -> ConfigurationEdited {
    ConfigurationEdited {
        who: change.who.clone().unwrap_or_default(),
        change: change.verb.name().to_owned(),
        list: change.list.name().to_owned(),
        name,
        files,
    }
}

/// A file as it was read, and as it will be.
#[derive(Debug)]
struct NewText {
    path: PathBuf,
    /// Its path for people, relative to the folder of the main file.
    shown: String,
    /// `None` if there is no file yet.
    old: Option<Text>,
    new: Text,
}

/// A text with its bytes. A list of jobs keeps the encoding in which a spreadsheet saved it.
#[derive(Debug)]
struct Text {
    words: String,
    bytes: Vec<u8>,
}

impl From<String> for Text {
    /// The text in UTF-8.
    fn from(words: String) -> Self {
        let bytes = words.clone().into_bytes();
        Self { words, bytes }
    }
}
