//! Random journals on disk: `verify` finds each of them intact, and tests/scripts/verifier.sh gives them to the verifier
//! that shares no code with it.

use super::acts::{act, run};
use super::shop::Shop;
use crate::harness::every;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use std::fs;
use std::path::{Path, PathBuf};
use tallyjaw::entry::line::{Digest, encode};
use tallyjaw::entry::seal::sealed_text;
use tallyjaw::entry::{Entry, KeyBegun, Sealed, SeriesEntry, Stamped};
use tallyjaw::journal::{JOURNAL_FOLDER, Kept, SegmentNumber, verify};
use tallyjaw::signing::{Key, Trusted};
use tallyjaw::station::Input;

/// Where they are left: a state folder each.
fn folder() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("journals")
}

/// Writes the entries as the segments of a state folder, without syncing.
fn write(state_dir: &Path, entries: &[Stamped]) {
    let journal = state_dir.join(JOURNAL_FOLDER);
    fs::create_dir_all(&journal).unwrap();
    let (mut segments, mut prev) = (Vec::new(), Digest::NONE);
    for stamped in entries {
        let line = encode(stamped, prev);
        prev = Digest::of(&line);
        if stamped.entry.opens().is_some() {
            segments.push(Vec::new());
        }
        let segment: &mut Vec<u8> = segments.last_mut().unwrap();
        segment.extend(line);
        segment.push(b'\n');
    }
    for (number, lines) in (1..).zip(segments) {
        fs::write(journal.join(SegmentNumber(number).file_name()), lines).unwrap();
    }
}

/// Makes the key of the state folder, and enters that it begins.
fn with_key(shop: &mut Shop, state_dir: &Path) -> Key {
    fs::create_dir_all(state_dir).unwrap();
    let key = Key::make(state_dir).unwrap();
    begin(shop, &key);
    key
}

fn begin(shop: &mut Shop, key: &Key) {
    shop.input(Input::Journal(Entry::from(KeyBegun {
        public_key: key.public().line().to_owned(),
        key: key.public().fingerprint().to_owned(),
        key_before: None,
        signature: None,
    })));
}

/// Seals the last line, as the daemon does after an outcome.
fn seal(shop: &mut Shop, key: &Key) {
    if shop.core.state().key.is_none() {
        begin(shop, key); // a kill took it away
    }
    let (journal, up_to) = (
        shop.core.state().journal.clone().unwrap(),
        shop.entries.last().unwrap().seq,
    );
    let text = sealed_text(&journal, up_to, shop.digest);
    let signature = key.sign(text.as_bytes()).unwrap();
    shop.input(Input::Journal(Entry::from(Sealed {
        journal,
        up_to,
        digest: shop.digest.to_string(),
        key: key.public().fingerprint().to_owned(),
        signature: signature.to_base64().unwrap(),
    })));
}

#[test]
fn random_journals_on_disk_are_intact_sealed_or_not() {
    let _ = fs::remove_dir_all(folder());
    let mut runner = TestRunner::deterministic();
    let (mut verdicts, mut seals) = (0, 0);
    for number in (0..1000).step_by(every(3)) {
        let acts = prop::collection::vec(act(), 1..80);
        let state_dir = folder().join(format!("{number:03}"));
        let mut shop = Shop::new();
        let key = (number % 2 == 0).then(|| with_key(&mut shop, &state_dir));
        let mut sealed = 0;
        for act in acts.new_tree(&mut runner).unwrap().current() {
            run(&mut shop, act);
            let since = shop.entries.get(sealed..).unwrap_or_default();
            let is_outcome = |stamped: &Stamped| {
                matches!(stamped.entry, Entry::Series(SeriesEntry::Completed(_)))
            };
            if let Some(key) = key.as_ref().filter(|_| since.iter().any(is_outcome)) {
                seal(&mut shop, key);
                sealed = shop.entries.len();
            }
        }
        if let Some(key) = &key {
            seal(&mut shop, key);
        }
        write(&state_dir, &shop.entries);
        let kept = Kept {
            digest: None,
            keys: key.map(|key| Trusted::from_text(&key.public().allowed()).unwrap()),
        };
        let report = verify(&state_dir, kept, |_| {}).unwrap();
        assert!(
            report.is_intact(),
            "{}: {:?}",
            state_dir.display(),
            report.findings
        );
        verdicts += report.verdicts;
        seals += report.seals.seals;
    }
    let part = u64::try_from(every(3)).unwrap();
    assert!(
        verdicts > 300 / part && seals > 100 / part,
        "{verdicts} verdicts, {seals} seals"
    );
}
