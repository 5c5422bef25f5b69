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
    assert!(text.starts_with("a.html: parts from the journal in 1 place\n  the outcome\n    reported  REJECTED\n    journal   ACCEPTED\n"), "{text}");
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
        said(&verified).contains("see what is wrong with the journal itself"),
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
    let entries = two_axes_by_piece();
    let shop = shop(&entries[..entries.len() - 3]);
    assert_eq!(code(&run(&shop, &["report", "5", "-o", "a.html"])), 0);
    write(&shop, &entries);
    let verified = run(&shop, &["verify", "a.html"]);
    assert_eq!(code(&verified), 0, "{}", said(&verified));
    assert!(
        said(&verified).contains("of them about these series: make the report anew"),
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
    // the report of one series, as if the query had found it alone
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
            error(&other).contains("of what was asked for")
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
