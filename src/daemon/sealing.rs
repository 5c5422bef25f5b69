//! Seals the journal with the bench's signing key, if there is one.
//!
//! - A seal signs a line that is durable and announced. It is made on another thread, so no verdict waits for it. It is
//!   an entry like any other, and so it is announced once it is durable too.
//! - A seal is due after each `started`, `key_begun` and `completed`, and after every [`SEAL_EVERY`] entries. If
//!   several are due, one seal of the last line covers all of them. The last seal comes after `stopped`.
//! - After a crash, or a full disk, the next seal covers the unsealed entries.

use super::hub::Hub;
use super::outage::Mode;
use crate::entry::line::Digest;
use crate::entry::seal::sealed_text;
use crate::entry::{Entry, JournalEntry, JournalId, KeyBegun, Sealed, SeriesEntry};
use crate::journal::{DurableLine, SEAL_EVERY};
use crate::message::reply::KeyTrouble;
use crate::signing::{Key, Public};
use crate::station::Input;
use std::sync::Arc;
use tokio::task::JoinHandle;

/// The key, and the seal that is being made.
#[derive(Debug, Default)]
pub(super) struct Sealing {
    key: Option<Arc<Key>>,
    /// The signature over this key by the key before.
    handover: Option<String>,
    /// The last line for which a seal is due.
    due: Option<DurableLine>,
    /// The last durable line.
    last: Option<DurableLine>,
    /// Number of the last entry after which a seal was due; 0 before the first.
    due_at: u64,
    making: Option<JoinHandle<Option<Sealed>>>,
}

impl Sealing {
    /// Waits for the seal that is being made; for ever while none is.
    pub(super) async fn made(&mut self) -> Option<Sealed> {
        let Some(making) = &mut self.making else {
            return std::future::pending().await;
        };
        let made = making.await;
        self.making = None;
        made.ok().flatten()
    }

    /// Notes durable lines.
    fn follow(&mut self, lines: &[DurableLine]) {
        for line in lines {
            let is_due = match &line.stamped.entry {
                Entry::Series(SeriesEntry::Completed(_))
                | Entry::Journal(JournalEntry::Started(_) | JournalEntry::KeyBegun(_)) => true,
                Entry::Journal(_)
                | Entry::Port(_)
                | Entry::Said(_)
                | Entry::Frame(_)
                | Entry::Series(_)
                | Entry::Production(_) => line.seq.0.saturating_sub(self.due_at) >= SEAL_EVERY,
            };
            if is_due {
                self.due = Some(line.clone());
                self.due_at = line.seq.0;
            }
        }
        if let Some(last) = lines.last() {
            self.last = Some(last.clone());
        }
    }

    fn begin(&mut self, journal: Option<&JournalId>) {
        let (Some(key), Some(journal), None) = (&self.key, journal, &self.making) else {
            return;
        };
        if let Some(line) = self.due.take() {
            let (key, journal) = (Arc::clone(key), journal.clone());
            self.making = Some(tokio::task::spawn_blocking(move || {
                seal(&key, &journal, &line)
            }));
        }
    }
}

/// The seal of a line.
fn seal(key: &Key, journal: &JournalId, line: &DurableLine) -> Option<Sealed> {
    let digest = Digest::of(&line.line);
    let text = sealed_text(journal, line.seq, digest);
    let signature = key.sign(text.as_bytes()).and_then(|made| made.to_base64());
    match signature {
        Ok(signature) => Some(Sealed {
            journal: journal.clone(),
            up_to: line.seq,
            digest: digest.to_string(),
            key: key.public().fingerprint().to_owned(),
            signature,
        }),
        Err(error) => {
            tracing::error!(%error, "the journal was not sealed");
            None
        }
    }
}

impl Hub {
    /// Reads the key of the state folder. A bench without a key works too, and reports that.
    pub(super) fn take_key(&mut self) {
        let state_dir = &self.config.daemon.state_dir;
        let mut trouble = None;
        let key = Key::open(state_dir).unwrap_or_else(|error| {
            let help = error.remedy();
            tracing::error!(help, "the journal is not sealed: {error}");
            trouble = Some(KeyTrouble {
                message: error.to_string(),
                remedy: help,
            });
            None
        });
        let known = self.core.state().key.as_ref();
        if let (None, None, Some(known)) = (&key, &trouble, known) {
            let help = "put it back, or go on with a new one: tallyjaw key make, tallyjaw reload";
            trouble = Some(KeyTrouble {
                message: format!("the signing key {} is gone", known.key),
                remedy: help.to_owned(),
            });
            tracing::warn!(
                help,
                key = known.key,
                "the signing key is gone: the journal is not sealed"
            );
        }
        let handover = key.as_ref().and_then(|key| key.handover(state_dir));
        let by_known =
            handover.filter(|made| known.is_some_and(|known| known.key == made.by().fingerprint()));
        self.sealing.handover = by_known.and_then(|made| made.to_base64().ok());
        self.sealing.key = key.map(Arc::new);
        self.live.set_key_trouble(trouble);
        self.enter_key();
    }

    /// Enters that the key is in use, if the journal does not have that entry yet.
    fn enter_key(&mut self) {
        let Some(public) = self.sealing.key.as_ref().map(|key| key.public().clone()) else {
            return;
        };
        let known = self
            .core
            .state()
            .key
            .as_ref()
            .map(|known| known.key.clone());
        if known.as_deref() == Some(public.fingerprint()) {
            return;
        }
        let begun = self.key_begun(&public, known);
        if let (Some(before), None) = (&begun.key_before, &begun.signature) {
            tracing::warn!(
                key = begun.key,
                before,
                "a new signing key begins, and the old one does not vouch for it"
            );
        }
        self.feed(Input::Journal(Entry::from(begun)));
    }

    fn key_begun(&self, public: &Public, before: Option<String>) -> KeyBegun {
        KeyBegun {
            public_key: public.line().to_owned(),
            key: public.fingerprint().to_owned(),
            signature: self.sealing.handover.clone().filter(|_| before.is_some()),
            key_before: before,
        }
    }

    /// Begins a seal if one is due.
    pub(super) fn seal(&mut self, lines: &[DurableLine]) {
        self.sealing.follow(lines);
        self.sealing.begin(self.core.state().journal.as_ref());
    }

    /// Enters a seal that was made, and begins the next one that is due.
    pub(super) fn sealed(&mut self, made: Option<Sealed>) {
        if let Some(made) = made {
            self.enter_seal(made);
        }
        self.sealing.begin(self.core.state().journal.as_ref());
    }

    /// Seals everything up to the last durable line, at the end. Returns whether a seal was entered.
    pub(super) fn seal_the_end(&mut self) -> bool {
        let journal = self.core.state().journal.clone();
        let (Some(key), Some(journal)) = (&self.sealing.key, journal) else {
            return false;
        };
        let last = self.sealing.last.as_ref();
        let made = last.and_then(|line| seal(key, &journal, line));
        made.is_some_and(|made| self.enter_seal(made))
    }

    /// If the disk is full, a later seal covers these entries.
    fn enter_seal(&mut self, made: Sealed) -> bool {
        if !matches!(self.mode, Mode::Writing) {
            return false;
        }
        self.enter_key();
        let known = self.core.state().key.as_ref().and_then(|known| known.up_to);
        let is_new = known.is_none_or(|known| made.up_to > known);
        if is_new {
            self.feed(Input::Journal(Entry::from(made)));
        }
        is_new
    }
}
