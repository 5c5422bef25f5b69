//! A finding as people and programs read it.

use super::{BAD, add_known};
use crate::entry::words::safe;
use crate::journal::Finding;
use serde_json::{Value, json};
use std::io::{self, Write};

/// Writes it as text.
pub(super) fn write(out: &mut dyn Write, finding: &Finding) -> io::Result<()> {
    let seq = finding
        .seq
        .map_or_else(String::new, |seq| format!("entry {seq}: "));
    let Finding {
        file,
        line,
        what,
        got,
        want,
        ..
    } = finding;
    match line {
        0 => writeln!(out, "{BAD}{file}{BAD:#}: {seq}{what}")?,
        line => writeln!(out, "{BAD}{file}:{line}{BAD:#}: {seq}{what}")?,
    }
    // A damaged line may hold any characters.
    writeln!(out, "  got  {}\n  want {}", safe(got), safe(want))?;
    match finding.accepted_in {
        Some(seq) => writeln!(out, "  accepted in entry {seq}"),
        None => Ok(()),
    }
}

/// As JSON.
pub(super) fn json(finding: &Finding) -> Value {
    let mut object = json!({
        "file": finding.file,
        "line": finding.line,
        "what": finding.what,
        "got": finding.got,
        "want": finding.want,
    });
    let known = [
        ("seq", finding.seq.map(|seq| json!(seq.0))),
        ("accepted_in", finding.accepted_in.map(|seq| json!(seq.0))),
    ];
    add_known(&mut object, known);
    object
}
