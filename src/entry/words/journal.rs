//! Entries about the journal itself, in words.

use crate::entry::{ConfigurationEdited, Gap, JournalEntry, KeyBegun};

pub(super) fn of_journal(entry: &JournalEntry) -> String {
    match entry {
        JournalEntry::Begun(begun) => format!("journal {} begun", begun.journal),
        JournalEntry::Segment(_) => "a new journal segment".to_owned(),
        JournalEntry::Started(started) => format!("tallyjaw {} started", started.version),
        JournalEntry::Stopped(stopped) => format!("stopped: {}", stopped.reason),
        JournalEntry::ClockStepped(stepped) => {
            format!("the clock was set by {} ms", stepped.by_micros / 1_000)
        }
        JournalEntry::Gap(gap) => self::gap(gap, &gap.since.to_string()),
        JournalEntry::DamageAccepted(accepted) => format!(
            "damage from #{} on was accepted: {}",
            accepted.seq, accepted.reason
        ),
        JournalEntry::RolledBack(back) => format!("the journal was rolled back: {}", back.reason),
        JournalEntry::Paired(paired) => format!("tablet {} was paired", paired.tablet),
        JournalEntry::Revoked(revoked) => {
            format!("the pairing of tablet {} was revoked", revoked.tablet)
        }
        JournalEntry::TabletSaid(said) => {
            let (first, last) = (said.first_entry, said.last_entry);
            let which = if first == last {
                format!("#{first}")
            } else {
                format!("#{first} to #{last}")
            };
            format!("{which} came from tablet {}", said.tablet)
        }
        JournalEntry::ConfigurationEdited(edited) => configuration_edited(edited),
        JournalEntry::KeyBegun(begun) => key_begun(begun),
        JournalEntry::Sealed(sealed) => {
            format!("sealed up to #{} with key {}", sealed.up_to, sealed.key)
        }
    }
}

fn configuration_edited(edited: &ConfigurationEdited) -> String {
    let did = match edited.change.as_str() {
        "add" => "added",
        "remove" => "removed",
        _ => "changed",
    };
    let files: Vec<&str> = edited.files.iter().map(|file| file.file.as_str()).collect();
    format!(
        "{} {did} the {} {} on the page: {}",
        edited.who,
        edited.list,
        edited.name,
        files.join(", ")
    )
}

fn key_begun(begun: &KeyBegun) -> String {
    let key = &begun.key;
    match (&begun.key_before, &begun.signature) {
        (None, _) => format!("seals are made with key {key} from here on"),
        (Some(before), Some(_)) => {
            format!("seals are made with key {key} from here on; key {before} vouches for it")
        }
        (Some(before), None) => format!(
            "seals are made with key {key} from here on; key {before} before it is lost and does not vouch for it"
        ),
    }
}

pub(super) fn gap(gap: &Gap, since: &str) -> String {
    format!(
        "nothing was recorded since {since}; {} frames were not judged: {}",
        gap.frames, gap.reason
    )
}
