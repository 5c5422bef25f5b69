//! Captured bytes and what they decode to: every folder of `tests/captures` with a `capture.bin`. Captures with times
//! are in `tapes.rs`.
//!
//! `capture.bin` holds the bytes, `about.toml` the format and origin, `expected.jsonl` everything that is decoded. The
//! bytes are those that the hardware received. With `marked = true` they are as a terminal gives them: `ff 00` before
//! each bad byte, and `ff` doubled. With `UPDATE_EXPECTED=1` the expected file is written again; read its difference
//! before you keep it.

use serde_json::json;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use tallyjaw::decode::{Decoded, Decoder, FrameFormat};
use tallyjaw::quantity::{MonoMicros, Unit};
use tallyjaw::serial::{ByteRun, Marks};

struct Capture {
    folder: PathBuf,
    format: &'static FrameFormat,
    unit: Unit,
    bytes: Vec<u8>,
    marked: bool,
}

fn captures() -> Vec<Capture> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/captures");
    let mut folders: Vec<PathBuf> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|folder| folder.join("capture.bin").exists())
        .collect();
    folders.sort();
    assert!(!folders.is_empty(), "no captures were found");
    folders.into_iter().map(capture).collect()
}

fn capture(folder: PathBuf) -> Capture {
    let about = fs::read_to_string(folder.join("about.toml")).unwrap();
    let about: toml::Table = about.parse().unwrap();
    let text = |key: &str| {
        let value = about.get(key).and_then(toml::Value::as_str);
        value.unwrap_or_else(|| panic!("{}: no `{key}` in about.toml", folder.display()))
    };
    for key in ["device", "date", "how"] {
        assert!(!text(key).is_empty(), "{}: {key}", folder.display());
    }
    Capture {
        format: FrameFormat::from_name(text("format")).expect("unknown format"),
        unit: Unit::from_symbol(text("unit")).expect("unknown unit"),
        bytes: fs::read(folder.join("capture.bin")).unwrap(),
        marked: about
            .get("marked")
            .is_some_and(|marked| marked.as_bool().unwrap()),
        folder,
    }
}

impl Capture {
    fn runs(&self, chunk_len: usize) -> Vec<ByteRun> {
        let chunks = self.bytes.chunks(chunk_len);
        if !self.marked {
            return chunks.map(|chunk| ByteRun::Sound(chunk.to_vec())).collect();
        }
        let mut marks = Marks::default();
        let mut runs: Vec<_> = chunks.flat_map(|chunk| marks.take(chunk)).collect();
        runs.extend(marks.end());
        runs
    }

    fn decode(&self, chunk_len: usize) -> Vec<Decoded> {
        let mut decoder = Decoder::new(self.format, self.unit);
        let now = MonoMicros(0);
        for run in self.runs(chunk_len) {
            match run {
                ByteRun::Sound(bytes) => decoder.push(now, &bytes),
                ByteRun::Spoiled(bytes) => decoder.push_spoiled(now, &bytes),
            }
        }
        decoder.end();
        std::iter::from_fn(|| decoder.poll()).collect()
    }
}

fn as_json_line(decoded: &Decoded) -> String {
    let mut raw = String::new();
    for byte in decoded.raw() {
        let _ = write!(raw, "{byte:02x}");
    }
    let line = match decoded {
        Decoded::Value { value, .. } => json!({"value": value.to_string(), "raw": raw}),
        Decoded::Blank { .. } => json!({"blank": true, "raw": raw}),
        Decoded::Undecoded { reason, .. } => json!({"unread": reason.to_string(), "raw": raw}),
    };
    format!("{line}\n")
}

#[test]
fn every_capture_decodes_as_expected_and_the_same_in_chunks_of_every_size() {
    for capture in captures() {
        let name = capture.folder.display();
        let whole = capture.decode(usize::MAX);
        let found: String = whole.iter().map(as_json_line).collect();
        let file = capture.folder.join("expected.jsonl");
        if std::env::var_os("UPDATE_EXPECTED").is_some() {
            fs::write(&file, &found).unwrap();
        }
        let expected = fs::read_to_string(&file).unwrap_or_default();
        assert_eq!(found, expected, "{name}");
        for chunk_len in 1..capture.bytes.len().min(2000) {
            let cut = capture.decode(chunk_len);
            assert!(cut == whole, "{name} in chunks of {chunk_len}");
        }
        let joined: Vec<u8> = whole.iter().flat_map(Decoded::raw).copied().collect();
        let runs = capture.runs(usize::MAX);
        let bytes: Vec<u8> = runs.iter().flat_map(ByteRun::bytes).copied().collect();
        assert_eq!(joined, bytes, "{name}: bytes lost or invented");
    }
}

#[test]
fn no_wrong_line_setting_gives_a_value() {
    let wrong: Vec<Capture> = captures()
        .into_iter()
        .filter(|capture| {
            let name = capture.folder.file_name().unwrap().to_string_lossy();
            name.starts_with("wrong_speed") || name.contains("_read_as_")
        })
        .collect();
    assert!(wrong.len() >= 3, "captures at wrong settings are missing");
    for capture in wrong {
        let found = capture.decode(usize::MAX);
        let value = found
            .iter()
            .find(|decoded| matches!(decoded, Decoded::Value { .. }));
        assert_eq!(value, None, "{}", capture.folder.display());
    }
}
