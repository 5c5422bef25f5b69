//! `tallyjaw verify EXPORT`: files that were tampered with, cut, saved anew by other programs, or are none.

use crate::export::{EVERY_KIND, Folder};
use crate::golden;
use serde_json::Value;
use std::fmt::Write as _;
use std::fs;

/// What `verify` says of a file with this text, and its exit code.
fn verified(folder: &Folder, name: &str, text: impl AsRef<[u8]>) -> (Option<i32>, String) {
    fs::write(folder.path(name), text).unwrap();
    let output = folder.run(&["verify", name]);
    assert_eq!(String::from_utf8_lossy(&output.stderr), "", "{name}");
    (
        output.status.code(),
        String::from_utf8(output.stdout).unwrap(),
    )
}

fn table(folder: &Folder) -> String {
    folder.text(&["export", "csv"])
}

#[test]
fn whatever_was_asked_for_an_export_agrees_with_its_journal() {
    const QUESTIONS: [&[&str]; 12] = [
        &[],
        &["7"],
        &["30", "55"],
        &["--axis", "pull_force"],
        &["--operator", "jon"],
        &["--purpose", "verification"],
        &["--station", "bench-1"],
        &["--instrument", "caliper-1"],
        &["--since", "2025-11-24T16:10:20Z"],
        &[
            "--since",
            "2025-11-24T16:00:07Z",
            "--until",
            "2025-11-24T17:10:31Z",
        ],
        &["--tool", "R-02"],
        &["--since-last", "mes"],
    ];
    for kept in [EVERY_KIND, "V1_A_SHORT_SERIES"] {
        let folder = Folder::with(kept);
        for (nth, question) in QUESTIONS.iter().enumerate() {
            for form in ["csv", "jsonl", "parquet"] {
                let name = format!("{nth}.{form}");
                if folder
                    .run(&[&["export", form, "-o", &name], *question].concat())
                    .status
                    .success()
                    && fs::metadata(folder.path(&name)).unwrap().len() > 0
                {
                    let said = folder.text(&["verify", &name]);
                    let agrees = said.contains(": agrees with the journal in all of its ")
                        || said.contains(": has no ");
                    assert!(agrees, "{question:?}: {said}");
                }
            }
        }
        let counted = folder.text(&["export", "csv", "--counted"]);
        assert_eq!(verified(&folder, "counted.csv", counted).0, Some(0));
        let lines = folder.text(&["verify", "0.jsonl"]);
        assert!(
            lines.contains("agrees with the journal in all of its "),
            "{lines}"
        );
    }
}

#[test]
fn what_was_tampered_with_is_named_with_its_row() {
    let folder = Folder::with(EVERY_KIND);
    let whole = table(&folder);
    let mut all = String::new();
    for (from, to) in [
        ("1.72,mm,1.72", "1.66,mm,1.66"),
        ("fail_low,counted", "pass,counted"),
        ("pass,doubted", "pass,counted"),
        (",180,,,pass", ",170,,,pass"),
        (",10,2025-11-24T16:00:05", ",10,2025-11-25T16:00:05"),
        (",10,2025", ",15,2025"),
        (",10,2025", ",99,2025"),
        (",10,2025", ",ten,2025"),
        ("caliper-1,jon", "caliper-1,mara"),
        (",pass,counted,\r\n", ",pass,counted\r\n"),
    ] {
        assert!(whole.contains(from), "{from}");
        let (code, said) = verified(&folder, "changed.csv", whole.replacen(from, to, 1));
        assert_eq!(code, Some(1), "{said}");
        let _ = write!(all, "{from:?} became {to:?}\n{said}\n");
    }
    let lines = folder.text(&["export", "jsonl"]);
    for (from, to) in [
        (r#""text":"#, r#""text": "#),
        (r#""upper_nm":1670000"#, r#""upper_nm":1770000"#),
        (r#""verdict":"fail_low""#, r#""verdict":"pass""#),
        (r#""seq":14,"#, r#""seq":114,"#),
    ] {
        assert!(lines.contains(from), "{from}");
        let (code, said) = verified(&folder, "changed.jsonl", lines.replacen(from, to, 1));
        assert_eq!(code, Some(1), "{said}");
        let _ = write!(all, "{from:?} became {to:?}\n{said}\n");
    }
    golden::assert_same("export/verify_tampered.txt", &all);
}

#[test]
fn rows_and_lines_that_are_missing_or_told_twice_are_named() {
    let folder = Folder::with(EVERY_KIND);
    let mut all = String::new();
    for form in ["csv", "jsonl"] {
        let whole = folder.text(&["export", form]);
        let mut lines: Vec<&str> = whole.split_inclusive('\n').collect();
        let gone = lines.remove(5);
        assert!(gone.contains("bench-1"), "{gone}");
        lines.push(lines[3]);
        let (code, said) = verified(&folder, &format!("cut.{form}"), lines.concat());
        assert_eq!(code, Some(1), "{said}");
        all.push_str(&said);
    }
    // at the end of a series, where a question may have ended too
    let whole = folder.text(&["export", "csv", "7"]);
    let short: Vec<&str> = whole.split_inclusive('\n').collect();
    let short = short[..short.len() - 1].concat();
    let (code, said) = verified(&folder, "short.csv", short);
    assert_eq!(code, Some(0), "{said}");
    all.push_str(&said);
    let output = folder.run(&["verify", "--whole", "short.csv"]);
    assert_eq!(output.status.code(), Some(1));
    all.push_str(std::str::from_utf8(&output.stdout).unwrap());
    // a series that is nowhere in the file may not have been asked for
    let whole = table(&folder);
    let without = whole
        .split_inclusive('\n')
        .filter(|row| !row.contains(",pull_force,"));
    let (code, said) = verified(&folder, "without.csv", without.collect::<String>());
    assert_eq!(code, Some(0), "{said}");
    all.push_str(&said);
    let first = whole.split_inclusive('\n').next().unwrap();
    let (code, said) = verified(&folder, "heading.csv", first);
    assert_eq!(code, Some(0), "{said}");
    all.push_str(&said);
    golden::assert_same("export/verify_cut.txt", &all);
}

#[test]
fn a_typed_table_made_from_a_changed_journal_does_not_pass() {
    let folder = Folder::with(EVERY_KIND);
    let journal = folder.path("state/journal");
    let first = fs::read_dir(&journal)
        .unwrap()
        .map(|item| item.unwrap().path())
        .min()
        .unwrap();
    let kept = fs::read_to_string(&first).unwrap();
    fs::write(
        &first,
        kept.replace(
            r#""value_nm":1580000,"value":1.58"#,
            r#""value_nm":1590000,"value":1.59"#,
        ),
    )
    .unwrap();
    folder.text(&["export", "parquet", "-o", "a.parquet"]);
    let output = folder.run(&["verify", "a.parquet"]);
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(
        said.contains("agrees with the journal in all of its 16 rows"),
        "{said}"
    );
    assert!(
        said.contains("see what is wrong with the journal itself"),
        "{said}"
    );
    assert_eq!(output.status.code(), Some(1));
    fs::write(&first, &kept).unwrap();
    let output = folder.run(&["verify", "a.parquet", "--json"]);
    assert_eq!(output.status.code(), Some(1));
    let told: Value = serde_json::from_slice(&output.stdout).unwrap();
    let parts = told["differences"].as_array().unwrap();
    let parts: Vec<(u64, &str, &str)> = parts
        .iter()
        .map(|part| {
            assert_eq!(part["row"], 1);
            let text = |key: &str| part[key].as_str().unwrap();
            (
                part["seq"].as_u64().unwrap(),
                text("about"),
                text("exported"),
            )
        })
        .collect();
    assert_eq!(
        parts,
        [(10, "value_mm", "1.59"), (10, "value_nm", "1590000")]
    );
    let mut bytes = fs::read(folder.path("a.parquet")).unwrap();
    bytes.truncate(bytes.len() / 2);
    fs::write(folder.path("half.parquet"), bytes).unwrap();
    let (code, said) = folder.refusal(&["verify", "half.parquet"]);
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("a Parquet file that is not whole"), "{said}");
}

#[test]
fn a_table_that_a_spreadsheet_saved_anew_is_the_same_table() {
    let folder = Folder::with(EVERY_KIND);
    let whole = table(&folder);
    let mut rows: Vec<Vec<String>> = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(whole.as_bytes())
        .records()
        .map(|row| row.unwrap().iter().map(str::to_owned).collect())
        .collect();
    let decimals = ["value", "value_mm", "lower_n", "wire_mm2"];
    let at: Vec<usize> = (0..rows[0].len())
        .filter(|at| decimals.contains(&rows[0][*at].as_str()))
        .collect();
    rows[1..].reverse();
    for row in &mut rows[1..] {
        for at in &at {
            // as where the point is a comma, and numbers end with no zero
            let short = if row[*at].contains('.') {
                row[*at].trim_end_matches('0').trim_end_matches('.')
            } else {
                &row[*at]
            };
            row[*at] = short.replace('.', ",");
        }
    }
    for row in &mut rows {
        row.reverse();
    }
    rows[0].push("remark".to_owned());
    for row in &mut rows[1..] {
        row.push("seen, me".to_owned());
    }
    rows.push(vec![String::new(); rows[0].len()]);
    let quoted = rows
        .iter()
        .map(|row| format!("\"{}\"\r\n", row.join("\";\"")));
    let text = format!("\u{feff}{}", quoted.collect::<String>());
    let (code, said) = verified(&folder, "saved.csv", &text);
    assert_eq!(
        (code, said.as_str()),
        (
            Some(0),
            "saved.csv: agrees with the journal in all of its 16 rows\n  journal   6814b0e9a47a0bfe0bca7458a8c99463, up to entry 62\n  chain     intact, 16 verdicts judged again\n  columns   not compared, since no export has them: remark\n  since     1 entry behind the last one here\n"
        )
    );
    let (code, said) = verified(&folder, "saved.csv", text.replacen("1,63", "1,67", 1));
    assert_eq!(code, Some(1), "{said}");
    // columns cut, nothing but what is needed
    let cut = whole.lines().map(|row| {
        row.split(',')
            .skip(1)
            .take(2)
            .collect::<Vec<_>>()
            .join("\t")
    });
    let cut = cut.collect::<Vec<_>>().join("\n");
    let (code, said) = verified(&folder, "cut.csv", &cut);
    assert_eq!(code, Some(0), "{said}");
    assert!(
        said.contains("  columns   not in this file: journal, station, instrument,"),
        "{said}"
    );
    let (code, said) = verified(&folder, "cut.csv", cut.replacen("16:00:05", "16:00:06", 1));
    assert_eq!(code, Some(1), "{said}");
}

#[test]
fn an_export_of_another_journal_is_said_in_one_line() {
    let folder = Folder::with(EVERY_KIND);
    let other = Folder::with("V1_A_SHORT_SERIES");
    let (code, said) = verified(&other, "other.csv", table(&folder));
    assert_eq!(code, Some(1));
    assert!(
        said.contains("  every row says that it is of journal 6814b0e9a47a0bfe0bca7458a8c99463\n"),
        "{said}"
    );
    assert!(!said.contains("exported"), "{said}");
    let state = folder.path("state");
    let there = other.text(&[
        "verify",
        "other.csv",
        "--state-dir",
        state.to_str().unwrap(),
    ]);
    assert!(there.starts_with("other.csv: agrees"), "{there}");
}

#[test]
fn a_reading_that_was_taken_back_after_its_export_says_so() {
    let folder = Folder::with(EVERY_KIND);
    // up to the second last reading of series 55, as it stood before entry 59 took it back
    let whole = table(&folder);
    let older = whole.replacen(
        "pass,retracted,\r\n6814b0e9a47a0bfe0bca7458a8c99463,61",
        "pass,counted,\r\n6814b0e9a47a0bfe0bca7458a8c99463,61",
        1,
    );
    assert_ne!(older, whole);
    let older: String = older
        .split_inclusive('\n')
        .filter(|row| !row.contains(",61,"))
        .collect();
    let (code, said) = verified(&folder, "older.csv", older);
    assert_eq!(code, Some(1), "{said}");
    assert!(
        said.contains("    exported  counted\n    journal   retracted\n    said in entry 59, behind all that the file has: it may be older than that\n"),
        "{said}"
    );
}

#[test]
fn what_is_no_export_is_refused_with_what_it_looks_like() {
    let folder = Folder::with(EVERY_KIND);
    let refused = |text: &[u8], want: &str| {
        fs::write(folder.path("x"), text).unwrap();
        let (code, said) = folder.refusal(&["verify", "x"]);
        assert_eq!(code, Some(2), "{said}");
        assert!(said.starts_with(&format!("error: x: {want}")), "{said}");
        assert!(said.contains("\nhelp: "), "{said}");
    };
    refused(
        b"",
        "the file is empty, as only an export of lines is that found none\n",
    );
    refused(
        b"hello\x1b[2J\n",
        r#"got a file that begins with "hello\u{1b}[2J", want an export"#,
    );
    refused(
        b"PK\x03\x04rest",
        "got a ZIP file, such as a workbook of a spreadsheet, want an export",
    );
    refused(
        b"{\"a\":1}\n",
        "got JSON that is no entry of a journal, want an export",
    );
    refused(b"<p>mine</p>", "this is no report of tallyjaw");
    refused(
        b"station,value_mm\r\nbench-1,1.62\r\n",
        "got the columns station, value_mm, want also seq",
    );
    refused(
        b"\xff\xfes\0e\0q\0",
        "not a row: the text is UTF-16, want UTF-8",
    );
    refused(
        b"seq,station\r\n10,b\xe9nch\r\n",
        "not a row: CSV parse error: record 1",
    );
    refused(b"PAR1nothing", "a Parquet file that is not whole");
    let (code, said) = folder.refusal(&["verify", "nowhere.csv"]);
    assert_eq!(
        (code, said.contains("there is no nowhere.csv\n")),
        (Some(4), true),
        "{said}"
    );
}
