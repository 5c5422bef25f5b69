//! Reading a journal on several processors: the same comes out, byte for byte, as on one.

use crate::export::{EVERY_KIND, Folder};
use crate::harness::cases;
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::{Index, select};
use std::fs;

/// Threads, and bytes of a block; the first is one thread that reads all at once.
const WORKERS: [&str; 4] = ["1/10000000", "1/1", "2/900", "5/64"];

const COMMANDS: [&[&str]; 10] = [
    &["verify"],
    &["verify", "--json"],
    &["study", "describe", "--axis", "core_crimp_height"],
    &["export", "csv"],
    &["export", "csv", "7"],
    &["export", "csv", "--operator", "jon"],
    &["export", "parquet"],
    &["export", "jsonl"],
    &["export", "jsonl", "--station", "bench-1"],
    &["nests"],
];

/// Changes one line of a journal, or none.
#[derive(Debug, Clone)]
enum Damage {
    None,
    /// Another byte at a place.
    Byte(Index, Index, u8),
    Removed(Index),
    Repeated(Index),
    /// The last bytes of the journal are gone.
    Cut(Index),
}

fn damage() -> impl Strategy<Value = Damage> {
    prop_oneof![
        1 => Just(Damage::None),
        4 => (any::<Index>(), any::<Index>(), any::<u8>())
            .prop_map(|(line, at, byte)| Damage::Byte(line, at, byte)),
        1 => any::<Index>().prop_map(Damage::Removed),
        1 => any::<Index>().prop_map(Damage::Repeated),
        1 => any::<Index>().prop_map(Damage::Cut),
    ]
}

fn done(damage: &Damage, bytes: &[u8]) -> Vec<u8> {
    let mut lines: Vec<Vec<u8>> = bytes
        .split_inclusive(|byte| *byte == b'\n')
        .map(Vec::from)
        .collect();
    let count = lines.len();
    match damage {
        Damage::None => {}
        Damage::Byte(line, at, byte) => {
            let line = &mut lines[line.index(count)];
            let at = at.index(line.len());
            line[at] = *byte;
        }
        Damage::Removed(line) => drop(lines.remove(line.index(count))),
        Damage::Repeated(line) => {
            let at = line.index(count);
            lines.insert(at, lines[at].clone());
        }
        Damage::Cut(at) => {
            let mut whole = lines.concat();
            whole.truncate(at.index(whole.len()));
            return whole;
        }
    }
    lines.concat()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(cases(12)))]
    #[test]
    fn every_command_says_the_same_on_any_number_of_processors(
        kept in select(&[EVERY_KIND, "V1_JOBS_AND_LOTS", "V1_RUNS", "V1_SEALED", "V1_A_SHORT_SERIES"][..]),
        damages in vec(damage(), 0..3),
        segment in any::<Index>(),
        commands in vec(select(&COMMANDS[..]), 3),
    ) {
        let folder = Folder::with(kept);
        let journal = folder.path("state/journal");
        let mut segments: Vec<_> = fs::read_dir(journal).unwrap().map(|item| item.unwrap().path()).collect();
        segments.sort();
        let path = &segments[segment.index(segments.len())];
        let mut bytes = fs::read(path).unwrap();
        for damage in &damages {
            if !bytes.is_empty() {
                bytes = done(damage, &bytes);
            }
        }
        fs::write(path, bytes).unwrap();
        for command in commands {
            let alone = folder.run_by(WORKERS[0], command);
            for workers in &WORKERS[1..] {
                let other = folder.run_by(workers, command);
                prop_assert_eq!(other.status.code(), alone.status.code(), "{:?} {}", command, workers);
                prop_assert_eq!(
                    String::from_utf8_lossy(&other.stderr),
                    String::from_utf8_lossy(&alone.stderr),
                    "{:?} {}", command, workers
                );
                prop_assert!(other.stdout == alone.stdout, "{:?} {}", command, workers);
            }
        }
    }
}

#[test]
fn a_reader_that_goes_away_ends_the_work() {
    use std::io::Read as _;
    use std::process::Stdio;

    let folder = Folder::with(EVERY_KIND);
    // More than a pipe holds: the journal again and again, with no chain, which an export does not need.
    let path = folder.path("state/journal/00000001.jsonl");
    let line = b"{\"v\":1,\"seq\":2,\"at\":\"2026-11-25T09:14:03.120456Z\",\"kind\":\"noted\",\"prev\":\"00\",\"station\":\"bench-1\",\"text\":\"x\"}\n";
    let mut bytes = fs::read(&path).unwrap();
    bytes.extend(line.repeat(20_000));
    fs::write(&path, bytes).unwrap();
    let mut command = folder.command(&["export", "jsonl"]);
    command
        .env("TALLYJAW_TEST_WORKERS", "3/256")
        .stdout(Stdio::piped());
    let mut running = command.spawn().unwrap();
    let mut output = running.stdout.take().unwrap();
    let mut some = [0; 100];
    output.read_exact(&mut some).unwrap();
    drop(output);
    assert!(
        running.wait().unwrap().code().is_some(),
        "it ends by itself"
    );
}
