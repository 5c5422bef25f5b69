//! Entries about the journal itself: the state at the head of a segment, the signing key and its seals.
//!
//! Whether a seal's signature is valid, and whether its digest is that of the line, can only be checked with the lines,
//! which `verify` has.

use super::{Findings, shown};
use crate::entry::state::SeriesState;
use crate::entry::{JournalEntry, KeyBegun, Sealed, State};

impl Findings {
    pub(super) fn about_journal(&mut self, before: &State, entry: &JournalEntry) {
        match entry {
            JournalEntry::Segment(segment) => {
                let journal = Some(&segment.journal);
                self.compare("journal", &journal, &before.journal.as_ref(), shown);
                self.compare_states(&segment.state, before);
            }
            JournalEntry::KeyBegun(begun) => self.key_begun(before, begun),
            JournalEntry::Sealed(sealed) => self.sealed(before, sealed),
            // what comes from outside follows from nothing
            JournalEntry::Begun(_)
            | JournalEntry::Started(_)
            | JournalEntry::Stopped(_)
            | JournalEntry::ClockStepped(_)
            | JournalEntry::Gap(_)
            | JournalEntry::DamageAccepted(_)
            | JournalEntry::RolledBack(_)
            | JournalEntry::Paired(_)
            | JournalEntry::Revoked(_)
            | JournalEntry::TabletSaid(_)
            | JournalEntry::ConfigurationEdited(_) => {}
        }
    }

    fn key_begun(&mut self, before: &State, begun: &KeyBegun) {
        let known = before.key.as_ref().map(|known| known.key.as_str());
        let got = begun.key_before.as_deref();
        self.compare("key before", &got, &known, shown);
    }

    /// A seal names this journal and the key in use, and covers more than the seal before.
    fn sealed(&mut self, before: &State, sealed: &Sealed) {
        let (got, known) = (Some(&sealed.journal), before.journal.as_ref());
        self.compare("journal of the seal", &got, &known, shown);
        let key = before.key.as_ref();
        let known = key.map(|known| known.key.as_str());
        let got = Some(sealed.key.as_str());
        self.compare("key of the seal", &got, &known, shown);
        let sealed_before = key.and_then(|known| known.up_to);
        let is_new = sealed_before.is_none_or(|before| sealed.up_to > before);
        let is_there = before.last.is_some_and(|last| sealed.up_to <= last);
        if !is_new || !is_there {
            let want = match (sealed_before, before.last) {
                (Some(sealed), Some(last)) => format!("more than {sealed}, at most {last}"),
                (_, last) => format!("at most {}", shown(&last)),
            };
            self.add("last entry of the seal", sealed.up_to.to_string(), want);
        }
    }

    fn compare_states(&mut self, got: &State, want: &State) {
        let want = &as_kept_in(got, want);
        if got == want {
            return;
        }
        let stations = names_of_different(&got.stations, &want.stations);
        let instruments = names_of_different(&got.instruments, &want.instruments);
        let different: Vec<&str> = stations.chain(instruments).collect();
        let last = |state: &State| format!("state after entry {}", shown(&state.last));
        let got = if different.is_empty() {
            last(got)
        } else {
            format!("{} that differs at {}", last(got), different.join(", "))
        };
        self.add("state", got, last(want));
    }
}

/// `want` without the fields that an older release did not store in a segment, where `got` lacks them.
fn as_kept_in(got: &State, want: &State) -> State {
    let mut want = want.clone();
    if got.qualifying.0.is_empty() {
        want.qualifying.0.clear();
    }
    for (name, station) in &mut want.stations {
        let Some(got) = got.stations.get(name) else {
            continue;
        };
        station.closed_at = station.closed_at.filter(|_| got.closed_at.is_some());
        if let (Some(series), Some(got)) = (&mut station.stopped, &got.stopped) {
            keep_doubted_as(&got.series, &mut series.series);
        }
        let Some((series, got)) = station.series.as_mut().zip(got.series.as_ref()) else {
            continue;
        };
        keep_doubted_as(got, series);
        for (name, zero) in &mut series.zeros {
            let is_kept = got.zeros.get(name).is_some_and(|got| got.off_by.is_some());
            zero.off_by = zero.off_by.filter(|_| is_kept);
        }
    }
    want
}

fn keep_doubted_as(got: &SeriesState, want: &mut SeriesState) {
    if got.doubted.is_empty() {
        want.doubted.clear();
    }
}

fn names_of_different<'a, T: PartialEq>(
    got: &'a std::collections::BTreeMap<String, T>,
    want: &'a std::collections::BTreeMap<String, T>,
) -> impl Iterator<Item = &'a str> {
    let differs = |name: &&String| got.get(*name) != want.get(*name);
    let missing = want.keys().filter(|name| !got.contains_key(*name));
    got.keys()
        .filter(differs)
        .chain(missing)
        .map(String::as_str)
}
