//! `tallyjaw verify EXPORT`: files that were changed, cut or saved by other programs, and files that are not exports.

use crate::export::{EVERY_KIND, Folder};
use crate::golden;
use crate::harness::cases;
use proptest::prelude::*;
use proptest::sample::{Index, select};
use serde_json::{Value, json};
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

/// The options by which an export can choose readings.
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

#[test]
fn whatever_was_asked_an_export_is_all_that_its_journal_gives_for_it() {
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
                    let first = said.lines().next().unwrap();
                    let agrees = first.contains(": agrees with the journal in all of its ");
                    assert!(agrees && first.ends_with(", and none is missing"), "{said}");
                    assert!(!said.contains("  order "), "{said}");
                }
            }
        }
        let counted = ["export", "csv", "--counted", "-o", "counted.csv"];
        folder.text(&counted);
        let said = folder.text(&["verify", "counted.csv"]);
        assert!(
            said.contains("  question  all readings that count"),
            "{said}"
        );
        let lines = fs::read(folder.path("0.jsonl")).unwrap();
        let (code, said) = verified(&folder, "no_question.jsonl", lines);
        assert_eq!(code, Some(0), "{said}");
        assert!(said.contains("missing rows cannot be found\n"), "{said}");
    }
}

#[test]
fn a_question_goes_where_it_is_asked_to_and_is_never_seen_with_another_file() {
    let folder = Folder::with(EVERY_KIND);
    let table = folder.text(&["export", "csv", "7", "--question", "7.json"]);
    let (code, said) = verified(&folder, "7.csv", &table);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("cannot be found"), "{said}");
    let said = folder.text(&["verify", "7.csv", "--question", "7.json"]);
    assert!(
        said.contains("  question  readings of series 7, from entries 7 to "),
        "{said}"
    );
    let (code, said) = folder.refusal(&["export", "csv", "--question", "7.json"]);
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("there is a file 7.json"), "{said}");
    // a table of everything: the question of one series is not its
    verified(&folder, "all.csv", folder.text(&["export", "csv"]));
    let output = folder.run(&["verify", "all.csv", "--question", "7.json"]);
    assert_eq!(output.status.code(), Some(1));
    folder.text(&["export", "csv", "7", "-o", "a.csv"]);
    folder.text(&["export", "csv", "--force", "-o", "a.csv"]);
    let said = folder.text(&["verify", "a.csv", "--json"]);
    let told: Value = serde_json::from_str(&said).unwrap();
    assert_eq!(told["asked"], "all readings");
    assert_eq!(told["question"]["rows"], 16);
    assert_eq!(told["is_complete"], true);
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
        (",180,,,1,,pass", ",170,,,1,pass"),
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
    // without its question nothing is inferred; with it, or with the same options, nothing is overlooked
    folder.text(&["export", "csv", "-o", "all.csv"]);
    let whole = table(&folder);
    let without = whole
        .split_inclusive('\n')
        .filter(|row| !row.contains(",pull_force,"));
    let without: String = without.collect();
    let short: Vec<&str> = whole.split_inclusive('\n').collect();
    let short = short[..short.len() - 1].concat();
    for (name, text) in [("short.csv", &short), ("without.csv", &without)] {
        let (code, said) = verified(&folder, name, text);
        assert_eq!(code, Some(0), "{said}");
        all.push_str(&said);
        for question in [["--question", "all.csv.question.json"], ["--last", "62"]] {
            let output = folder.run(&["verify", name, question[0], question[1]]);
            assert_eq!(output.status.code(), Some(1));
            all.push_str(std::str::from_utf8(&output.stdout).unwrap());
        }
    }
    let axis = ["verify", "short.csv", "--axis", "pull_force"];
    assert_eq!(folder.run(&axis).status.code(), Some(1));
    verified(
        &folder,
        "pull.csv",
        folder.text(&["export", "csv", "--axis", "pull_force"]),
    );
    let said = folder.text(&["verify", "pull.csv", "--axis", "pull_force"]);
    assert!(
        said.contains("in all of its 2 rows, and none is missing"),
        "{said}"
    );
    let first = whole.split_inclusive('\n').next().unwrap();
    let (code, said) = verified(&folder, "heading.csv", first);
    assert_eq!(code, Some(0), "{said}");
    all.push_str(&said);
    golden::assert_same("export/verify_cut.txt", &all);
}

#[test]
fn a_narrower_question_is_told_and_is_not_that_of_who_asks_for_more() {
    let folder = Folder::with(EVERY_KIND);
    let mut all = String::new();
    folder.text(&["export", "csv", "7", "-o", "forged.csv"]);
    let mut verify = |arguments: &[&str], want: i32| {
        let output = folder.run(&[&["verify", "forged.csv"], arguments].concat());
        let said = String::from_utf8(output.stdout).unwrap();
        assert_eq!(output.status.code(), Some(want), "{arguments:?}: {said}");
        let _ = writeln!(all, "{arguments:?}\n{said}");
    };
    verify(&[], 0);
    verify(&["--series", "7"], 0);
    verify(&["--series", "7", "--last", "30"], 1);
    verify(&["--series", "7", "--series", "30"], 1);
    verify(&["--last", "62"], 1);
    golden::assert_same("export/verify_question.txt", &all);
}

/// Rows of cells, or lines, behind the heading if there is one.
fn rows(text: &str, is_table: bool) -> Vec<Vec<String>> {
    if !is_table {
        return text.lines().map(|line| vec![line.to_owned()]).collect();
    }
    let mut lines = csv::ReaderBuilder::new();
    let mut lines = lines.has_headers(false).from_reader(text.as_bytes());
    let rows = lines.records();
    rows.map(|row| row.unwrap().iter().map(str::to_owned).collect())
        .collect()
}

fn written(rows: &[Vec<String>], is_table: bool) -> String {
    if !is_table {
        return rows.iter().map(|row| row[0].clone() + "\n").collect();
    }
    let mut lines = csv::WriterBuilder::new()
        .flexible(true)
        .from_writer(Vec::new());
    for row in rows {
        lines.write_record(row).unwrap();
    }
    String::from_utf8(lines.into_inner().unwrap()).unwrap()
}

/// The series of a row or a line.
fn series_of(row: &[String], is_table: bool) -> String {
    if is_table {
        return row[6].clone();
    }
    let entry: Value = serde_json::from_str(&row[0]).unwrap();
    let of = if entry["kind"] == "armed" {
        "seq"
    } else {
        "series"
    };
    entry[of].to_string()
}

/// What is done to an export, or to its question.
#[derive(Debug, Clone, Copy)]
enum Forgery {
    RowLeftOut,
    RowTwice,
    SeriesLeftOut,
    CellChanged,
    CellLeftOut,
    RowOfAnother,
    QuestionChanged,
    QuestionCut,
}

const FORGERIES: [Forgery; 8] = [
    Forgery::RowLeftOut,
    Forgery::RowTwice,
    Forgery::SeriesLeftOut,
    Forgery::CellChanged,
    Forgery::CellLeftOut,
    Forgery::RowOfAnother,
    Forgery::QuestionChanged,
    Forgery::QuestionCut,
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(cases(96)))]
    #[test]
    fn whatever_is_forged_in_an_export_or_its_question_is_a_difference(
        form in select(vec!["csv", "jsonl"]),
        question in select(QUESTIONS.to_vec()),
        forgery in select(FORGERIES.to_vec()),
        (at, cell) in any::<(Index, Index)>(),
    ) {
        let folder = Folder::with(EVERY_KIND);
        folder.text(&[&["export", form, "-o", "a"], question].concat());
        let is_table = form == "csv";
        let text = fs::read_to_string(folder.path("a")).unwrap();
        let mut rows = rows(&text, is_table);
        let heading: Vec<_> = rows.drain(..usize::from(is_table)).collect();
        prop_assume!(!rows.is_empty());
        let at = at.index(rows.len());
        let beside = folder.path("a.question.json");
        let mut told: Value = serde_json::from_slice(&fs::read(&beside).unwrap()).unwrap();
        match forgery {
            Forgery::RowLeftOut => drop(rows.remove(at)),
            Forgery::RowTwice => rows.push(rows[at].clone()),
            Forgery::SeriesLeftOut => {
                let series = series_of(&rows[at], is_table);
                rows.retain(|row| series_of(row, is_table) != series);
                prop_assume!(is_table || !rows.is_empty());
            }
            Forgery::CellChanged => {
                let cell = cell.index(rows[at].len());
                let (text, digit) = (&mut rows[at][cell], "1");
                match text.strip_suffix('}') {
                    Some(line) => *text = format!("{line},\"x\":1}}"),
                    None => text.push_str(digit),
                }
            }
            Forgery::CellLeftOut if is_table => drop(rows[at].pop()),
            Forgery::CellLeftOut => {
                let line = rows[at][0].replace(",\"prev\"", ", \"prev\"");
                rows[at][0] = line;
            }
            Forgery::RowOfAnother => {
                let other = folder.text(&["export", form]);
                let other = self::rows(&other, is_table);
                let surplus = other.into_iter().skip(1).find(|row| !rows.contains(row));
                prop_assume!(surplus.is_some());
                rows.extend(surplus);
            }
            Forgery::QuestionChanged => {
                let last = told["last"].as_u64().unwrap();
                let changes = [
                    ("v", json!(2)),
                    ("journal", json!("0".repeat(32))),
                    ("of_lines", json!(is_table)),
                    ("columns", json!(["seq"])),
                    ("query", json!({"axis": "nothing"})),
                    ("query", json!({"colour": "red"})),
                    ("last", json!(last + 1)),
                    ("last", json!(last - 1)),
                    ("digest", json!("0".repeat(64))),
                    ("rows", json!(rows.len() + 1)),
                ];
                let (key, value) = &changes[cell.index(changes.len())];
                told[key] = value.clone();
            }
            Forgery::QuestionCut => {
                let fields = told.as_object_mut().unwrap();
                let key = fields.keys().nth(cell.index(fields.len())).unwrap().clone();
                fields.remove(&key);
            }
        }
        fs::write(&beside, told.to_string()).unwrap();
        fs::write(folder.path("a"), written(&[heading, rows].concat(), is_table)).unwrap();
        let output = folder.run(&["verify", "a"]);
        let said = String::from_utf8_lossy(&output.stdout);
        prop_assert_eq!(output.status.code(), Some(1), "{:?}: {}", forgery, said);
        prop_assert!(said.contains("differs from the journal"), "{}", said);
    }
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
    assert!(said.contains("find the fault of the journal"), "{said}");
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
    folder.text(&["export", "csv", "-o", "all.csv"]);
    fs::write(folder.path("saved.csv"), &text).unwrap();
    let said = folder.text(&["verify", "saved.csv", "--question", "all.csv.question.json"]);
    assert_eq!(
        said,
        "saved.csv: agrees with the journal in all of its 16 rows, and none is missing\n  journal   6814b0e9a47a0bfe0bca7458a8c99463, up to entry 62\n  chain     intact, 16 verdicts judged again\n  order     differs from the journal's; each row was looked up by its entry\n  columns   not compared, since no export has them: remark\n  question  all readings, from entries 1 to 62; according to all.csv.question.json\n            whoever removes readings can change these options too: check that they are the ones you gave\n"
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
        said.contains("  every row names another journal: 6814b0e9a47a0bfe0bca7458a8c99463\n"),
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
fn a_reading_that_was_retracted_after_its_export_says_so() {
    let folder = Folder::with(EVERY_KIND);
    // up to the second last reading of series 55, as it was before entry 59 retracted it
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
        said.contains("    exported  counted\n    journal   retracted\n    the journal says so since entry 59; the file may be older\n"),
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
        "the file is empty; only an export of lines that found no entry is empty\n",
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
