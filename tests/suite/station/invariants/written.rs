//! Random journals on disk: `verify` finds each of them intact, and tests/scripts/verifier.sh gives them to the verifier
//! that shares no code with it.

use super::acts::{act, run};
use super::shop::Shop;
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use std::fs;
use std::path::{Path, PathBuf};
use tallyjaw::entry::Stamped;
use tallyjaw::entry::line::{Digest, encode};
use tallyjaw::journal::{JOURNAL_FOLDER, SegmentNumber, verify};

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

#[test]
fn random_journals_on_disk_are_intact() {
    let _ = fs::remove_dir_all(folder());
    let mut runner = TestRunner::deterministic();
    let mut verdicts = 0;
    for number in 0..200 {
        let acts = prop::collection::vec(act(), 1..80);
        let mut shop = Shop::new();
        for act in acts.new_tree(&mut runner).unwrap().current() {
            run(&mut shop, act);
        }
        let state_dir = folder().join(format!("{number:03}"));
        write(&state_dir, &shop.entries);
        let report = verify(&state_dir, None, |_| {}).unwrap();
        assert!(
            report.is_intact(),
            "{}: {:?}",
            state_dir.display(),
            report.findings
        );
        verdicts += report.verdicts;
    }
    assert!(verdicts > 300, "{verdicts} verdicts");
}
