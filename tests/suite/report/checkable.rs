//! Pages that hold the journal's lines, so that a reader's browser recomputes them. `tests/browser/checkable.mjs` does that
//! with every page that is made here.

use super::forged::no_change_is_unnoticed;
use super::made::{self, lines, two_axes_by_piece};
use super::pages;
use crate::golden;
use std::fs;
use std::path::{Path, PathBuf};
use tallyjaw::entry::Seq;
use tallyjaw::quantity::Zone;
use tallyjaw::report::comparison::{Compare, Group};
use tallyjaw::report::{Report, ReportRequest};

/// Where every checkable page is put, for `tests/browser/checkable.mjs`.
pub(super) fn folder() -> PathBuf {
    let folder = pages().join("checkable");
    fs::create_dir_all(&folder).unwrap();
    folder
}

/// The lines in a page, as its script reads them.
fn lines_in(page: &str) -> Vec<String> {
    let (_, behind) = page.split_once("id=\"journal-lines\"").unwrap();
    let (_, behind) = behind.split_once('>').unwrap();
    let (pre, _) = behind.split_once("</pre>").unwrap();
    let tag = regex::Regex::new("<[^>]*>").unwrap();
    let text = tag.replace_all(pre, "").replace("&lt;", "<");
    let text = text.replace("&gt;", ">").replace("&amp;", "&");
    text.lines().map(str::to_owned).collect()
}

#[test]
fn a_checkable_page_holds_the_lines_of_its_series_byte_for_byte() {
    for (name, entries) in made::cases() {
        let armed = entries.iter().find(|it| it.entry.kind() == "armed");
        let from = armed.unwrap().seq.0 - 1;
        for full in [false, true] {
            let page = made::checkable(&entries, |_| true, full).html();
            let kind = if full { "full.html" } else { "html" };
            fs::write(folder().join(format!("{name}.{kind}")), &page).unwrap();
            let want = lines(&entries).split_off(usize::try_from(from).unwrap());
            let want = want
                .into_iter()
                .map(|line| String::from_utf8(line).unwrap());
            let got = lines_in(&page);
            // what stops a series comes after its outcome, and is not about it
            let is_stopped = entries.last().unwrap().entry.kind() == "disarmed";
            let want: Vec<String> = want.take(got.len() + usize::from(!is_stopped)).collect();
            assert_eq!(got, want, "{name}");
        }
    }
    let page = made::checkable(&two_axes_by_piece(), |_| true, true).html();
    fs::write(pages().join("checkable.html"), &page).unwrap();
    golden::assert_same("report/checkable.html", &without_sources(&page));
}

/// The page with the name of each file of its script in place of its text: the policy has the SHA-256 of all of it.
fn without_sources(page: &str) -> String {
    let sources = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/report/checkable");
    let files = fs::read_dir(sources)
        .unwrap()
        .map(|file| file.unwrap().path());
    let scripts = files.filter(|path| path.extension().is_some_and(|kind| kind == "js"));
    scripts.fold(page.to_owned(), |page, path| {
        let text = fs::read_to_string(&path).unwrap();
        assert_eq!(page.matches(&text).count(), 1, "{}", path.display());
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        page.replace(&text, &format!("// src/report/checkable/{name}\n"))
    })
}

#[test]
fn a_page_with_groups_side_by_side_is_checkable_too() {
    let entries = made::several_series();
    for (name, full, reference) in [
        ("two_tools.html", false, None),
        ("two_tools.full.html", true, None),
        ("two_tools.reference.html", true, Some("R-02".to_owned())),
    ] {
        let gathered = made::gathered(&entries, |_| true);
        let asked = ReportRequest {
            lines: made::kept_lines(&gathered, &entries),
            compare: Some(Compare {
                by: Group::Tool,
                margin: Some("0.02 mm".parse().unwrap()),
                reference,
            }),
            full,
            ..made::request(Zone::UTC)
        };
        let page = Report::new(gathered, asked).html();
        assert!(page.contains("data-about=\"the sentence on core crimp height\""));
        fs::write(folder().join(name), page).unwrap();
    }
}

#[test]
fn no_text_and_no_attribute_of_a_checkable_page_can_be_changed_unnoticed() {
    let (_, entries) = made::cases().swap_remove(0);
    no_change_is_unnoticed(&made::checkable(&entries, |_| true, false).html(), &entries);
}

#[test]
fn a_page_says_of_which_others_it_holds_lines() {
    let entries = made::several_series();
    let ids: Vec<Seq> = entries
        .iter()
        .filter(|it| it.entry.kind() == "armed")
        .map(|it| it.seq)
        .collect();
    let (first, last) = (ids[0], *ids.last().unwrap());
    let page = made::checkable(&entries, |id| id == first || id == last, false).html();
    fs::write(folder().join("others.html"), &page).unwrap();
    assert!(
        page.contains("so there are also lines of: <bdi>series "),
        "named"
    );
    for id in &ids[1..ids.len() - 1] {
        assert!(page.contains(&format!("series {id} (")), "series {id}");
    }
    assert!(!page.contains(&format!("series {first} (")));
    let alone = made::checkable(&entries, |id| id == first, false).html();
    assert!(alone.contains("about nothing but the series above"));
}

#[test]
fn only_the_script_of_the_page_may_run_and_its_digest_is_in_the_policy() {
    let page = made::checkable(&two_axes_by_piece(), |_| true, false).html();
    let (_, script) = page
        .split_once("<script data-about=\"the script\">")
        .unwrap();
    let (script, behind) = script.split_once("</script>").unwrap();
    assert_eq!(behind.matches("<script").count(), 0);
    let digest = tallyjaw::entry::line::Digest::of(script.as_bytes());
    let coded = base64::Engine::encode(&base64::engine::general_purpose::STANDARD, digest.bytes());
    let policy = format!(
        "content=\"default-src &#39;none&#39;; style-src &#39;unsafe-inline&#39;; script-src &#39;sha256-{coded}&#39;\""
    );
    assert!(page.contains(&policy), "{policy}");
    let ordinary = made::whole(&two_axes_by_piece()).html();
    assert!(!ordinary.contains("script-src"));
}
