//! Journals stored in `tests/journals` must stay readable for ever.
//!
//! Each folder has the files of a journal, and `expected.jsonl`: every entry as this release writes it, and at the end
//! the state. A kind of entry without a sample gets a folder of its own. `TALLYJAW_WRITE_SAMPLES=1` writes what is
//! missing; an existing journal is never changed.

use super::bench::{copy, lines_on_disk, reopen, shop, verified};
use super::every_kind::{
    answered, by_token, configuration_edited, every_kind, jobs_and_lots, pictures, ports_of_others,
    production_runs, restored, resumed, rolled_back, tablets,
};
use super::signed::sealed;
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use tallyjaw::entry::line::{Digest, decode, encode};
use tallyjaw::entry::{Entry, Segment, Seq, Stamped, State};
use tallyjaw::quantity::WallMicros;

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/journals")
}

fn may_write() -> bool {
    std::env::var_os("TALLYJAW_WRITE_SAMPLES").is_some()
}

/// Everything read from a journal, as this release writes it, followed by a `segment` entry with the final state.
fn read(state_dir: &Path) -> String {
    let mut text = String::new();
    let mut state = State::default();
    let mut last = None;
    for line in lines_on_disk(state_dir) {
        let (stamped, prev) = decode(&line).unwrap();
        state.apply(&stamped);
        let on_disk = line;
        let line = encode(&stamped, prev);
        assert_eq!(line, on_disk, "entry {} written again", stamped.seq);
        writeln!(text, "{}", std::str::from_utf8(&line).unwrap()).unwrap();
        last = Some(stamped);
    }
    let Stamped { seq, at, .. } = last.unwrap();
    text + &amounts_to(seq, at, &state) + "\n"
}

fn amounts_to(seq: Seq, at: WallMicros, state: &State) -> String {
    let segment = Stamped {
        token: None,
        seq: seq.following(),
        at,
        entry: Entry::from(Segment {
            journal: state.journal.clone().unwrap(),
            state: Box::new(state.clone()),
        }),
    };
    String::from_utf8(encode(&segment, Digest::NONE)).unwrap()
}

/// Makes a journal in a state folder.
type Maker = fn(&Path);

#[test]
fn every_kept_journal_still_says_what_it_said() {
    let makers: [(&str, Maker); 14] = [
        ("V1_SEALED", sealed),
        ("V1_RUNS", production_runs),
        ("V1_PICTURES", pictures),
        ("V1_QUESTIONS_ANSWERED", answered),
        ("V1_A_SHORT_SERIES", |folder| drop(shop(folder))),
        ("V1_EVERY_KIND", every_kind),
        ("V1_A_READING_RESTORED", restored),
        ("V1_A_SERIES_RESUMED", resumed),
        ("V1_JOBS_AND_LOTS", jobs_and_lots),
        ("V1_PORTS_OF_OTHERS", ports_of_others),
        ("V1_ROLLED_BACK", rolled_back),
        ("V1_TABLETS", tablets),
        ("V1_BY_TOKEN", by_token),
        ("V1_CONFIGURATION_EDITED", configuration_edited),
    ];
    for (name, make) in makers {
        let sample = samples().join(name);
        if may_write() && !sample.exists() {
            make(&sample);
            fs::remove_file(sample.join("lock")).unwrap();
        }
    }
    let mut seen = 0;
    for item in fs::read_dir(samples()).unwrap() {
        let sample = item.unwrap().path();
        let name = sample.file_name().unwrap().to_str().unwrap().to_owned();
        let expected = sample.join("expected.jsonl");
        let said = read(&sample);
        if may_write() && !expected.exists() {
            fs::write(&expected, &said).unwrap();
        }
        assert_eq!(said, fs::read_to_string(expected).unwrap(), "{name}");

        let opened = tempfile::tempdir().unwrap();
        copy(&sample, opened.path());
        assert!(verified(opened.path()).is_intact(), "{name}");
        let reopened = reopen(opened.path());
        let last = said.lines().last().unwrap();
        let at = decode(last.as_bytes()).unwrap().0.at;
        let state = amounts_to(reopened.tail.0, at, &reopened.state);
        assert_eq!(state, last, "{name}");
        seen += 1;
    }
    assert!(seen > 0, "no kept journal was found");
}

/// The kinds that the table of version 1 names, in its source.
fn kinds_of_version_1() -> BTreeSet<String> {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/entry/v1/mod.rs");
    let source = fs::read_to_string(source).unwrap();
    let (_, table) = source.split_once("\nkinds! {\n").unwrap();
    let (table, _) = table.split_once("\n}\n").unwrap();
    let names = table.lines().map(|row| row.split('"').nth(1).unwrap());
    names.map(str::to_owned).collect()
}

#[test]
fn every_kind_of_entry_is_in_a_kept_journal() {
    let mut kept = BTreeSet::new();
    for item in fs::read_dir(samples()).unwrap() {
        for line in lines_on_disk(&item.unwrap().path()) {
            kept.insert(decode(&line).unwrap().0.entry.kind().to_owned());
        }
    }
    assert_eq!(kept, kinds_of_version_1());
}

#[test]
fn a_reading_has_the_fields_of_the_contract_in_their_order() {
    let line = fs::read_to_string(samples().join("V1_A_SHORT_SERIES/journal/00000001.jsonl"))
        .unwrap()
        .lines()
        .find(|line| line.contains("\"kind\":\"reading\"") && line.contains("\"value\":1.63"))
        .unwrap()
        .to_owned();
    let wanted = [
        r#""v":1"#,
        r#""seq":"#,
        r#""at":"#,
        r#""kind":"reading""#,
        r#""prev":"#,
        r#""station":"bench-1""#,
        r#""instrument":"caliper-1""#,
        r#""series":"#,
        r#""piece":1"#,
        r#""axis":"core_crimp_height""#,
        r#""terminal":"QF-250-F""#,
        r#""wire_mm2":2.0"#,
        r#""purpose":"first_off""#,
        r#""value_nm":1630000"#,
        r#""value":1.63"#,
        r#""unit":"mm""#,
        r#""nominal_nm":1620000"#,
        r#""lower_nm":1570000"#,
        r#""upper_nm":1670000"#,
        r#""deviation_nm":10000"#,
        r#""verdict":"pass""#,
        r#""standing":"counted""#,
        r#""raw":"2b312e36330d"}"#,
    ];
    let mut rest = line.as_str();
    for field in wanted {
        let Some((_, after)) = rest.split_once(field) else {
            panic!("{field} is not where it should be in {line}");
        };
        rest = after;
    }
    assert_eq!(rest, "");
    assert_eq!(
        line.matches("\":").count(),
        wanted.len(),
        "another field in {line}"
    );
}
