//! `tallyjaw verify` about the bytes of an export: what engines take from a Parquet file besides its rows.

use crate::export::{EVERY_KIND, Folder};
use std::fs;

#[test]
fn no_bit_of_a_parquet_export_changes_unseen_and_none_crashes_its_reader() {
    let folder = Folder::with(EVERY_KIND);
    folder.text(&["export", "parquet", "-o", "all.parquet"]);
    let whole = fs::read(folder.path("all.parquet")).unwrap();
    assert!(folder.run(&["verify", "all.parquet"]).status.success());
    for turn in 0..90 {
        let at = whole.len() * turn / 90 + turn % 7;
        let mut changed = whole.clone();
        changed[at.min(whole.len() - 1)] ^= 1 << (turn % 8);
        fs::write(folder.path("changed.parquet"), changed).unwrap();
        let output = folder.run(&["verify", "changed.parquet"]);
        let code = output.status.code();
        // The writer's name may be one of them.
        let is_said = String::from_utf8_lossy(&output.stdout).contains("  saved by  ");
        assert!(
            matches!(code, Some(1 | 2)) || (is_said && code == Some(0)),
            "byte {at}: {output:?}"
        );
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(!said.contains("panicked"), "byte {at}: {said}");
    }
}

#[test]
fn a_parquet_export_whose_units_statistics_or_question_were_changed_is_not_as_it_was_exported() {
    let folder = Folder::with(EVERY_KIND);
    folder.text(&["export", "parquet", "-o", "all.parquet"]);
    let whole = fs::read(folder.path("all.parquet")).unwrap();
    for (from, to, wanted) in [
        (&b"\"unit\":\"mN\""[..], &b"\"unit\":\"kN\""[..], "units"),
        (b"\x18\x09caliper-1", b"\x18\x09caliper-9", "statistics"),
        (
            b"tallyjaw.question",
            b"tallyjaw.questiom",
            "its question was taken out",
        ),
    ] {
        let at = whole
            .windows(from.len())
            .rposition(|part| part == from)
            .unwrap();
        let mut changed = whole.clone();
        changed[at..at + from.len()].copy_from_slice(to);
        fs::write(folder.path("changed.parquet"), changed).unwrap();
        let output = folder.run(&["verify", "changed.parquet"]);
        let said = String::from_utf8(output.stdout).unwrap();
        assert_eq!(output.status.code(), Some(1), "{said}");
        assert!(said.contains(wanted), "{said}");
    }
    // A file that says that somebody else has saved it is compared by its rows, and that is said.
    let at = whole
        .windows(9)
        .rposition(|part| part == b"tallyjaw ")
        .unwrap();
    let mut changed = whole;
    changed[at..at + 8].copy_from_slice(b"tallyjow");
    fs::write(folder.path("changed.parquet"), changed).unwrap();
    let output = folder.run(&["verify", "changed.parquet"]);
    let said = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(
        said.contains("  saved by  tallyjow 0.1.0: only rows"),
        "{said}"
    );
}
