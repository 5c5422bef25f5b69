//! Sealed journals: a stored sample, and what `verify` says of such that somebody has written anew.

use super::bench::{lines_on_disk, reopen, segment, verified, write};
use crate::station::desk::{Desk, HEIGHT, catalog, plan};
use std::fs;
use std::path::Path;
use std::time::Duration;
use tallyjaw::entry::line::{Digest, decode, encode};
use tallyjaw::entry::seal::sealed_text;
use tallyjaw::entry::{Entry, FrameEntry, JournalEntry, KeyBegun, Sealed, Seq, Stamped};
use tallyjaw::journal::{Kept, Report, Trust, verify};
use tallyjaw::signing::{Key, Trusted};
use tallyjaw::spec::{AxisName, Plan, Verdict, ZeroPolicy};
use tallyjaw::station::Input;

/// The entry by which a key begins; of a replaced one with the key before, and the folder of both.
fn begun(key: &Key, before: Option<(&Key, &Path)>) -> Entry {
    let handover = before.and_then(|(_, folder)| key.handover(folder));
    Entry::from(KeyBegun {
        public_key: key.public().line().to_owned(),
        key: key.public().fingerprint().to_owned(),
        key_before: before.map(|(before, _)| before.public().fingerprint().to_owned()),
        signature: handover.map(|signature| signature.to_base64().unwrap()),
    })
}

/// A bench that goes on with its journal, and seals it.
struct Bench<'a> {
    state_dir: &'a Path,
    desk: Desk,
    /// The number of entries that are on disk.
    written: usize,
}

impl<'a> Bench<'a> {
    fn new(state_dir: &'a Path) -> Self {
        let desk = Desk::going_on_with(catalog(), reopen(state_dir).state.clone());
        Self {
            state_dir,
            desk,
            written: 0,
        }
    }

    fn enter(&mut self, entry: Entry) {
        self.desk.input(Input::Journal(entry));
    }

    /// A series of one height, which fails.
    fn measure(&mut self) {
        let one = Plan {
            axes: vec![AxisName::new(HEIGHT)],
            pieces: 1,
            zero: ZeroPolicy::default(),
            ..plan()
        };
        self.desk.arm(one).unwrap();
        for value in ["0.00", "1.72", "0.00"] {
            self.desk.press(value);
        }
        self.write();
    }

    fn write(&mut self) {
        let entries = self.desk.entries.get(self.written..).unwrap();
        write(reopen(self.state_dir), entries);
        self.written = self.desk.entries.len();
    }

    /// Seals what is on disk.
    fn seal(&mut self, key: &Key) {
        let lines = lines_on_disk(self.state_dir);
        let line = lines.last().unwrap();
        let (up_to, digest) = (decode(line).unwrap().0.seq, Digest::of(line));
        let journal = self.desk.core.state().journal.clone().unwrap();
        let text = sealed_text(&journal, up_to, digest);
        self.enter(Entry::from(Sealed {
            journal,
            up_to,
            digest: digest.to_string(),
            key: key.public().fingerprint().to_owned(),
            signature: key.sign(text.as_bytes()).unwrap().to_base64().unwrap(),
        }));
        self.write();
    }
}

/// A journal with two keys, the first of which has signed the second, and two seals. The state of its last segment knows
/// the key.
pub(super) fn sealed(state_dir: &Path) {
    with_keys(state_dir);
}

/// The same, with its keys.
fn with_keys(state_dir: &Path) -> [Key; 2] {
    let folder = tempfile::tempdir().unwrap();
    let first = Key::make(folder.path()).unwrap();
    let mut bench = Bench::new(state_dir);
    bench.enter(begun(&first, None));
    bench.measure();
    bench.seal(&first);
    let (_, second) = Key::rotate(folder.path()).unwrap();
    bench.enter(begun(&second, Some((&first, folder.path()))));
    bench.measure();
    bench.desk.input(Input::SegmentFull);
    bench.write();
    bench.seal(&second);
    [first, second]
}

/// A journal of one segment, with one key and a seal at its end.
fn one_key(state_dir: &Path) -> (Bench<'_>, Key) {
    let folder = tempfile::tempdir().unwrap();
    let key = Key::make(folder.path()).unwrap();
    let mut bench = Bench::new(state_dir);
    bench.enter(begun(&key, None));
    bench.measure();
    bench.seal(&key);
    (bench, key)
}

fn trusting(state_dir: &Path, keys: &[&Key]) -> Report {
    let lines: String = keys.iter().map(|key| key.public().allowed()).collect();
    let kept = Kept {
        digest: None,
        keys: Some(Trusted::from_text(&lines).unwrap()),
    };
    verify(state_dir, kept, |_| {}).unwrap()
}

fn says(report: &Report, wanted: &str) {
    let found = &report.findings;
    assert!(
        found.iter().any(|one| one.what.contains(wanted)),
        "no {wanted:?} in {found:#?}"
    );
}

/// Writes the only segment anew, with a chain that fits.
fn rewrite(state_dir: &Path, change: impl FnOnce(&mut Vec<Stamped>)) {
    let mut entries: Vec<Stamped> = lines_on_disk(state_dir)
        .iter()
        .map(|line| decode(line).unwrap().0)
        .collect();
    change(&mut entries);
    let (mut text, mut prev) = (Vec::new(), Digest::NONE);
    for stamped in &entries {
        let line = encode(stamped, prev);
        prev = Digest::of(&line);
        text.extend(line);
        text.push(b'\n');
    }
    fs::write(segment(state_dir, 1), text).unwrap();
}

/// The failed reading passes, also in tally and outcome.
fn whitewash(entries: &mut [Stamped]) {
    for stamped in entries {
        match &mut stamped.entry {
            Entry::Frame(FrameEntry::Reading(reading)) => {
                let mut better = (**reading).clone();
                better.slot.as_mut().unwrap().verdict = Some(Verdict::Pass);
                *reading = better.into();
            }
            Entry::Series(tallyjaw::entry::SeriesEntry::Completed(completed)) => {
                completed.outcome = tallyjaw::entry::Outcome::Accepted;
                completed.tally.passed = 1;
                completed.tally.failed = 0;
            }
            _ => {}
        }
    }
}

fn is_about_keys(stamped: &Stamped) -> bool {
    let Entry::Journal(entry) = &stamped.entry else {
        return false;
    };
    matches!(entry, JournalEntry::KeyBegun(_) | JournalEntry::Sealed(_))
}

#[test]
fn a_sealed_journal_is_intact_for_whoever_trusts_its_first_or_its_last_key() {
    let folder = tempfile::tempdir().unwrap();
    let [first, second] = with_keys(folder.path());
    let report = verified(folder.path());
    assert!(report.is_intact(), "{:#?}", report.findings);
    assert_eq!(report.seals.seals, 2);
    let keys: Vec<_> = report
        .seals
        .keys
        .iter()
        .map(|key| key.key.as_str())
        .collect();
    assert_eq!(
        keys,
        [first.public().fingerprint(), second.public().fingerprint()]
    );
    assert!(report.seals.keys.iter().all(|key| key.trust.is_none()));

    for (trusted, trust) in [
        (&first, [Trust::Trusted, Trust::Trusted]), // it has signed the second
        (&second, [Trust::Covered, Trust::Trusted]), // which has sealed all that the first one did
    ] {
        let report = trusting(folder.path(), &[trusted]);
        assert!(report.is_intact(), "{:#?}", report.findings);
        let found: Vec<_> = report
            .seals
            .keys
            .iter()
            .map(|key| key.trust.unwrap())
            .collect();
        assert_eq!(found, trust);
    }
}

#[test]
fn a_line_written_anew_under_its_old_seal_is_found_without_any_key() {
    let folder = tempfile::tempdir().unwrap();
    one_key(folder.path());
    rewrite(folder.path(), |entries| whitewash(entries));
    says(&verified(folder.path()), "a seal is of another line");
}

#[test]
fn a_seal_that_was_made_to_fit_without_the_key_is_broken() {
    let folder = tempfile::tempdir().unwrap();
    one_key(folder.path());
    rewrite(folder.path(), |entries| {
        whitewash(entries);
        let (mut prev, mut digests) = (Digest::NONE, Vec::new());
        for stamped in entries.iter() {
            prev = Digest::of(&encode(stamped, prev));
            digests.push(prev);
        }
        for stamped in entries {
            if let Entry::Journal(JournalEntry::Sealed(sealed)) = &mut stamped.entry {
                let at = usize::try_from(sealed.up_to.0).unwrap() - 1;
                sealed.digest = digests[at].to_string();
            }
        }
    });
    says(&verified(folder.path()), "a seal is broken");
}

#[test]
fn a_journal_written_anew_as_a_whole_is_found_by_the_key_that_was_kept() {
    let folder = tempfile::tempdir().unwrap();
    let (_, key) = one_key(folder.path());
    let other = tempfile::tempdir().unwrap();
    one_key(other.path());
    fs::copy(segment(other.path(), 1), segment(folder.path(), 1)).unwrap();
    assert!(verified(folder.path()).is_intact(), "in itself it is sound");
    says(
        &trusting(folder.path(), &[&key]),
        "no seal is by a trusted key",
    );

    rewrite(folder.path(), |entries| {
        entries.retain(|stamped| !is_about_keys(stamped));
        for (seq, stamped) in (1..).zip(entries) {
            stamped.seq = Seq(seq);
        }
    });
    says(
        &trusting(folder.path(), &[&key]),
        "no seal is by a trusted key",
    );
}

#[test]
fn an_end_that_was_written_anew_without_the_key_lacks_its_seal() {
    let folder = tempfile::tempdir().unwrap();
    let (mut bench, key) = one_key(folder.path());
    bench.measure();
    bench.desk.wait(Duration::from_secs(61));
    bench.desk.press("1.62");
    bench.write();
    let report = trusting(folder.path(), &[&key]);
    says(&report, "a seal is missing");
    assert_eq!(report.seals.unsealed_outcomes, 1);
}

#[test]
fn an_end_with_a_foreign_key_is_found_and_one_that_nobody_has_sealed_yet_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let (mut bench, key) = one_key(folder.path());
    bench.measure();
    let report = trusting(folder.path(), &[&key]);
    assert!(report.is_intact(), "{:#?}", report.findings);
    assert_eq!(report.seals.unsealed_outcomes, 1);
    assert!(report.seals.unsealed > 3);

    let elsewhere = tempfile::tempdir().unwrap();
    let foreign = Key::make(elsewhere.path()).unwrap();
    bench.enter(begun(&foreign, Some((&key, elsewhere.path()))));
    bench.measure();
    bench.seal(&foreign);
    says(&trusting(folder.path(), &[&key]), "a foreign key");
    assert!(trusting(folder.path(), &[&key, &foreign]).is_intact());
    assert!(
        verified(folder.path()).is_intact(),
        "nobody said which key is right"
    );
}

#[test]
fn a_handover_that_another_key_has_signed_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let (mut bench, key) = one_key(folder.path());
    let elsewhere = tempfile::tempdir().unwrap();
    Key::make(elsewhere.path()).unwrap();
    let (_, thief) = Key::rotate(elsewhere.path()).unwrap();
    bench.enter(begun(&thief, Some((&key, elsewhere.path()))));
    bench.measure();
    bench.seal(&thief);
    says(
        &verified(folder.path()),
        "another key vouches for a signing key",
    );
    says(&trusting(folder.path(), &[&key]), "a foreign key");
}
