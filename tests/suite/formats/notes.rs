//! The tables of `hardware-notes/formats.md`: every row agrees with what the program decodes.

use super::{Outcome, read_one};
use std::fs;
use std::path::Path;
use tallyjaw::decode::{FORMATS, Pattern};
use tallyjaw::quantity::{Decimal, Length, Unit};

/// A row of the notes for one format.
#[derive(Debug)]
pub(super) struct Row {
    pub(super) format: String,
    pub(super) bytes: Vec<u8>,
    pub(super) says: String,
}

impl Row {
    pub(super) fn is_refused(&self) -> bool {
        self.says.starts_with("refused: ")
    }
}

pub(super) fn text() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("hardware-notes/formats.md");
    fs::read_to_string(path).unwrap()
}

/// The pattern of the notes.
pub(super) fn pattern() -> Pattern {
    let text = text();
    let line = text
        .lines()
        .find_map(|line| line.trim().strip_prefix("pattern = '"));
    Pattern::new(line.unwrap().trim_end_matches('\'')).unwrap()
}

/// Every row. A row for both a line and packed bytes counts twice.
pub(super) fn rows() -> Vec<Row> {
    let (mut found, mut section, mut has_packed) = (Vec::new(), String::new(), false);
    for line in text().lines() {
        if let Some(name) = line.strip_prefix("## ") {
            name.clone_into(&mut section);
        } else if line.starts_with("| line |") {
            has_packed = line.contains("| packed |");
        } else if line.starts_with("| `") || line.starts_with("| – |") {
            let cells: Vec<_> = line
                .split(" | ")
                .map(|cell| cell.trim_matches('|'))
                .collect();
            let ((line, packed), says) = if has_packed {
                ((cells[0], cells[1]), cells[2])
            } else {
                ((cells[0], "–"), cells[1])
            };
            let row = |form: &str, bytes| Row {
                format: format!("{section}{form}"),
                bytes,
                says: says.trim().to_owned(),
            };
            if let Some(text) = code(line) {
                let form = if has_packed { "-hex" } else { "" };
                found.push(row(form, [text.as_bytes(), b"\r"].concat()));
            }
            if let Some(hex) = code(packed) {
                let byte = |hex| u8::from_str_radix(hex, 16).unwrap();
                found.push(row("-packed", hex.split(' ').map(byte).collect()));
            }
        }
    }
    assert!(found.len() > 100, "only {} rows were found", found.len());
    found
}

/// The text between backticks.
fn code(cell: &str) -> Option<&str> {
    cell.trim().strip_prefix('`')?.strip_suffix('`')
}

/// The result in the words of the notes.
fn says(outcome: &Outcome) -> String {
    match outcome {
        Outcome::Value(value, None) => value.to_string(),
        Outcome::Value(value, Some(origin)) => {
            format!("{value}, origin {} mm", millimetres(*origin))
        }
        Outcome::Refused(reason) => format!("refused: {reason}"),
    }
}

fn millimetres(length: Length) -> Decimal {
    Decimal::new(length.nanometres(), 6)
}

#[test]
fn every_frame_of_the_notes_says_what_they_say() {
    let pattern = pattern();
    let mut faults = Vec::new();
    for row in rows() {
        let outcome = read_one(&row.format, Some(&pattern), Unit::Millimetre, &row.bytes);
        if says(&outcome) != row.says {
            let text = String::from_utf8_lossy(&row.bytes);
            faults.push(format!(
                "{} {text:?} says {:?}, the notes say {:?}",
                row.format,
                says(&outcome),
                row.says
            ));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn every_format_has_frames_that_are_read_and_frames_that_are_refused() {
    let rows = rows();
    for format in FORMATS {
        let of_it = || rows.iter().filter(|row| row.format == format.name);
        assert!(
            of_it().filter(|row| !row.is_refused()).count() >= 5,
            "{}",
            format.name
        );
        // Every six bytes are two words.
        assert!(
            format.name == "word48-packed" || of_it().any(Row::is_refused),
            "{}",
            format.name
        );
    }
}

#[test]
fn ticks_are_shown_in_inches_where_the_instrument_is_set_so() {
    for (relative, shown) in [
        (1311_u32, "0.0640 in"), // 1310.72 ticks
        (0x00_0522, "0.0640 in"),
        (10, "0.0005 in"),
        (5, "0.0000 in"),
        (6, "0.0005 in"), // half a step is 5.12 ticks
        (0xff_fff6, "-0.0005 in"),
        (0x7f_ffff, "409.6000 in"),
        (0x80_0000, "-409.6000 in"),
    ] {
        let line = format!("{relative:06X}{relative:06X}\r");
        match read_one("word48-hex", None, Unit::Inch, line.as_bytes()) {
            Outcome::Value(value, Some(origin)) => {
                assert_eq!(value.to_string(), shown, "{relative:06x}");
                assert_eq!(origin.nanometres(), 0);
            }
            other => panic!("{other:?}"),
        }
    }
}
