//! Pictures on the page of a series, and changes of them.

use super::forged::{no_change_is_unnoticed, verifies};
use super::made::{gathered, heights, kept_lines, press, request};
use super::pages;
use crate::golden;
use crate::pictures::draw;
use crate::station::desk::Desk;
use crate::station::pictures::file;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use std::collections::HashMap;
use std::fs;
use std::sync::Arc;
use tallyjaw::entry::line::Digest;
use tallyjaw::entry::{Means, PictureFile, Seq, Stamped};
use tallyjaw::quantity::Zone;
use tallyjaw::report::check::{differences, made as how_made, unvouched};
use tallyjaw::report::{Copies, Report, ReportRequest};
use tallyjaw::station::{Command, Picture};

/// Small copies by their digests.
type Small = HashMap<Digest, Vec<u8>>;

fn take(desk: &mut Desk, small: &mut Small, copy: Vec<u8>, piece: Option<u32>) {
    let shown = Digest::of(&copy);
    let name = format!("cut <{}>.jpg", small.len() + 1);
    small.insert(shown, copy);
    let taken = Picture {
        station: None,
        series: None,
        piece,
        file: PictureFile {
            shown,
            ..file(&name)
        },
        by: Means::Command,
    };
    desk.command(Command::Picture(taken)).unwrap();
}

/// A series of two pieces with pictures of both, `more` of the first, and one after the outcome and before another series.
fn pictured(more: u32, size: (u32, u32)) -> (Vec<Stamped>, Small) {
    let (mut desk, mut small) = (Desk::new(), Small::new());
    desk.arm(heights(2)).unwrap();
    press(&mut desk, &["0.00", "1.63", "1.61"]);
    for (number, piece) in [(1, 1), (2, 2)]
        .into_iter()
        .chain((0..more).map(|nth| (4 + nth, 1)))
    {
        take(&mut desk, &mut small, draw::jpeg(number, size), Some(piece));
    }
    press(&mut desk, &["0.00"]);
    take(&mut desk, &mut small, draw::jpeg(3, size), None);
    desk.arm(heights(1)).unwrap();
    (desk.entries, small)
}

/// The report of the first series, with these small copies.
fn report(entries: &[Stamped], full: bool, small: &Small) -> Report {
    let first = entries.iter().find(|it| it.entry.kind() == "armed");
    let first = first.unwrap().seq;
    let gathered = gathered(entries, |series| series == first);
    let copies = Copies::read(&gathered, full, |_, shown| small.get(&shown).cloned());
    let asked = ReportRequest {
        full,
        copies: Arc::new(copies),
        ..request(Zone::UTC)
    };
    Report::new(gathered, asked)
}

/// The page recomputes the digests of its pictures too: `tests/browser/checkable.mjs`.
#[test]
fn a_checkable_page_has_pictures_beside_their_entries() {
    let (entries, small) = pictured(6, (320, 240));
    let first = entries.iter().find(|it| it.entry.kind() == "armed");
    let first = first.unwrap().seq;
    let gathered = gathered(&entries, |series| series == first);
    let copies = Copies::read(&gathered, true, |_, shown| small.get(&shown).cloned());
    let asked = ReportRequest {
        full: true,
        copies: Arc::new(copies),
        lines: kept_lines(&gathered, &entries),
        ..request(Zone::UTC)
    };
    let page = Report::new(gathered, asked).html();
    let folder = pages().join("checkable");
    fs::create_dir_all(&folder).unwrap();
    fs::write(folder.join("pictures.html"), &page).unwrap();
    assert!(verifies(&page, &entries));
}

fn seqs(entries: &[Stamped]) -> Vec<Seq> {
    let pictured = entries.iter().filter(|it| it.entry.kind() == "pictured");
    pictured.map(|stamped| stamped.seq).collect()
}

/// The bytes as they stand in a page, behind the format.
fn coded(bytes: &[u8]) -> String {
    format!(";base64,{}", STANDARD.encode(bytes))
}

/// The address of the nth picture of a page, behind the format.
fn url(page: &str, nth: usize) -> &str {
    let behind = page.split("\" src=\"data:image/jpeg").nth(nth + 1).unwrap();
    behind.split('"').next().unwrap()
}

#[test]
fn the_pictures_of_a_series_stand_on_its_sheet_with_piece_size_and_digest() {
    let (entries, small) = pictured(0, (24, 16));
    let page = report(&entries, false, &small).html();
    golden::assert_same("report/pictures.html", &page);
    assert_eq!(page.matches("<img").count(), 3);
    let said = entries.iter().filter(|it| it.entry.kind() == "pictured");
    assert_eq!(said.count(), 3);
    assert!(
        !page.contains(" of piece 1 of series "),
        "they are no remarks as well"
    );
    assert!(verifies(&page, &entries));
    // for `tests/browser/run`
    for (name, more, full) in [
        ("pictures_3", 0, false),
        ("pictures_6", 3, false),
        ("pictures_12", 9, true),
    ] {
        let (entries, small) = pictured(more, (480, 320));
        let page = report(&entries, full, &small).html();
        fs::write(pages().join(format!("{name}.html")), page).unwrap();
    }
}

#[test]
fn the_sheet_has_six_pictures_and_the_appendix_the_others_each_once() {
    let (entries, small) = pictured(5, (24, 16)); // eight
    let page = report(&entries, false, &small).html();
    assert_eq!(page.matches("<img").count(), 6);
    assert!(page.contains("2 more pictures: the report with --full has them."));
    assert!(verifies(&page, &entries));
    let full = report(&entries, true, &small).html();
    assert_eq!(full.matches("<img").count(), 8);
    assert!(full.contains("2 more pictures: the appendix has them."));
    assert!(full.contains(">More pictures<"));
    assert!(verifies(&full, &entries));
}

#[test]
fn no_part_of_a_picture_can_be_changed_unnoticed() {
    let (entries, small) = pictured(0, (8, 8));
    no_change_is_unnoticed(&report(&entries, false, &small).html(), &entries);
}

#[test]
fn other_bytes_exchanged_pictures_and_pictures_of_nowhere_are_found_and_named() {
    let (entries, small) = pictured(0, (24, 16));
    let page = report(&entries, false, &small).html();
    let told = |forged: &str| -> Vec<String> {
        assert_ne!(forged, page);
        assert!(!verifies(forged, &entries));
        let made = how_made(forged).unwrap();
        let mut again = report(&entries, false, &small);
        again.asked.copies = made.copies;
        let found = differences(forged, &again).into_iter();
        found
            .map(|one| format!("{}: {}", one.about, one.reported.unwrap_or_default()))
            .collect()
    };
    let [first, second, _] = seqs(&entries)[..] else {
        panic!("three pictures");
    };
    let series = entries.iter().find(|it| it.entry.kind() == "armed");
    let about = format!(
        "series {}, picture of piece 1 (entry {first})",
        series.unwrap().seq
    );
    let (one, two) = (url(&page, 0).to_owned(), url(&page, 1).to_owned());

    // Other bytes: the picture of another crimp.
    let other = coded(&draw::jpeg(99, (24, 16)));
    let found = told(&page.replacen(&one, &other, 1));
    let [only] = &found[..] else {
        panic!("{found:?}");
    };
    assert!(
        only.starts_with(&format!(
            "{about}: a picture that the journal does not have (SHA-256 "
        )),
        "{only}"
    );
    // Exchanged.
    let exchanged = page
        .replacen(&one, "PLACE", 1)
        .replacen(&two, &one, 1)
        .replacen("PLACE", &two, 1);
    let found = told(&exchanged);
    assert_eq!(found.len(), 2, "{found:?}");
    assert!(
        found[0].starts_with(&format!("{about}: the picture of entry {second} (")),
        "{found:?}"
    );
    // One that no entry names, one left out, one of another kind.
    let figure = page.split("<figure").nth(1).unwrap();
    let figure = format!(
        "<figure{}</figure>",
        figure.split("</figure>").next().unwrap()
    );
    let added = figure.replace(&format!("id=\"p{first}\""), "id=\"p9999\"");
    assert!(!told(&page.replacen(&figure, &format!("{figure}{added}"), 1)).is_empty());
    assert!(!told(&page.replacen(&figure, &format!("{figure}{figure}"), 1)).is_empty());
    assert!(!told(&page.replacen(&figure, "", 1)).is_empty());
    assert!(!told(&page.replacen("data:image/jpeg;", "data:image/svg+xml;", 1)).is_empty());
}

#[test]
fn a_missing_picture_is_said_and_named_as_not_vouched_for() {
    let (entries, mut small) = pictured(0, (24, 16));
    let whole = report(&entries, false, &small).html();
    assert_eq!(unvouched(&how_made(&whole).unwrap()).len(), 3);
    let gone = Digest::of(&draw::jpeg(2, (24, 16)));
    small.remove(&gone).unwrap();
    let page = report(&entries, false, &small).html();
    assert_eq!(page.matches("<img").count(), 2);
    let said = "The picture is missing at the time of the report.";
    assert_eq!(page.matches(said).count(), 1);
    assert!(verifies(&page, &entries));
    let named = unvouched(&how_made(&page).unwrap());
    let seq = seqs(&entries)[1];
    let want = ("that pictures were missing", format!("of entries {seq}"));
    assert_eq!(named.last(), Some(&want));
    // Without its datum, the missing picture would be missed.
    let silent = page.replacen("\"missing\":true,", "", 1);
    assert_ne!(silent, page);
    assert!(!verifies(&silent, &entries));
    // Without any picture no part of the page may load one.
    let none = report(&entries, false, &Small::new()).html();
    assert!(!none.contains("img-src") && none.matches(said).count() == 3);
    assert!(verifies(&none, &entries));
}
