//! Tapes of what happened at a port, through the whole core: every folder of `tests/captures` that
//! has a `capture.tape`.
//!
//! `about.toml` names the instrument and the plan of `tests/bench` that read it. `expected.jsonl` has all entries that it
//! makes, without `prev`. `UPDATE_EXPECTED=1` writes that file again; look at the difference before you keep it.
//! [`made_tapes`] has the tapes that are computed; the same switch writes them.

use super::made_tapes;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use tallyjaw::daemon::replay::Replay;
use tallyjaw::entry::line::{self, Digest};
use tallyjaw::files;
use tallyjaw::serial::tape::{Mark, Player, Recorder, Timed};
use tallyjaw::spec::Catalog;

pub(super) fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

pub(super) fn catalog() -> Arc<Catalog> {
    let config = files::load(&root().join("tests/bench/tallyjaw.toml")).unwrap();
    config.catalog
}

struct Tape {
    folder: PathBuf,
    bytes: Vec<u8>,
    instrument: String,
    plan: String,
}

fn tapes() -> Vec<Tape> {
    let mut folders: Vec<PathBuf> = fs::read_dir(root().join("tests/captures"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|folder| folder.join("capture.tape").exists())
        .collect();
    folders.sort();
    folders.into_iter().map(tape).collect()
}

fn tape(folder: PathBuf) -> Tape {
    let about = fs::read_to_string(folder.join("about.toml")).unwrap();
    let about: toml::Table = about.parse().unwrap();
    let text = |key: &str| {
        let value = about.get(key).and_then(toml::Value::as_str);
        value.unwrap_or_else(|| panic!("{}: no `{key}` in about.toml", folder.display()))
    };
    for key in ["device", "date", "how"] {
        assert!(!text(key).is_empty(), "{}: {key}", folder.display());
    }
    Tape {
        bytes: fs::read(folder.join("capture.tape")).unwrap(),
        instrument: text("instrument").to_owned(),
        plan: text("plan").to_owned(),
        folder,
    }
}

impl Tape {
    /// The entries as lines, with the bytes fed in pieces of at most this size. A piece has the time of the whole.
    fn entries(&self, catalog: &Arc<Catalog>, piece: usize) -> String {
        let mut player = Player::new(self.bytes.as_slice()).unwrap();
        let header = player.header().clone();
        let mut replay = Replay::new(Arc::clone(catalog), &self.instrument, &header).unwrap();
        replay.arm(&self.plan).unwrap();
        let mut lines = String::new();
        while let Some(timed) = player.next_mark().unwrap() {
            for timed in cut(timed, piece) {
                replay.feed(&timed);
            }
            take(&mut replay, &mut lines);
        }
        assert!(!player.is_cut_short());
        replay.end();
        take(&mut replay, &mut lines);
        lines
    }
}

fn take(replay: &mut Replay, lines: &mut String) {
    while let Some(stamped) = replay.next_entry() {
        let line = String::from_utf8(line::encode(&stamped, Digest::NONE)).unwrap();
        let prev = format!(",\"prev\":\"{}\"", Digest::NONE);
        assert!(line.contains(&prev), "{line}");
        lines.push_str(&line.replace(&prev, ""));
        lines.push('\n');
    }
}

fn cut(timed: Timed, piece: usize) -> Vec<Timed> {
    let micros = timed.micros;
    let (bytes, mark): (_, fn(Vec<u8>) -> Mark) = match &timed.mark {
        Mark::Bytes(bytes) => (bytes, Mark::Bytes),
        Mark::Spoiled(bytes) => (bytes, Mark::Spoiled),
        _ => return vec![timed],
    };
    let pieces = bytes.chunks(piece);
    pieces
        .map(|piece| Timed {
            micros,
            mark: mark(piece.to_vec()),
        })
        .collect()
}

#[test]
fn every_tape_gives_its_entries_twice_and_in_pieces_of_every_size() {
    if std::env::var_os("UPDATE_EXPECTED").is_some() {
        made_tapes::write();
    }
    let tapes = tapes();
    assert!(tapes.len() >= 9, "only {} tapes were found", tapes.len());
    let catalog = catalog();
    for tape in tapes {
        let name = tape.folder.display();
        let entries = tape.entries(&catalog, usize::MAX);
        let file = tape.folder.join("expected.jsonl");
        if std::env::var_os("UPDATE_EXPECTED").is_some() {
            fs::write(&file, &entries).unwrap();
        }
        let expected = fs::read_to_string(&file).unwrap_or_default();
        assert_eq!(entries, expected, "{name}");
        for piece in [1, 2, 3, 7, 4096] {
            let cut = tape.entries(&catalog, piece);
            assert_eq!(cut, expected, "{name} in pieces of {piece}");
        }
    }
}

#[test]
fn the_computed_tapes_are_those_that_are_kept() {
    if std::env::var_os("UPDATE_EXPECTED").is_some() {
        return; // they are being written
    }
    for made in made_tapes::all() {
        let folder = root().join("tests/captures").join(made.name);
        let kept = fs::read(folder.join("capture.tape")).unwrap();
        assert!(
            kept == made.tape(),
            "{}: UPDATE_EXPECTED=1 writes it",
            made.name
        );
    }
}

#[test]
fn a_tape_that_is_written_again_is_the_same() {
    for tape in tapes() {
        let mut player = Player::new(tape.bytes.as_slice()).unwrap();
        let mut recorder = Recorder::new(Vec::new(), player.header()).unwrap();
        while let Some(timed) = player.next_mark().unwrap() {
            recorder.write(timed.micros, &timed.mark).unwrap();
        }
        assert!(
            recorder.into_inner() == tape.bytes,
            "{}",
            tape.folder.display()
        );
    }
}
