//! What commands say with an index, without one, and with one that is wrong: the same, byte for byte.
//!
//! The journals are random ones of the core, over several segments, and the stored ones. What `report` makes is held
//! against the whole journal by `verify`, which never uses an index.
//!
//! ```text
//! PROPTEST_CASES=2000 cargo test --release --test suite index::
//! ```

use crate::export::{Folder, segments};
use crate::harness::every;
use crate::station::desk::plan;
use crate::station::invariants::acts::{Act, Saying, act, arming, run};
use crate::station::invariants::shop::{STATIONS, Shop};
use proptest::prelude::*;
use proptest::sample::{Index, select};
use serde_json::json;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Instant;
use tallyjaw::entry::line::{Digest, encode};
use tallyjaw::entry::{Entry, SeriesEntry, Stamped};
use tallyjaw::spec::{Plan, Purpose};

type Files = BTreeMap<String, Vec<u8>>;

/// The files of a journal with these entries.
fn files(entries: &[Stamped]) -> Files {
    let (mut files, mut prev) = (Files::new(), Digest::NONE);
    for stamped in entries {
        if stamped.entry.opens().is_some() {
            files.insert(format!("{:08}.jsonl", files.len() + 1), Vec::new());
        }
        let line = encode(stamped, prev);
        prev = Digest::of(&line);
        let mut last = files.last_entry().unwrap();
        last.get_mut().extend(line);
        last.get_mut().push(b'\n');
    }
    files
}

fn armed(entries: &[Stamped]) -> Vec<u64> {
    let armed = entries
        .iter()
        .filter(|stamped| matches!(stamped.entry, Entry::Series(SeriesEntry::Armed(_))));
    armed.map(|stamped| stamped.seq.0).collect()
}

/// Everything that happens, with more segments.
fn acts() -> impl Strategy<Value = Vec<Act>> {
    let arm = (select(&STATIONS[..]), arming()).prop_map(|(station, what)| Act::Say {
        station: Some(station),
        what,
    });
    let one = prop_oneof![10 => act(), 1 => Just(Act::NewSegment), 1 => arm];
    prop::collection::vec(one, 20..120)
}

fn journal(acts: Vec<Act>) -> Vec<Stamped> {
    let mut shop = Shop::new();
    for act in acts {
        run(&mut shop, act);
    }
    shop.entries
}

fn index(folder: &Folder) -> PathBuf {
    folder.path("state/index")
}

/// Names and contents of the index.
fn indexed(folder: &Folder) -> Files {
    let items = fs::read_dir(index(folder)).into_iter().flatten();
    items
        .map(|item| {
            let path = item.unwrap().path();
            let name = path.file_name().unwrap().to_str().unwrap().to_owned();
            (name, fs::read(path).unwrap())
        })
        .collect()
}

fn put(folder: &Folder, files: &Files) {
    let _ = fs::remove_dir_all(index(folder));
    let _ = fs::remove_file(index(folder));
    fs::create_dir(index(folder)).unwrap();
    for (name, bytes) in files {
        fs::write(index(folder).join(name), bytes).unwrap();
    }
}

/// Puts a file where the index would be: there is none, and none can be made.
fn without(folder: &Folder) {
    let _ = fs::remove_dir_all(index(folder));
    fs::write(index(folder), "no folder").unwrap();
}

/// What the commands print, and the question that an export writes beside its file.
fn said(folder: &Folder, asked: &[String]) -> String {
    let mut said = String::new();
    let question = folder.path("question.json");
    for line in asked {
        let mut arguments: Vec<&str> = line.split('|').collect();
        if arguments[0] == "export" {
            arguments.extend(["--question", "question.json", "--force"]);
        }
        let output = folder.run(&arguments);
        said.push_str(&fs::read_to_string(&question).unwrap_or_default());
        let _ = fs::remove_file(&question);
        let _ = writeln!(
            said,
            "$ {line}\n{}{}exit {:?}",
            String::from_utf8_lossy(&output.stdout),
            String::from_utf8_lossy(&output.stderr),
            output.status.code()
        );
    }
    said
}

/// Questions about these series.
fn questions(series: &[u64]) -> Vec<String> {
    let mut asked: Vec<String> = [
        "series",
        "series|--json",
        "series|--sort|failed|--limit|2",
        "series|--sort|operator|--reverse|--limit|3",
        "series|--outcome|cut_short|--since|2025-11-24T17:00:00Z|--json",
        "series|--axis|pull_force|--until|2025-11-24T18:00:00Z",
    ]
    .map(str::to_owned)
    .to_vec();
    for id in series {
        asked.push(format!("series|{id}"));
        asked.push(format!("series|show|{id}|--json"));
        asked.push(format!("label|--series|{id}|-o|-"));
        asked.push(format!("series|--after|{id}|--limit|1"));
    }
    if let [one, .., other] = series {
        asked.push(format!("series|{other}|{one}|--reverse"));
        asked.push(format!("export|csv|{other}|{one}"));
    }
    asked
}

/// Questions that choose readings, some of them by a time of these entries.
fn choosing(entries: &[Stamped], which: usize) -> Vec<String> {
    let asked = [
        "export|csv|--operator|Ada",
        "export|csv|--station|bench-2|--counted",
        "export|csv|--instrument|caliper-1|--purpose|reference",
        "study|describe|--axis|core_crimp_height|--tool|T-07|--deviation|--json",
        "study|describe|--axis|pull_force|--operator|Ben|--include|doubted",
        "study|drift|--axis|core_crimp_height|--nest|2.0|--json",
        "jobs",
        "jobs|--json",
        "runs",
        "runs|--json",
    ]
    .map(str::to_owned);
    let at = entries[which].at;
    let by_time = [
        format!("export|csv|--since|{at}"),
        format!("export|csv|--until|{at}|--station|bench-1"),
        format!("study|describe|--axis|core_crimp_height|--since|{at}"),
    ];
    let some = asked.into_iter().skip(which % 3).step_by(3);
    some.chain(by_time).collect()
}

/// Makes a report by the index and holds it against the whole journal.
fn report_is_true(folder: &Folder, options: &[&str]) {
    let made = folder.run(&[&["report"], options, &["-o", "report.html"]].concat());
    assert!(made.status.success(), "{options:?}: {made:?}");
    let verified = folder.run(&["verify", "report.html"]);
    let text = String::from_utf8_lossy(&verified.stdout);
    assert!(verified.status.success(), "{options:?}: {text}");
}

/// A few of these, first and last among them.
fn some(series: &[u64], which: &[Index]) -> Vec<u64> {
    let mut some: Vec<u64> = which
        .iter()
        .filter(|_| !series.is_empty())
        .map(|at| *at.get(series))
        .collect();
    some.extend(series.first());
    some.extend(series.last());
    some.sort_unstable();
    some.dedup();
    some
}

fn few() -> ProptestConfig {
    let config = ProptestConfig::default();
    let is_asked = std::env::var_os("PROPTEST_CASES").is_some();
    ProptestConfig {
        cases: if is_asked {
            config.cases
        } else {
            (4 / u32::try_from(every(4)).unwrap()).max(1)
        },
        failure_persistence: None,
        max_shrink_iters: 60,
        ..config
    }
}

proptest! {
    #![proptest_config(few())]

    #[test]
    fn commands_say_the_same_with_an_index_without_and_with_a_wrong_one(
        one in acts(),
        other in acts(),
        which in prop::collection::vec(any::<Index>(), 2),
        at in any::<Index>(),
        bit in 0u8..8,
    ) {
        let entries = journal(one);
        let whole = files(&entries);
        let folder = Folder::of(&whole);
        let mut asked = questions(&some(&armed(&entries), &which));
        asked.extend(choosing(&entries, at.index(entries.len())));
        without(&folder);
        let want = said(&folder, &asked);
        fs::remove_file(index(&folder)).unwrap();

        prop_assert_eq!(&said(&folder, &asked), &want, "the index is made");
        let made = indexed(&folder);
        prop_assert_eq!(made.len(), whole.len() - 1, "one for each closed segment");
        prop_assert_eq!(&said(&folder, &asked), &want, "the index is used");
        for id in some(&armed(&entries), &which) {
            report_is_true(&folder, &[&id.to_string()]);
        }

        // `series` reads the whole index, so that what is wrong with it is known by the second one.
        let few = &[&asked[..2], &asked[asked.len() - 6..]].concat();
        let want = said(&folder, few);
        let foreign = Folder::of(&files(&journal(other)));
        said(&foreign, &asked[..1]);
        let names = made.keys().cloned();
        let swapped: Files = names.zip(made.values().rev().cloned()).collect();
        let mut others = swapped.clone();
        others.extend(indexed(&foreign));
        let cut = made.iter().map(|(name, bytes)| {
            (name.clone(), bytes[..at.index(bytes.len())].to_vec())
        });
        let flipped = made.iter().map(|(name, bytes)| {
            let mut bytes = bytes.clone();
            let place = at.index(bytes.len());
            bytes[place] ^= 1 << bit;
            (name.clone(), bytes)
        });
        for (what, wrong) in [
            ("cut off", cut.collect::<Files>()),
            ("a bit changed", flipped.collect()),
            ("another segment's", swapped),
            ("another journal's", others),
        ] {
            put(&folder, &wrong);
            prop_assert_eq!(&said(&folder, few), &want, "{}", what);
            prop_assert!(made.iter().all(|(name, bytes)| indexed(&folder).get(name) == Some(bytes)), "{} is made again", what);
        }
    }

    #[test]
    fn an_index_of_a_longer_journal_or_of_removed_segments_is_no_index(
        acts in acts(),
        which in prop::collection::vec(any::<Index>(), 2),
        at in any::<Index>(),
    ) {
        let entries = journal(acts);
        let whole = files(&entries);
        let folder = Folder::of(&whole);
        let mut asked = questions(&some(&armed(&entries), &which));
        asked.extend(choosing(&entries, at.index(entries.len())));
        said(&folder, &asked[..1]);
        let made = indexed(&folder);
        let journal = |name: &str| folder.path("state/journal").join(name);
        let same = |what: &str| {
            put(&folder, &made);
            let by_index = said(&folder, &asked);
            without(&folder);
            assert_eq!(by_index, said(&folder, &asked), "{what}");
        };
        let names: Vec<&String> = whole.keys().collect();
        let last = at.index(names.len());
        for gone in &names[last + 1..] {
            fs::remove_file(journal(gone)).unwrap();
        }
        same("rolled back to the end of a segment");
        let lines: Vec<&[u8]> = whole[names[last]].split_inclusive(|byte| *byte == b'\n').collect();
        let left = lines[..=at.index(lines.len())].concat();
        fs::write(journal(names[last]), &left).unwrap();
        same("rolled back within it");
        if last > 0 {
            fs::remove_file(journal(names[0])).unwrap();
            same("without its first segment");
        }
    }
}

#[test]
fn a_daemon_makes_the_index_of_each_segment_that_it_closes_and_the_same_as_commands() {
    let shop = crate::harness::Shop::new();
    let mut command = shop.tallyjaw(&["--json", "serve"]);
    command.env("TALLYJAW_TEST_SEGMENT_BYTES", "8000");
    let daemon = shop.start_by(command);
    let folder = shop.path("state/index");
    let made = || -> Files {
        let items = fs::read_dir(&folder).into_iter().flatten();
        let names = items.map(|item| item.unwrap().file_name().into_string().unwrap());
        let whole = names.filter(|name| !name.starts_with('.')); // one that gets its name this moment
        let read = whole.map(|name| {
            let bytes = fs::read(folder.join(&name)).unwrap();
            (name, bytes)
        });
        read.collect()
    };
    let mut closed = 0;
    while closed < 3 {
        daemon.call(
            "note",
            &json!({"text": "a note of some length, ".repeat(8)}),
        );
        let segments = fs::read_dir(shop.path("state/journal")).unwrap();
        closed = segments.count() - 1;
    }
    let deadline = Instant::now() + crate::harness::PATIENCE;
    while made().len() < closed {
        assert!(Instant::now() < deadline, "{:?}", made().keys());
        std::thread::yield_now();
    }
    let by_daemon = made();
    daemon.stop();
    fs::remove_dir_all(&folder).unwrap();
    assert!(shop.run(&["series"]).status.success());
    let by_command = made();
    for (name, bytes) in &by_daemon {
        assert_eq!(by_command.get(name), Some(bytes), "{name}");
    }
}

#[test]
fn commands_say_the_same_of_every_stored_journal() {
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/journals");
    let mut journals = 0;
    for item in fs::read_dir(kept).unwrap() {
        let name = item.unwrap().file_name().into_string().unwrap();
        let folder = Folder::with(&name);
        let lines = segments(&name);
        let lines = lines
            .values()
            .flat_map(|text| text.split(|byte| *byte == b'\n'));
        let entries: Vec<Stamped> = lines
            .filter(|line| !line.is_empty())
            .map(|line| tallyjaw::entry::line::decode(line).unwrap().0)
            .collect();
        let series = armed(&entries);
        let mut asked = questions(&series);
        let jobs = entries.iter().filter_map(|stamped| match &stamped.entry {
            Entry::Series(SeriesEntry::Armed(spec)) => spec.job.as_ref().map(|job| job.id.clone()),
            _ => None,
        });
        for job in jobs {
            asked.push(format!("label|--job|{job}|-o|-"));
            asked.push(format!("series|--job|{job}"));
            asked.push(format!("export|csv|--job|{job}"));
            asked.push(format!("jobs|{job}"));
            asked.push(format!("jobs|{job}|--json"));
        }
        asked.extend(choosing(&entries, entries.len() / 2));
        let asked: Vec<String> = asked.into_iter().step_by(every(4)).collect();
        without(&folder);
        let want = said(&folder, &asked);
        fs::remove_file(index(&folder)).unwrap();
        assert_eq!(said(&folder, &asked), want, "{name}");
        if !indexed(&folder).is_empty() {
            assert_eq!(
                said(&folder, &asked),
                want,
                "{name}, by the index that was made"
            );
        }
        for id in series.iter().step_by(every(4)) {
            report_is_true(&folder, &[&id.to_string()]);
        }
        journals += usize::from(!indexed(&folder).is_empty());
    }
    assert!(journals > 1, "several have more than one segment");
}

/// A journal of a segment for each of these purposes, with a series of it.
fn by_purpose(purposes: &[Purpose]) -> Files {
    let mut shop = Shop::new();
    for (at, purpose) in purposes.iter().enumerate() {
        if at > 0 {
            run(&mut shop, Act::NewSegment);
        }
        let plan = Plan {
            pieces: 60, // more lines than lie between two ranges that are read as one
            purpose: *purpose,
            ..plan()
        };
        let station = "bench-1";
        let arm = Act::Say {
            station: Some(station),
            what: Saying::Arm(Box::new(plan), false),
        };
        run(&mut shop, arm);
        for _ in 0..130 {
            run(&mut shop, Act::Follow { station, off: 0 });
        }
    }
    files(&shop.entries)
}

/// Makes a line of a segment unreadable, and leaves the file looking as it was.
fn spoil_quietly(path: &Path) {
    let mut bytes = fs::read(path).unwrap();
    let modified = fs::metadata(path).unwrap().modified().unwrap();
    let kind = b"\"kind\":\"reading\"";
    let place = bytes
        .windows(kind.len())
        .rposition(|at| at == kind)
        .unwrap();
    let after = bytes[place..].split(|byte| *byte == b'\n').count();
    assert!(
        place > 4096 && after > 3,
        "neither the head nor the last line"
    );
    bytes[place] = b'x';
    fs::write(path, bytes).unwrap();
    let file = fs::File::options().write(true).open(path).unwrap();
    file.set_modified(modified).unwrap();
}

#[test]
fn a_question_about_few_series_reads_only_their_lines() {
    let (own, reference) = (Purpose::FirstOff, Purpose::Reference);
    let purposes = [own, reference, own, reference, own, own];
    let folder = Folder::of(&by_purpose(&purposes));
    let asked: Vec<String> = [
        "export|csv|--purpose|reference",
        "study|describe|--axis|core_crimp_height|--purpose|reference",
        "series|--purpose|reference",
    ]
    .map(str::to_owned)
    .to_vec();
    let want = said(&folder, &asked);
    assert_eq!(want.matches("exit Some(0)").count(), asked.len(), "{want}");
    assert!(
        want.contains("reference") && !want.contains("first_off"),
        "{want}"
    );
    for name in ["00000001.jsonl", "00000003.jsonl"] {
        spoil_quietly(&folder.path("state/journal").join(name));
    }
    assert_eq!(said(&folder, &asked), want);
    let whole = folder.run(&["export", "csv", "-o", "whole.csv"]);
    assert_eq!(whole.status.code(), Some(4), "{whole:?}");
    let whole = folder.run(&["verify"]);
    assert_eq!(whole.status.code(), Some(1), "{whole:?}");
}

#[test]
fn a_segment_that_can_have_no_index_is_read_whole_and_looked_at_once() {
    let (own, reference) = (Purpose::FirstOff, Purpose::Reference);
    let mut files = by_purpose(&[own, reference, own, reference]);
    // The numbers of its entries have a gap, which no bench writes.
    let second = files.get_mut("00000002.jsonl").unwrap();
    let mut lines: Vec<&[u8]> = second.split_inclusive(|byte| *byte == b'\n').collect();
    lines.remove(20);
    *second = lines.concat();
    let folder = Folder::of(&files);
    let asked = [
        "series",
        "series|--purpose|reference|--json",
        "export|csv|--purpose|reference",
    ]
    .map(str::to_owned);
    without(&folder);
    let want = said(&folder, &asked);
    fs::remove_file(index(&folder)).unwrap();
    assert_eq!(said(&folder, &asked), want);
    let written = |name: &str| {
        let made = fs::metadata(index(&folder).join(name)).unwrap();
        made.modified().unwrap()
    };
    let made = indexed(&folder);
    assert_eq!(
        made.len(),
        3,
        "one for each closed segment: {:?}",
        made.keys()
    );
    let none = made["00000002.json"].split_inclusive(|byte| *byte == b'\n');
    assert_eq!(none.count(), 1, "it says that there can be none");
    let before = written("00000002.json");
    assert_eq!(said(&folder, &asked), want);
    assert_eq!(written("00000002.json"), before);
}

#[test]
fn the_index_of_segments_that_are_gone_goes_with_the_next_that_is_made() {
    let own = Purpose::FirstOff;
    let folder = Folder::of(&by_purpose(&[own, own, own]));
    let asked = ["series".to_owned()];
    said(&folder, &asked);
    let name = |number: u32| index(&folder).join(format!("{number:08}.json"));
    fs::copy(name(1), name(7)).unwrap();
    fs::remove_file(folder.path("state/journal/00000001.jsonl")).unwrap();
    fs::remove_file(name(2)).unwrap();
    said(&folder, &asked);
    let left: Vec<String> = indexed(&folder).into_keys().collect();
    assert_eq!(left, ["00000002.json"]);
}
