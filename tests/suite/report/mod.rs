//! Reports: the page, and the detection of changes in it.

mod checkable;
mod checked;
mod command;
mod forged;
pub(crate) mod made;
mod of_a_run;
mod pictured;
mod signed;

use crate::golden;
use std::fs;
use std::path::PathBuf;
use tallyjaw::report::check::differences;

/// Where every page of these tests is put, for `tests/browser/run`.
fn pages() -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("report");
    fs::create_dir_all(&folder).unwrap();
    folder
}

#[test]
fn every_page_reads_as_it_was_written() {
    for (name, entries) in made::cases() {
        let page = made::whole(&entries).html();
        fs::write(pages().join(format!("{name}.html")), &page).unwrap();
        if !name.starts_with("thousand") {
            let full = made::in_full(&entries).html();
            fs::write(pages().join(format!("{name}.full.html")), &full).unwrap();
        }
        if !name.ends_with("_pieces") {
            golden::assert_same(&format!("report/{name}.html"), &page);
        }
    }
}

#[test]
fn the_letterhead_and_the_papers_of_the_caliper_stand_on_the_page() {
    let page = made::with_letterhead(&made::with_papers()).html();
    fs::write(pages().join("with_letterhead.html"), &page).unwrap();
    golden::assert_same("report/with_letterhead.html", &page);
    let several = made::with_letterhead(&made::several_series()).html();
    fs::write(pages().join("several_with_letterhead.html"), &several).unwrap();
    assert_eq!(several.matches("<img").count(), 1, "on the cover alone");
    let names = several.matches("<bdi>Example Harness Shop</bdi>").count();
    assert_eq!(names, 5, "on the cover and on each of four sheets");
}

const VOUCHED: &str = "was followed by a good zero";

#[test]
fn a_note_after_the_outcome_is_on_the_page_of_that_series_alone() {
    let entries = made::noted_after_the_outcome();
    let id = |nth: usize| {
        let mut armed = entries.iter().filter(|it| it.entry.kind() == "armed");
        armed.nth(nth).unwrap().seq
    };
    let page = |id| made::report(&entries, |series| series == id, None).html();
    assert!(page(id(0)).contains("the last strand was nicked"));
    assert!(!page(id(1)).contains("the last strand was nicked"));
}

/// Such a value is entered as an off zero now; in older journals it is among the readings.
#[test]
fn a_page_does_not_say_that_a_good_zero_followed_where_a_value_near_zero_came_between() {
    let (entries, seq) = made::a_value_near_zero_before_the_closing_zero();
    let page = made::whole(&entries).html();
    assert!(!page.contains(VOUCHED));
    let said = format!("A zero of caliper-1 that was off, 0.05 mm at entry {seq}, came between");
    assert!(page.contains(&said), "{said}");
}

#[test]
fn a_page_says_that_a_good_zero_followed_where_an_off_one_took_what_was_before_it() {
    let page = made::whole(&made::two_axes_by_piece()).html();
    assert!(page.contains(VOUCHED));
}

#[test]
fn the_job_its_customer_and_the_lots_stand_on_the_sheet() {
    let report = made::whole(&made::of_a_job());
    let page = report.html();
    for (word, said) in [
        ("Job", "4711"),
        ("Customer", "Hof &amp; Söhne"),
        ("Terminal lot", "reel 12"),
    ] {
        let stands = format!("<dt>{word}</dt><dd><bdi>{said}</bdi></dd>");
        assert!(page.contains(&stands), "{stands}");
    }
    let other = page.replace("Söhne", "Tochter");
    assert!(!differences(&other, &report).is_empty());
}

#[test]
fn a_comparison_has_the_sentence_of_the_study_on_top() {
    let page = made::two_tools().html();
    fs::write(pages().join("two_tools.html"), &page).unwrap();
    golden::assert_same("report/two_tools.html", &page);
    let sentence = "The mean of R-02 lies 0.027 mm above that of T-07";
    let (before, _) = page.split_once(sentence).expect("the sentence");
    assert!(!before.contains("<table"), "it stands in the head");
}

#[test]
fn a_hundred_pieces_are_under_300_kb() {
    let page = made::whole(&made::many_pieces(100)).html();
    assert!(page.len() < 300_000, "{} bytes", page.len());
}

#[test]
fn a_page_has_nothing_that_runs_or_comes_from_elsewhere() {
    for (name, entries) in made::cases() {
        let page = made::whole(&entries).html();
        let scripts: Vec<&str> = page
            .match_indices("<script")
            .map(|(at, _)| &page[at..at + 31])
            .collect();
        assert_eq!(scripts, ["<script type=\"application/json\""], "{name}");
        let attributes: Vec<&str> = page
            .split(['<', '>'])
            .filter(|part| part.contains("=\""))
            .flat_map(|tag| tag.split('"').step_by(2))
            .map(|before| before.rsplit(' ').next().unwrap().trim_end_matches('='))
            .collect();
        for banned in ["src", "style", "onerror", "onclick", "srcset", "action"] {
            assert!(!attributes.contains(&banned), "{name}: {banned}");
        }
        for (at, _) in page.match_indices("href=\"") {
            assert_eq!(&page[at + 6..at + 7], "#", "{name}");
        }
        assert!(
            !page.contains("url(") && !page.contains("@import"),
            "{name}"
        );
    }
}

#[test]
fn names_full_of_markup_stay_names() {
    let (_, entries) = made::cases()
        .into_iter()
        .find(|(name, _)| *name == "hostile_names")
        .unwrap();
    let page = made::whole(&entries).html();
    for markup in ["<img", "<i>", "<b>", "<!-- sheet", "-->\n<", "<style>*"] {
        let count = page.matches(markup).count();
        assert_eq!(count, usize::from(markup == "-->\n<"), "{markup}");
    }
    for turns in ['\u{202e}', '\u{2066}'] {
        assert!(!page.contains(turns), "{turns:?}");
    }
    assert!(page.contains("<bdi>דנה \\u{202e}&lt;i&gt;لیلا&lt;/i&gt;</bdi>"));
}
