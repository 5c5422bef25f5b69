//! Checks the seals of a journal during a pass through it: each must sign the line that is there.
//!
//! In: every entry with the digest of its line, and the trusted keys. Out: a [`Wrong`] for each seal or key that is not
//! valid, and [`Seals`], which says what is sealed and by which keys.
//!
//! - Without trusted keys, a seal shows only that one key made all of them: a journal that somebody rewrote with
//!   another key looks the same. So the fingerprints are reported, to be compared with a kept one.
//! - No seal protects the entries after the last one. The daemon seals within moments, so a large unsealed part is a
//!   fault.

use crate::entry::line::Digest;
use crate::entry::seal::key_text;
use crate::entry::{Entry, JournalEntry, KeyBegun, Sealed, Seq, SeriesEntry, Stamped};
use crate::quantity::{WallMicros, named};
use crate::signing::{Public, Signature, Trusted};
use std::collections::VecDeque;

/// The daemon seals after this number of entries at the latest.
pub const SEAL_EVERY: u64 = 1_000;

/// A larger number of entries without a seal is a fault. More than [`SEAL_EVERY`] come while one is made.
const UNSEALED_MOST: u64 = 2 * SEAL_EVERY;

/// An outcome may be without a seal for this long before that is a fault.
const UNSEALED_MICROS: i64 = 60_000_000;

/// Maximum number of kept digests of lines that a later seal may name.
const DIGESTS_MOST: usize = 100_000;

/// The result of checking the seals of a journal.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Seals {
    /// The keys, in the order in which they began.
    pub keys: Vec<SealingKey>,
    /// Number of seals.
    pub seals: u64,
    /// The last entry that a seal covers; `None` without a seal.
    pub up_to: Option<Seq>,
    /// Number of entries after it, without seals.
    pub unsealed: u64,
    /// Number of outcomes among them.
    pub unsealed_outcomes: u64,
}

/// A key of a journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SealingKey {
    /// Its fingerprint.
    pub key: String,
    /// The entry from which it is in use; `None` if that entry is missing.
    pub begun: Option<Seq>,
    /// The key before it, if that one has signed it.
    pub handed_over_by: Option<String>,
    /// Whether the key before it is trusted.
    pub is_vouched_for: bool,
    /// Number of its valid seals.
    pub seals: u64,
    /// Whether it is trusted; `None` if no trusted key was given.
    pub trust: Option<Trust>,
}

impl Seals {
    /// The trusted keys that vouch for a key which only the journal names: the one that has signed it, the one that has
    /// signed that, up to one that somebody named as trusted. `None` if this sequence is incomplete.
    pub fn vouchers(&self, fingerprint: &str) -> Option<Vec<&str>> {
        let mut vouchers = Vec::new();
        let mut keys = self.keys.iter().rev().filter(|key| key.is_vouched_for);
        let mut next = fingerprint;
        while let Some(by) = keys
            .find(|key| key.key == next)
            .and_then(|key| key.handed_over_by.as_deref())
        {
            vouchers.push(by);
            next = by;
        }
        (!vouchers.is_empty()).then_some(vouchers)
    }
}

named! {
    /// Whether a key of a journal is trusted.
    pub enum Trust {
        /// It is one of the trusted keys, or a trusted key has signed it.
        Trusted = "trusted",
        /// It is not, but a seal by a trusted key covers everything that it sealed first.
        Covered = "covered",
        /// Nobody vouches for it.
        Foreign = "foreign",
    }
}

/// A seal or key that is not valid.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Wrong {
    pub(super) what: &'static str,
    pub(super) got: String,
    pub(super) want: String,
}

impl Wrong {
    fn new(what: &'static str, got: impl Into<String>, want: impl Into<String>) -> Self {
        let (got, want) = (got.into(), want.into());
        Self { what, got, want }
    }
}

/// The check of the seals, up to the current line.
#[derive(Debug, Default)]
pub(super) struct SealCheck {
    pub(super) found: Seals,
    trusted: Option<Trusted>,
    /// Whether a key is in use.
    is_keyed: bool,
    /// Digests of the lines after the last sealed one, while a key is in use.
    digests: VecDeque<(Seq, Digest)>,
    /// The last entry that a seal by a trusted key covers.
    trusted_up_to: Option<Seq>,
    /// The seals after the last sealed entry.
    seals_since: VecDeque<Seq>,
    /// Outcomes and stops that no seal covers yet, with their times.
    waiting: VecDeque<(Seq, WallMicros, bool)>,
    last: Option<(Seq, WallMicros)>,
}

impl SealCheck {
    pub(super) fn new(trusted: Option<Trusted>) -> Self {
        Self {
            trusted,
            ..Self::default()
        }
    }

    /// Takes the next entry, with the digest of its line.
    pub(super) fn follow(&mut self, stamped: &Stamped, digest: Digest) -> Vec<Wrong> {
        let Stamped { seq, at, entry, .. } = stamped;
        if let Entry::Journal(JournalEntry::Segment(segment)) = entry {
            self.is_keyed |= segment.state.key.is_some(); // its `key_begun` entry may be in a segment that was removed
        }
        let wrong = match entry {
            Entry::Journal(JournalEntry::KeyBegun(begun)) => self.begun(*seq, begun),
            Entry::Journal(JournalEntry::Sealed(sealed)) => self.sealed(sealed),
            Entry::Journal(_)
            | Entry::Port(_)
            | Entry::Said(_)
            | Entry::Frame(_)
            | Entry::Series(_)
            | Entry::Production(_) => Vec::new(),
        };
        let is_outcome = matches!(entry, Entry::Series(SeriesEntry::Completed(_)));
        let is_stop = matches!(entry, Entry::Journal(JournalEntry::Stopped(_)));
        self.is_keyed |= !self.found.keys.is_empty();
        if self.is_keyed {
            if is_outcome || is_stop {
                self.waiting.push_back((*seq, *at, is_outcome));
            }
            if matches!(entry, Entry::Journal(JournalEntry::Sealed(_))) {
                self.seals_since.push_back(*seq);
            }
            self.digests.push_back((*seq, digest));
            if self.digests.len() > DIGESTS_MOST {
                self.digests.pop_front();
            }
        }
        self.last = Some((*seq, *at));
        wrong
    }

    /// The faults that are found at the end of the journal, each with the entry that it is about.
    pub(super) fn end(&mut self) -> Vec<(Option<Seq>, Wrong)> {
        let Some((last, at)) = self.last else {
            return Vec::new();
        };
        let begun = self.found.keys.first().and_then(|key| key.begun);
        let from = self.found.up_to.max(begun).unwrap_or(Seq(0));
        let seals = u64::try_from(self.seals_since.len()).unwrap_or(u64::MAX);
        self.found.unsealed = last.0.saturating_sub(from.0).saturating_sub(seals);
        let outcomes = self.waiting.iter().filter(|(_, _, is_outcome)| *is_outcome);
        self.found.unsealed_outcomes = u64::try_from(outcomes.count()).unwrap_or(u64::MAX);
        let mut wrong = self.untrusted();
        let is_old =
            |(_, due, _): &(Seq, WallMicros, bool)| at.0.saturating_sub(due.0) > UNSEALED_MICROS;
        let is_missing =
            self.waiting.front().is_some_and(is_old) || self.found.unsealed > UNSEALED_MOST;
        if self.is_keyed && is_missing {
            let missing = Wrong::new(
                "a seal is missing: the daemon ran without its key, or the end was written by somebody without it",
                format!("entries {} to {last} without a seal", from.following()),
                format!("a seal soon after each outcome, and every {SEAL_EVERY} entries"),
            );
            wrong.push((None, missing));
        }
        wrong
    }

    /// The faults of keys that nobody vouches for, and that no trusted seal covers.
    fn untrusted(&mut self) -> Vec<(Option<Seq>, Wrong)> {
        let Some(trusted) = &self.trusted else {
            return Vec::new();
        };
        let Some(up_to) = self.trusted_up_to else {
            let what = "no seal is by a trusted key: the journal was never sealed with it, or was rewritten without it";
            let wrong = Wrong::new(what, "none", trusted.fingerprints().join(", "));
            return vec![(None, wrong)];
        };
        let mut wrong = Vec::new();
        let foreign = |key: &&mut SealingKey| key.trust == Some(Trust::Foreign);
        for key in self.found.keys.iter_mut().filter(foreign) {
            if key.begun.is_some_and(|begun| begun <= up_to) {
                key.trust = Some(Trust::Covered);
                continue;
            }
            let what = "a foreign key: no trusted key vouches for it";
            let want = trusted.fingerprints().join(", ");
            wrong.push((key.begun, Wrong::new(what, &key.key, want)));
        }
        wrong
    }

    fn begun(&mut self, seq: Seq, begun: &KeyBegun) -> Vec<Wrong> {
        let mut wrong = Vec::new();
        let public = Public::from_line(&begun.public_key);
        let Some(public) = public.filter(|public| public.fingerprint() == begun.key) else {
            let want = "the fingerprint of the public key in the same entry";
            wrong.push(Wrong::new("a signing key is none", &begun.key, want));
            return wrong;
        };
        let (mut handed_over_by, mut is_vouched_for) = (None, false);
        if let Some(signature) = &begun.signature {
            let signed = key_text(&begun.public_key);
            let by = Signature::from_base64(signature).and_then(|signature| {
                signature.check(signed.as_bytes())?;
                Ok(signature.by().clone())
            });
            let want = begun.key_before.as_deref().unwrap_or("a key before it");
            match by {
                Ok(by) if Some(by.fingerprint()) == begun.key_before.as_deref() => {
                    is_vouched_for = self.trust(&by) == Some(Trust::Trusted);
                    handed_over_by = Some(by.fingerprint().to_owned());
                }
                Ok(by) => wrong.push(Wrong::new(
                    "another key vouches for a signing key",
                    by.fingerprint(),
                    want,
                )),
                Err(error) => wrong.push(Wrong::new(
                    "what the key before has signed is not this key",
                    error.to_string(),
                    format!("a signature by {want}"),
                )),
            }
        }
        if let Some(trusted) = &mut self.trusted
            && is_vouched_for
        {
            trusted.add(public.clone());
        }
        self.found.keys.push(SealingKey {
            key: begun.key.clone(),
            begun: Some(seq),
            handed_over_by,
            is_vouched_for,
            seals: 0,
            trust: self.trust(&public),
        });
        wrong
    }

    fn trust(&self, key: &Public) -> Option<Trust> {
        self.trusted.as_ref().map(|trusted| {
            if trusted.has(key) {
                Trust::Trusted
            } else {
                Trust::Foreign
            }
        })
    }

    fn sealed(&mut self, sealed: &Sealed) -> Vec<Wrong> {
        let mut wrong = Vec::new();
        let up_to = sealed.up_to;
        while self.digests.front().is_some_and(|(seq, _)| *seq < up_to) {
            self.digests.pop_front();
        }
        // The digests of lines before damage, or before the first key, are not known here.
        if let Some((seq, digest)) = self.digests.front()
            && *seq == up_to
            && digest.to_string() != sealed.digest
        {
            let what = "a seal is of another line: the line was changed after it was sealed";
            wrong.push(Wrong::new(what, digest.to_string(), &sealed.digest));
        }
        let signature = Signature::from_base64(&sealed.signature).and_then(|signature| {
            signature.check(sealed.text().unwrap_or_default().as_bytes())?;
            Ok(signature)
        });
        match signature {
            Err(error) => {
                let want = format!("a signature by {}", sealed.key);
                wrong.push(Wrong::new("a seal is broken", error.to_string(), want));
            }
            Ok(signature) if signature.by().fingerprint() != sealed.key => {
                let by = signature.by().fingerprint();
                wrong.push(Wrong::new("a seal is by another key", by, &sealed.key));
            }
            Ok(signature) if wrong.is_empty() => self.holds(signature.by(), up_to),
            Ok(_) => {}
        }
        wrong
    }

    /// Counts a valid seal. A key whose `key_begun` entry is missing is known from its first seal.
    fn holds(&mut self, by: &Public, up_to: Seq) {
        while self.waiting.front().is_some_and(|(seq, ..)| *seq <= up_to) {
            self.waiting.pop_front();
        }
        while self.seals_since.front().is_some_and(|seq| *seq <= up_to) {
            self.seals_since.pop_front();
        }
        self.found.seals += 1;
        self.found.up_to = Some(up_to);
        let trust = self.trust(by);
        if trust == Some(Trust::Trusted) {
            self.trusted_up_to = Some(up_to);
        }
        let mut keys = self.found.keys.iter_mut().rev();
        if let Some(known) = keys.find(|known| known.key == by.fingerprint()) {
            known.seals += 1;
            return;
        }
        self.found.keys.push(SealingKey {
            key: by.fingerprint().to_owned(),
            begun: None,
            handed_over_by: None,
            is_vouched_for: false,
            seals: 1,
            trust,
        });
    }
}
