//! `tallyjaw report` and `tallyjaw verify REPORT`, the built program.

use super::made::{lines, several_series, two_axes_by_piece};
use crate::harness::Shop;
use serde_json::Value;
use std::fs;
use std::process::Output;
use tallyjaw::entry::Stamped;

fn shop(entries: &[Stamped]) -> Shop {
    let shop = Shop::new();
    fs::create_dir_all(shop.path("state/journal")).unwrap();
    write(&shop, entries);
    shop
}

fn write(shop: &Shop, entries: &[Stamped]) {
    let mut journal = lines(entries).join(&b'\n');
    journal.push(b'\n');
    fs::write(shop.path("state/journal/00000001.jsonl"), journal).unwrap();
}

/// Runs it in the folder of the shop.
fn run(shop: &Shop, arguments: &[&str]) -> Output {
    let mut command = shop.tallyjaw(arguments);
    command.current_dir(shop.dir.path()).output().unwrap()
}

fn code(output: &Output) -> i32 {
    output.status.code().unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn error(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn a_report_is_made_and_verified() {
    let shop = shop(&two_axes_by_piece());
    let made = run(&shop, &["report", "5", "-o", "evidence.html"]);
    assert_eq!(code(&made), 0, "{}", error(&made));
    assert!(
        said(&made).contains("series 5: ACCEPTED"),
        "{}",
        said(&made)
    );
    let verified = run(&shop, &["verify", "evidence.html"]);
    assert_eq!(code(&verified), 0, "{}", said(&verified));
    assert!(
        said(&verified).contains("agrees with the journal"),
        "{}",
        said(&verified)
    );
    let state = shop.path("state");
    let there = run(
        &shop,
        &[
            "verify",
            "evidence.html",
            "--state-dir",
            state.to_str().unwrap(),
        ],
    );
    assert_eq!(code(&there), 0, "{}", said(&there));
}

#[test]
fn to_a_pipe_the_page_goes_as_it_is() {
    let shop = shop(&two_axes_by_piece());
    let piped = run(&shop, &["report"]);
    assert!(said(&piped).starts_with("<!DOCTYPE html>\n<!-- report of tallyjaw -->"));
    let named = run(&shop, &["report", "5", "-o", "-"]);
    assert!(said(&named).ends_with("</html>\n"));
    let json = run(&shop, &["report", "5", "--json"]);
    let line: Value = serde_json::from_str(&said(&json)).unwrap();
    assert_eq!(line["series"], serde_json::json!([5]));
    assert!(shop.path("series-5.html").is_file());
}

/// A stand-in for a browser: keeps what it was called with, and prints a PDF.
const STAND_IN: &str = r#"#!/bin/sh
printf '%s\n' "$@" > "$(dirname "$0")/arguments"
for one in "$@"; do
    case "$one" in --print-to-pdf=*) printf '%%PDF-1.7\n' > "${one#*=}" ;; esac
done
"#;

#[test]
fn a_pdf_is_printed_by_a_browser_that_keeps_its_sandbox_and_reaches_no_network() {
    use std::os::unix::fs::PermissionsExt as _;
    let shop = shop(&two_axes_by_piece());
    let arguments = ["report", "5", "--pdf", "-o", "a.html"];
    let by = |path: &str| {
        let mut command = shop.tallyjaw(&arguments);
        let command = command.current_dir(shop.dir.path()).env("PATH", path);
        command.output().unwrap()
    };
    let none = by("/nonexistent");
    assert_eq!(code(&none), 2, "{}", error(&none));
    assert!(
        error(&none).contains("install chromium"),
        "{}",
        error(&none)
    );
    fs::create_dir(shop.path("bin")).unwrap();
    fs::write(shop.path("bin/chromium"), STAND_IN).unwrap();
    let executable = fs::Permissions::from_mode(0o755);
    fs::set_permissions(shop.path("bin/chromium"), executable).unwrap();
    let path = format!("{}:/usr/bin:/bin", shop.path("bin").display());
    let made = by(&path);
    assert_eq!(code(&made), 0, "{}", error(&made));
    assert!(said(&made).contains("a.pdf"), "{}", said(&made));
    assert!(fs::read(shop.path("a.pdf")).unwrap().starts_with(b"%PDF"));
    let called = fs::read_to_string(shop.path("bin/arguments")).unwrap();
    assert!(!called.contains("no-sandbox"), "{called}");
    assert!(called.contains("--host-resolver-rules=MAP * ~NOTFOUND"));
    let data = called
        .lines()
        .find_map(|line| line.strip_prefix("--user-data-dir="));
    let folder = std::path::Path::new(data.unwrap()).parent().unwrap();
    assert!(!folder.exists(), "{} is left behind", folder.display());
    fs::write(shop.path("a.pdf"), "mine").unwrap();
    fs::remove_file(shop.path("a.html")).unwrap();
    assert_eq!(code(&by(&path)), 2);
    assert_eq!(fs::read_to_string(shop.path("a.pdf")).unwrap(), "mine");
    assert!(!shop.path("a.html").exists(), "nothing is written");
}

#[test]
fn a_file_that_is_named_as_a_pdf_gets_a_pdf_or_nothing() {
    use std::os::unix::fs::PermissionsExt as _;
    let shop = shop(&two_axes_by_piece());
    let by = |path: &str, arguments: &[&str]| {
        let mut command = shop.tallyjaw(arguments);
        let command = command.current_dir(shop.dir.path()).env("PATH", path);
        command.output().unwrap()
    };
    let files = || {
        let all = fs::read_dir(shop.dir.path()).unwrap();
        let names = all.map(|file| file.unwrap().file_name().into_string().unwrap());
        let mut names: Vec<String> = names.filter(|name| name.starts_with("x.")).collect();
        names.sort();
        names
    };
    let no_pdf = by("/usr/bin:/bin", &["report", "5", "-o", "x.pdf"]);
    assert_eq!(code(&no_pdf), 2, "{}", error(&no_pdf));
    let told = error(&no_pdf);
    assert!(
        told.contains("x.pdf is named as a PDF, and the page is HTML"),
        "{told}"
    );
    assert!(told.contains("--pdf; or name an HTML file: --out x.html"));
    for arguments in [
        ["report", "5", "--pdf", "-o", "x.pdf"],
        ["report", "5", "--pdf", "-o", "x.html"],
    ] {
        let none = by("/nonexistent", &arguments);
        assert_eq!(code(&none), 2, "{}", error(&none));
        assert!(
            error(&none).contains("install chromium"),
            "{}",
            error(&none)
        );
    }
    assert_eq!(files(), [""; 0], "nothing is written");
    fs::create_dir(shop.path("bin")).unwrap();
    fs::write(shop.path("bin/chromium"), STAND_IN).unwrap();
    let executable = fs::Permissions::from_mode(0o755);
    fs::set_permissions(shop.path("bin/chromium"), executable).unwrap();
    let path = format!("{}:/usr/bin:/bin", shop.path("bin").display());
    let made = by(&path, &["report", "5", "--pdf", "-o", "x.pdf"]);
    assert_eq!(code(&made), 0, "{}", error(&made));
    assert_eq!(files(), ["x.pdf"], "what was asked for alone");
    assert!(fs::read(shop.path("x.pdf")).unwrap().starts_with(b"%PDF"));
    assert!(said(&made).contains("x.pdf\n"), "{}", said(&made));
    assert!(!said(&made).contains("tallyjaw verify"), "{}", said(&made));
}

#[test]
fn a_checkable_report_warns_of_the_lines_of_others_that_it_holds() {
    let shop = shop(&several_series());
    let one = run(&shop, &["report", "5", "--checkable", "-o", "one.html"]);
    assert_eq!(code(&one), 0, "{}", error(&one));
    assert_eq!(error(&one), "", "its own lines alone");
    let two = ["report", "5", "25", "--checkable", "-o", "two.html"];
    let two = run(&shop, &two);
    assert_eq!(code(&two), 0, "{}", error(&two));
    let told = error(&two);
    assert!(
        told.starts_with(
            "warning: the page holds lines of others too, since a chain has no gaps: series 15 ("
        ),
        "{told}"
    );
    assert!(
        told.contains("\nhelp: hand it on only if its reader may see them; without --checkable the page has no lines\n"),
        "{told}"
    );
    let plain = run(&shop, &["report", "5", "25", "-o", "plain.html"]);
    assert_eq!(error(&plain), "", "no lines, no warning");
}

#[test]
fn a_tampered_report_is_told_apart_with_exit_code_1() {
    let shop = shop(&two_axes_by_piece());
    assert_eq!(code(&run(&shop, &["report", "5", "-o", "a.html"])), 0);
    let page = fs::read_to_string(shop.path("a.html")).unwrap();
    fs::write(
        shop.path("a.html"),
        page.replacen(">ACCEPTED<", ">REJECTED<", 1),
    )
    .unwrap();
    let verified = run(&shop, &["verify", "a.html"]);
    assert_eq!(code(&verified), 1);
    let text = said(&verified);
    assert!(text.starts_with("a.html: differs from the journal in 1 place\n  the outcome\n    reported  REJECTED\n    journal   ACCEPTED\n"), "{text}");
    let json = run(&shop, &["verify", "a.html", "--json"]);
    let line: Value = serde_json::from_str(&said(&json)).unwrap();
    assert_eq!((code(&json), &line["agrees"]), (1, &Value::Bool(false)));
    assert_eq!(line["differences"][0]["journal"], "ACCEPTED");
}

#[test]
fn a_tampered_journal_is_told_apart_too() {
    let entries = two_axes_by_piece();
    let shop = shop(&entries);
    assert_eq!(code(&run(&shop, &["report", "5", "-o", "a.html"])), 0);
    let path = shop.path("state/journal/00000001.jsonl");
    let journal = fs::read_to_string(&path).unwrap();
    assert!(journal.contains("\"value_nm\":1630000"));
    fs::write(
        &path,
        journal.replacen("\"value_nm\":1630000", "\"value_nm\":1620000", 1),
    )
    .unwrap();
    let verified = run(&shop, &["verify", "a.html"]);
    assert_eq!(code(&verified), 1);
    assert!(
        said(&verified).contains("find the fault of the journal"),
        "{}",
        said(&verified)
    );
}

#[test]
fn a_report_of_another_journal_says_so() {
    let shop = shop(&two_axes_by_piece());
    assert_eq!(code(&run(&shop, &["report", "5", "-o", "a.html"])), 0);
    let page = fs::read_to_string(shop.path("a.html")).unwrap();
    fs::write(
        shop.path("b.html"),
        page.replace(&"0".repeat(32), &"1".repeat(32)),
    )
    .unwrap();
    let verified = run(&shop, &["verify", "b.html"]);
    assert_eq!(code(&verified), 1);
    assert!(
        said(&verified).contains("the journal\n    reported  1111"),
        "{}",
        said(&verified)
    );
}

#[test]
fn a_report_stays_true_while_the_journal_grows() {
    let entries = several_series();
    let first = entries
        .iter()
        .position(|stamped| stamped.entry.kind() == "completed")
        .unwrap();
    let shop = shop(&entries[..=first]);
    assert_eq!(code(&run(&shop, &["report", "5", "-o", "a.html"])), 0);
    assert_eq!(
        code(&run(&shop, &["report", "--tool", "T-07", "-o", "b.html"])),
        0
    );
    write(&shop, &entries);
    for file in ["a.html", "b.html"] {
        let verified = run(&shop, &["verify", file]);
        assert_eq!(code(&verified), 0, "{}", said(&verified));
        assert!(
            said(&verified).contains("more entries, none about these series"),
            "{}",
            said(&verified)
        );
    }
}

#[test]
fn what_was_said_of_an_open_series_since_is_told() {
    let mut entries = two_axes_by_piece();
    let after = entries.len() - 3;
    for stamped in &mut entries[after..] {
        stamped.at.0 += 100 * 365 * 86_400_000_000; // after the report was made
    }
    let shop = shop(&entries[..entries.len() - 3]);
    assert_eq!(code(&run(&shop, &["report", "5", "-o", "a.html"])), 0);
    write(&shop, &entries);
    let verified = run(&shop, &["verify", "a.html"]);
    assert_eq!(code(&verified), 0, "{}", said(&verified));
    assert!(
        said(&verified).contains("of them about these series: make the report again"),
        "{}",
        said(&verified)
    );
}

#[test]
fn a_series_that_the_choice_leaves_out_is_found() {
    let shop = shop(&several_series());
    assert_eq!(
        code(&run(&shop, &["report", "--tool", "T-07", "-o", "a.html"])),
        0
    );
    assert_eq!(code(&run(&shop, &["report", "5", "-o", "b.html"])), 0);
    // the report of one series, as if the query had found only that
    let one = fs::read_to_string(shop.path("b.html")).unwrap();
    let chosen = one.replacen("\"query\":[]", "\"query\":[[\"--tool\",\"T-07\"]]", 1);
    fs::write(shop.path("b.html"), chosen).unwrap();
    let verified = run(&shop, &["verify", "b.html"]);
    assert_eq!(code(&verified), 1);
    assert!(
        said(&verified).contains("which is of what the report was chosen by"),
        "{}",
        said(&verified)
    );
}

/// A page changed everywhere at once, as someone with the program could.
fn forged(shop: &Shop, page: &str, by: &[(&str, &str)]) -> (i32, String, Value) {
    let mut forged = page.to_owned();
    for (from, to) in by {
        assert!(forged.contains(from), "{from} is not in the page");
        forged = forged.replace(from, to);
    }
    fs::write(shop.path("forged.html"), forged).unwrap();
    let text = run(shop, &["verify", "forged.html"]);
    let json = run(shop, &["verify", "forged.html", "--json"]);
    assert_eq!(code(&text), code(&json));
    let line: Value = serde_json::from_str(&said(&json)).unwrap();
    (code(&text), said(&text), line)
}

#[test]
fn a_report_that_cannot_be_compared_is_not_verified() {
    let shop = shop(&two_axes_by_piece());
    assert_eq!(code(&run(&shop, &["report", "5", "-o", "a.html"])), 0);
    let page = fs::read_to_string(shop.path("a.html")).unwrap();
    let layout = ("\"layout\":3,", "\"layout\":4,");
    let (code, text, json) = forged(&shop, &page, &[layout, (">ACCEPTED<", ">REJECTED<")]);
    assert_eq!((code, &json["agrees"]), (1, &Value::Bool(false)));
    assert_eq!(json["compared"], Value::Bool(false));
    assert_eq!(
        text,
        "forged.html: not verified: its layout is 4, want 3: no word or picture of it was compared\nhelp: the page names tallyjaw 0.1.0, which makes layout 3: the page was changed; get the report again\n"
    );
}

#[test]
fn the_release_that_a_report_names_is_one_that_makes_it() {
    let shop = shop(&two_axes_by_piece());
    assert_eq!(code(&run(&shop, &["report", "5", "-o", "a.html"])), 0);
    let page = fs::read_to_string(shop.path("a.html")).unwrap();
    let (code, text, json) = forged(&shop, &page, &[("0.1.0", "9.9.9")]);
    assert_eq!((code, &json["agrees"]), (1, &Value::Bool(false)));
    assert!(
        text.contains("the release, of layout 3\n    reported  9.9.9"),
        "{text}"
    );
    let (code, text, json) = forged(&shop, &page, &[]);
    assert_eq!((code, &json["agrees"]), (0, &Value::Bool(true)));
    assert!(text.contains("  not in the journal: when the report was made (20"));
    assert!(
        text.contains(
            "), which release made it (0.1.0), the zone of its times and its offset from UTC (+0"
        ),
        "{text}"
    );
    assert_eq!(json["not_vouched_for"][1]["reported"], "0.1.0");
}

#[test]
fn a_report_that_says_it_was_made_earlier_or_later_than_its_entries_allow_is_found() {
    let entries = two_axes_by_piece();
    let shop = shop(&entries[..entries.len() - 3]);
    assert_eq!(code(&run(&shop, &["report", "5", "-o", "a.html"])), 0);
    let page = fs::read_to_string(shop.path("a.html")).unwrap();
    let at = page.find("\"made\":\"").unwrap() + 8;
    let made = &page[at..at + page[at..].find('"').unwrap()];
    let (_, shown) = page.split_once("Report made</dt><dd>").unwrap();
    let shown = &shown[..19];
    let before = [
        (made, "2001-01-01T00:00:00.000000Z"),
        (shown, "2001-01-01 01:00:00"),
    ];
    let (code, text, _) = forged(&shop, &page, &before);
    assert_eq!(code, 1);
    assert!(text.contains("not before its last entry"), "{text}");
    // later entries are about its series, and the page claims to be made after them
    write(&shop, &entries);
    let after = [
        (made, "2031-01-01T00:00:00.000000Z"),
        (shown, "2031-01-01 01:00:00"),
    ];
    let (code, text, _) = forged(&shop, &page, &after);
    assert_eq!(code, 1);
    assert!(text.contains("that was there before is left out"), "{text}");
}

#[test]
fn the_times_of_a_report_are_local_where_it_was_made_and_are_verified_in_any_zone() {
    let shop = shop(&two_axes_by_piece());
    let zoned = |zone: &str, arguments: &[&str]| {
        let mut command = shop.tallyjaw(arguments);
        let command = command.current_dir(shop.dir.path()).env("TZ", zone);
        command.output().unwrap()
    };
    let made = zoned("IST-5:30", &["report", "5", "-o", "a.html"]);
    assert_eq!(code(&made), 0, "{}", error(&made));
    let page = fs::read_to_string(shop.path("a.html")).unwrap();
    assert!(page.contains("<dt>Opened</dt><dd>2025-11-24 21:30:00 +05:30</dd>"));
    for zone in ["UTC0", "IST-5:30", "CET-1CEST,M3.5.0,M10.5.0/3"] {
        let verified = zoned(zone, &["verify", "a.html"]);
        assert_eq!(code(&verified), 0, "{zone}: {}", said(&verified));
        assert!(said(&verified).contains("the zone of its times and its offset from UTC (+05:30)"));
    }
    let (code, text, _) = forged(&shop, &page, &[(" 21:30:00 +05:30", " 21:30:00 +06:30")]);
    assert_eq!(code, 1, "{text}");
    let (code, text, _) = forged(&shop, &page, &[(",19800]", ",23400]")]);
    assert_eq!(code, 1, "{text}");
    // Offsets and texts together: no zone is a day from UTC; what remains is named, and beside every time.
    let day = [(",19800]", ",86400]"), ("+05:30", "+24:00")];
    let (code, text, _) = forged(&shop, &page, &day);
    assert_eq!(code, 1, "{text}");
}

#[test]
fn a_query_that_a_report_was_not_chosen_by_is_found() {
    let shop = shop(&several_series());
    assert_eq!(
        code(&run(&shop, &["report", "--tool", "T-07", "-o", "a.html"])),
        0
    );
    let page = fs::read_to_string(shop.path("a.html")).unwrap();
    let query = |query: &str| format!("\"query\":{query}");
    let was = query("[[\"--tool\",\"T-07\"]]");
    for (says, now, about) in [
        (
            "--terminal XX",
            "[[\"--terminal\",\"XX\"]]",
            "which is not of what the report was chosen by",
        ),
        (
            "--nobody T-07",
            "[[\"--nobody\",\"T-07\"]]",
            "chosen by: options that this release does not know",
        ),
        (
            "T-07 --tool",
            "[[\"T-07\",\"--tool\"]]",
            "chosen by: options that this release does not know",
        ),
    ] {
        let now = query(now);
        let (code, text, json) = forged(&shop, &page, &[("--tool T-07", says), (&was, &now)]);
        assert_eq!((code, &json["agrees"]), (1, &Value::Bool(false)), "{text}");
        assert!(text.contains(about), "{text}");
    }
}

#[test]
fn a_comparison_is_made_and_verified() {
    let shop = shop(&several_series());
    let arguments = [
        "report",
        "--terminal",
        "QF-250-F",
        "--compare",
        "tool",
        "--margin",
        "0.02 mm",
        "-o",
        "a.html",
    ];
    let made = run(&shop, &arguments);
    assert_eq!(code(&made), 0, "{}", error(&made));
    assert!(
        said(&made).contains("the mean of R-02 lies"),
        "{}",
        said(&made)
    );
    assert_eq!(code(&run(&shop, &["verify", "a.html"])), 0);
    let one = run(&shop, &["report", "5", "--compare", "tool"]);
    assert_eq!(
        (
            code(&one),
            error(&one).contains("all these readings are of one tool")
        ),
        (2, true)
    );
    let none = run(
        &shop,
        &["report", "--compare", "tool", "--reference", "T-70"],
    );
    assert_eq!((code(&none), error(&none).contains("T-07")), (2, true));
}

#[test]
fn wrong_use_has_exit_code_2_and_a_remedy() {
    let shop = shop(&two_axes_by_piece());
    let none = run(&shop, &["report", "99"]);
    assert_eq!(code(&none), 2);
    assert_eq!(
        error(&none),
        "error: no series 99 in this journal\nhelp: there are 5; list them: tallyjaw series\n"
    );
    let other = run(&shop, &["report", "5", "--terminal", "RB-090-M"]);
    assert_eq!(
        (
            code(&other),
            error(&other).contains("no series in the journal matches these options")
        ),
        (2, true)
    );
    shop.write("mine.html", "<p>mine</p>");
    let kept = run(&shop, &["report", "5", "-o", "mine.html"]);
    assert_eq!(
        (
            code(&kept),
            error(&kept).contains("is no report of tallyjaw")
        ),
        (2, true)
    );
    let foreign = run(&shop, &["verify", "mine.html"]);
    assert_eq!(
        (
            code(&foreign),
            error(&foreign).contains("this is no report of tallyjaw")
        ),
        (2, true)
    );
    let nowhere = run(&shop, &["report", "5", "-o", "none/a.html"]);
    assert_eq!(
        (
            code(&nowhere),
            error(&nowhere).contains("cannot write none/a.html")
        ),
        (4, true)
    );
}
