//! A changed page is detected, and the place is named.

use super::made::{self, two_axes_by_piece, verified_instrument};
use crate::harness::cases;
use proptest::prelude::*;
use std::fmt::Write as _;
use tallyjaw::report::check::{Difference, NoReport, comparable, differences, made as how_made};
use tallyjaw::report::{RELEASES, Report};

fn told(differences: &[Difference]) -> Vec<String> {
    let side = |side: &Option<String>| side.clone().unwrap_or_else(|| "nothing".to_owned());
    differences
        .iter()
        .map(|one| {
            format!(
                "{}: {} | {}",
                one.about,
                side(&one.reported),
                side(&one.journal)
            )
        })
        .collect()
}

/// The page with the first occurrence of a text replaced.
fn tampered(page: &str, from: &str, to: &str) -> String {
    assert!(page.contains(from), "{from} is not in the page");
    page.replacen(from, to, 1)
}

fn found(report: &Report, from: &str, to: &str) -> Vec<String> {
    told(&differences(&tampered(&report.html(), from, to), report))
}

#[test]
fn a_page_that_nobody_touched_is_as_its_journal_says() {
    for (name, entries) in made::cases() {
        let report = made::whole(&entries);
        assert_eq!(differences(&report.html(), &report), [], "{name}");
    }
}

#[test]
fn ends_of_lines_may_change_on_the_way() {
    let report = made::whole(&two_axes_by_piece());
    let sent = format!("\u{feff}{}", report.html().replace('\n', "\r\n"));
    assert_eq!(differences(&sent, &report), []);
}

#[test]
fn every_kind_of_datum_that_is_changed_is_named() {
    let report = made::whole(&two_axes_by_piece());
    let digest = report.digest.to_string();
    let id = report.series[0].record.series.id;
    let piece = |piece: u32, axis: &str, seq: u64, what: &str| {
        format!("series {id}, piece {piece}, core crimp {axis} (entry {seq}), {what}")
    };
    let html = report.html();
    // an SVG coordinate: the first mark
    let (_, behind) = html.split_once("<circle class=\"pass\" cx=\"").unwrap();
    let (x, _) = behind.split_once('"').unwrap();
    let mark = |x: &str| format!("<circle class=\"pass\" cx=\"{x}\"");
    let rows: Vec<(&str, String, String)> = vec![
        (
            "value",
            "<td class=\"n of\">1.63</td>".into(),
            "<td class=\"n of\">1.62</td>".into(),
        ),
        ("deviation", ">+0.01<".into(), ">0.00<".into()),
        (
            "verdict",
            "</span>pass".into(),
            "</span>FAIL: too high".into(),
        ),
        (
            "limit",
            "<td class=\"n\">1.57 mm</td>".into(),
            "<td class=\"n\">1.47 mm</td>".into(),
        ),
        ("date", "<dd>2025-11-24".into(), "<dd>2025-11-23".into()),
        ("outcome", ">ACCEPTED<".into(), ">REJECTED<".into()),
        (
            "zero",
            "<span>0.02 mm</span>".into(),
            "<span>0.00 mm</span>".into(),
        ),
        ("figure", "mean 1.62".into(), "mean 1.52".into()),
        ("picture", mark(x), mark("99.9")),
        (
            "digest",
            format!("<code>{digest}</code>"),
            format!("<code>0{}</code>", &digest[1..]),
        ),
        ("why", "by the operator".into(), "by the program".into()),
        (
            "caution",
            "No accreditation is claimed".into(),
            "Accreditation is claimed".into(),
        ),
        (
            "data",
            "\"value_nm\":1630000".into(),
            "\"value_nm\":1620000".into(),
        ),
        ("style", ".fail { color".into(), ".fall { color".into()),
    ];
    let mut named = String::new();
    for (what, from, to) in rows {
        let found = found(&report, &from, &to);
        assert_eq!(found.len(), 1, "{what}: {found:#?}");
        let line: String = found[0].chars().take(150).collect();
        let _ = writeln!(named, "{what}: {line}");
    }
    let first = report.series[0]
        .readings
        .iter()
        .find(|row| row.verdict().is_some())
        .unwrap();
    assert!(
        named.contains(&format!(
            "{}: 1.62 | 1.63",
            piece(1, "height", first.seq.0, "value")
        )),
        "{named}"
    );
    crate::golden::assert_same("report/tampered.txt", &named);
}

#[test]
fn what_was_put_in_or_left_out_is_named() {
    let report = made::whole(&two_axes_by_piece());
    let html = report.html();
    let more = tampered(
        &html,
        "<section class=\"part\">",
        "<p>Approved by all.</p>\n<section class=\"part\">",
    );
    let found = told(&differences(&more, &report));
    assert_eq!(found.len(), 1, "{found:#?}");
    assert!(
        found[0].ends_with(": Approved by all. | nothing"),
        "{found:#?}"
    );
    // removes a row of a reading that does not count
    let (before, behind) = html.split_once("<tr><th scope=\"row\">9</th>").unwrap();
    let (_, behind) = behind.split_once("</tr>\n").unwrap();
    let found = told(&differences(&format!("{before}{behind}"), &report));
    assert!(
        found
            .iter()
            .any(|one| one.contains("nothing |") && one.contains("1.72 mm")),
        "{found:#?}"
    );
}

#[test]
fn the_errors_of_gauge_blocks_are_compared_too() {
    let report = made::whole(&verified_instrument());
    let found = found(&report, "−0.01</td>", "0.00</td>");
    assert_eq!(found.len(), 1, "{found:#?}");
    assert!(
        found[0].contains("gauge block 41.30 mm, time 1"),
        "{found:#?}"
    );
}

#[test]
fn a_tampered_sentence_or_group_of_a_comparison_is_named() {
    let report = made::two_tools();
    assert_eq!(differences(&report.html(), &report), []);
    let sentence = found(&report, "above that of T-07", "below that of T-07");
    assert_eq!(sentence.len(), 1, "{sentence:#?}");
    assert!(
        sentence[0].starts_with("the sentence on core crimp height: "),
        "{sentence:#?}"
    );
    let count = found(
        &report,
        "<td class=\"n\">12</td>",
        "<td class=\"n\">11</td>",
    );
    assert_eq!(
        count,
        ["core crimp height side by side, T-07, readings: 11 | 12"]
    );
}

#[test]
fn what_is_no_report_says_so() {
    assert_eq!(how_made("<!DOCTYPE html>\n<p>"), Err(NoReport::Other));
    let html = made::whole(&two_axes_by_piece()).html();
    let without = tampered(&html, "id=\"tallyjaw-report\"", "id=\"other\"");
    let error = how_made(&without).unwrap_err();
    assert_eq!(error.to_string(), "the data of the report are missing");
    let cut = tampered(&html, "{\"digest\"", "{digest\"");
    assert!(
        how_made(&cut)
            .unwrap_err()
            .to_string()
            .starts_with("the data of the report are damaged")
    );
}

#[test]
fn what_the_appendix_says_is_named_too() {
    let report = made::in_full(&two_axes_by_piece());
    assert_eq!(differences(&report.html(), &report), []);
    let mean = "<th scope=\"row\">mean</th><td class=\"n\">1.";
    for (from, to, about) in [
        (
            format!("{mean}6"),
            format!("{mean}5"),
            "series 5, figures of core crimp height, mean, value",
        ),
        (
            "<th scope=\"row\">19</th><td>16:00:11".into(),
            "<th scope=\"row\">19</th><td>16:00:10".into(),
            "series 5, reading 19 in the appendix, time",
        ),
    ] {
        let found = found(&report, &from, &to);
        assert_eq!(found.len(), 1, "{found:#?}");
        assert!(found[0].starts_with(about), "{found:#?}");
    }
    // a page with the appendix is no page without it
    let plain = made::whole(&two_axes_by_piece()).html();
    assert!(!differences(&plain, &report).is_empty());
}

#[test]
fn a_page_of_another_layout_cannot_be_compared() {
    let report = made::whole(&two_axes_by_piece());
    let other = tampered(&report.html(), "\"layout\":3,", "\"layout\":4,");
    let error = comparable(&how_made(&other).unwrap()).unwrap_err();
    assert_eq!(
        error.to_string(),
        "its layout is 4, want 3: no word or picture of it was compared"
    );
    assert!(error.remedy().contains("the page was changed"));
    let newer = other.replace("0.1.0", "0.2.0");
    let error = comparable(&how_made(&newer).unwrap()).unwrap_err();
    assert!(error.remedy().contains("the page names tallyjaw 0.2.0"));
    // this release makes no such page
    let found = told(&differences(&other, &report));
    assert_eq!(found, ["the data for programs, layout: 4 | 3"]);
}

#[test]
fn a_page_of_an_earlier_edition_says_what_to_do() {
    let report = made::whole(&two_axes_by_piece());
    let earlier = tampered(&report.html(), "\"layout\":3,", "\"layout\":1,");
    let error = comparable(&how_made(&earlier).unwrap()).unwrap_err();
    let remedy = error.remedy();
    assert!(
        remedy.contains("make the report again from the journal"),
        "{remedy}"
    );
}

#[test]
fn this_release_makes_its_layout() {
    assert!(RELEASES.contains(&env!("CARGO_PKG_VERSION")));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(cases(64)))]
    #[test]
    fn any_character_that_is_changed_is_found(place in 0usize..1_000_000, with in "[ -~]") {
        let report = made::whole(&two_axes_by_piece());
        let html = report.html();
        let places: Vec<(usize, char)> = html.char_indices().collect();
        let (at, c) = places[place % places.len()];
        prop_assume!(!with.starts_with(c));
        let changed = format!("{}{with}{}", &html[..at], &html[at + c.len_utf8()..]);
        prop_assert!(!differences(&changed, &report).is_empty());
    }
}
