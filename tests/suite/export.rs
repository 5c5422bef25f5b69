//! `tallyjaw export` on stored journals, and on one that is being written.

use crate::golden;
use proptest::prelude::*;
use serde_json::Value;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::io::{BufRead, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use tallyjaw::entry::ledger::Disposition;
use tallyjaw::entry::{JournalId, Seq};
use tallyjaw::export::{CsvTable, unguarded};
use tallyjaw::quantity::{Decimal, Measured, Unit, WallMicros, safe};
use tallyjaw::row::{COLUMNS, Column, Row, TableKind};

/// A folder with a configuration and a copy of a stored journal.
pub(crate) struct Folder(tempfile::TempDir);

impl Folder {
    pub(crate) fn with(kept: &str) -> Self {
        Self::of(&segments(kept))
    }

    /// The same with these files as the journal.
    pub(crate) fn of(segments: &BTreeMap<String, Vec<u8>>) -> Self {
        let folder = Self(tempfile::tempdir().unwrap());
        let config = "[daemon]\nstate_dir = \"state\"\nruntime_dir = \"run\"\n\n[[station]]\nname = \"bench-1\"\n";
        fs::write(folder.path("tallyjaw.toml"), config).unwrap();
        fs::create_dir_all(folder.path("state/journal")).unwrap();
        for (name, text) in segments {
            fs::write(folder.path("state/journal").join(name), text).unwrap();
        }
        folder
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub(crate) fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(crate::harness::program());
        command
            .args(["--config", "tallyjaw.toml"])
            .args(arguments)
            .current_dir(self.0.path())
            .env("NO_COLOR", "1")
            .env("TZ", crate::harness::TZ)
            .stdin(Stdio::null());
        command
    }

    pub(crate) fn run(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().unwrap()
    }

    /// As [`Folder::run`], by a number of threads that read blocks of a number of bytes: `5/64`.
    pub(crate) fn run_by(&self, workers: &str, arguments: &[&str]) -> Output {
        let mut command = self.command(arguments);
        command.env("TALLYJAW_TEST_WORKERS", workers);
        command.output().unwrap()
    }

    pub(crate) fn text(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert!(output.status.success(), "{arguments:?}: {}", error(&output));
        String::from_utf8(output.stdout).unwrap()
    }

    /// Exit code and message.
    pub(crate) fn refusal(&self, arguments: &[&str]) -> (Option<i32>, String) {
        let output = self.run(arguments);
        assert_eq!(output.stdout, b"", "{arguments:?}");
        (output.status.code(), error(&output))
    }

    /// Names in the folder, and in that of the marks.
    fn names(&self) -> Vec<String> {
        let mut names = Vec::new();
        for folder in [self.path("."), self.path("state/exports")] {
            let items = fs::read_dir(folder).into_iter().flatten();
            names.extend(items.map(|item| item.unwrap().file_name().into_string().unwrap()));
        }
        names.sort();
        names
    }
}

fn error(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// The files of a stored journal, in order.
pub(crate) fn segments(kept: &str) -> BTreeMap<String, Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/journals");
    let items = fs::read_dir(folder.join(kept).join("journal")).unwrap();
    items
        .map(|item| {
            let path = item.unwrap().path();
            let name = path.file_name().unwrap().to_str().unwrap().to_owned();
            (name, fs::read(path).unwrap())
        })
        .collect()
}

pub(crate) const EVERY_KIND: &str = "V1_EVERY_KIND";

/// The column `seq` of a table of text.
fn seqs(table: &str) -> Vec<u64> {
    let mut lines = csv::Reader::from_reader(table.as_bytes());
    let at = lines
        .headers()
        .unwrap()
        .iter()
        .position(|name| name == "seq");
    let lines = lines.records().map(|line| line.unwrap());
    lines
        .map(|line| line[at.unwrap()].parse().unwrap())
        .collect()
}

#[test]
fn every_reading_is_a_row_with_what_became_of_it() {
    let folder = Folder::with(EVERY_KIND);
    let table = folder.text(&["export", "csv"]);
    golden::assert_same("export/every_kind.csv", &table);
    assert_eq!(table.lines().count(), table.matches("\r\n").count());
    let counted = folder.text(&["export", "csv", "--counted"]);
    let stands = |line: &&str| !line.contains(",doubted,") && !line.contains(",retracted,");
    let want: Vec<&str> = table.lines().filter(stands).collect();
    assert_eq!(counted.lines().collect::<Vec<_>>(), want);
}

#[test]
fn a_reading_is_credited_to_who_took_over_in_the_middle_of_a_series() {
    let folder = Folder::with(EVERY_KIND);
    // mara armed series 7, and jon took over before the first reading
    let of_jon = seqs(&folder.text(&["export", "csv", "7", "--operator", "jon"]));
    assert_eq!(of_jon, [10, 11, 12, 13, 14, 18, 19, 24]);
    let of_mara = seqs(&folder.text(&["export", "csv", "--operator", "mara"]));
    assert_eq!(of_mara, [0; 0]);
}

#[test]
fn lines_are_those_of_the_journal_byte_for_byte() {
    let folder = Folder::with(EVERY_KIND);
    let whole = String::from_utf8(segments(EVERY_KIND).into_values().flatten().collect()).unwrap();
    assert_eq!(folder.text(&["export", "jsonl"]), whole);
    let about_30 = |line: &&str| {
        let entry: Value = serde_json::from_str(line).unwrap();
        entry["series"] == 30 || entry["seq"] == 30
    };
    let want: Vec<&str> = whole.lines().filter(about_30).collect();
    let got = folder.text(&["export", "jsonl", "30"]);
    assert_eq!(got.lines().collect::<Vec<_>>(), want);
    let since = folder.text(&["export", "jsonl", "--since", "2025-11-24T17:10:30Z"]);
    let first: Value = serde_json::from_str(since.lines().next().unwrap()).unwrap();
    assert_eq!(first["seq"], 57);
    assert!(whole.ends_with(&since));
}

#[test]
fn lines_of_a_series_that_was_resumed_go_on_where_it_did() {
    let folder = Folder::with("V1_A_SERIES_RESUMED");
    let whole = segments("V1_A_SERIES_RESUMED");
    let whole = String::from_utf8(whole.into_values().flatten().collect()).unwrap();
    for series in [5, 9, 16] {
        let about_it = |line: &&str| {
            let entry: Value = serde_json::from_str(line).unwrap();
            entry["series"] == series || entry["seq"] == series
        };
        let want: Vec<&str> = whole.lines().filter(about_it).collect();
        let got = folder.text(&["export", "jsonl", &series.to_string()]);
        assert_eq!(got.lines().collect::<Vec<_>>(), want, "series {series}");
    }
}

#[test]
fn queries_choose_rows_and_typed_and_text_tables_hold_the_same() {
    let folder = Folder::with(EVERY_KIND);
    let chosen = |arguments: &[&str]| seqs(&folder.text(&[&["export", "csv"], arguments].concat()));
    assert_eq!(chosen(&["--axis", "pull_force"]), [32, 33]);
    assert_eq!(chosen(&["--purpose", "verification"]), [38, 39]);
    assert_eq!(
        chosen(&[
            "--since",
            "2025-11-24T16:10:20Z",
            "--until",
            "2025-11-24T16:10:24Z"
        ]),
        [32, 33]
    );
    assert_eq!(chosen(&["--tool", "R-02"]), [0; 0]);

    folder.text(&["export", "parquet", "-o", "a.parquet"]);
    let typed = fs::File::open(folder.path("a.parquet")).unwrap();
    let typed = parquet::file::serialized_reader::SerializedFileReader::new(typed).unwrap();
    let typed: Vec<Value> = typed
        .into_iter()
        .map(|row| row.unwrap().to_json_value_of_text())
        .collect();
    let text = folder.text(&["export", "csv"]);
    let mut lines = csv::Reader::from_reader(text.as_bytes());
    let names = lines.headers().unwrap().clone();
    for (line, typed) in lines.records().zip(&typed) {
        for (name, cell) in names.iter().zip(&line.unwrap()) {
            if let Some(value) = typed.get(name) {
                assert_eq!(value.as_str().unwrap_or_default(), cell, "{name}");
            }
        }
    }
    assert_eq!(typed.len(), seqs(&text).len());
}

/// A row of a Parquet file with each value in its CSV form.
trait AsText {
    fn to_json_value_of_text(&self) -> Value;
}

impl AsText for parquet::record::Row {
    fn to_json_value_of_text(&self) -> Value {
        use parquet::record::Field;
        let text = |field: &Field| match field {
            Field::Str(text) => Some(text.clone()),
            Field::Long(number) => Some(number.to_string()),
            Field::TimestampMicros(micros) => Some(WallMicros(*micros).to_string()),
            _ => None, // decimals: the engines compare these
        };
        let told = self
            .get_column_iter()
            .filter_map(|(name, field)| Some((name.clone(), Value::String(text(field)?))));
        Value::Object(told.collect())
    }
}

#[test]
fn wrong_use_ends_with_2_and_says_what_to_do() {
    let folder = Folder::with(EVERY_KIND);
    fs::write(folder.path("there.csv"), "mine").unwrap();
    let refused = |arguments: &[&str], said: &str| {
        let (code, text) = folder.refusal(&[&["export"], arguments].concat());
        assert_eq!(code, Some(2), "{arguments:?}: {text}");
        assert!(text.contains(said), "{arguments:?}: {text}");
    };
    refused(&["csv", "-o", "there.csv"], "there is a file there.csv");
    refused(
        &["csv", "-o", "no/where.csv"],
        "there is no folder for no/where.csv",
    );
    refused(&["csv", "8", "-o", "8.csv"], "no series 8 in this journal");
    refused(&["csv", "--wire", "10 ga"], "10 ga");
    refused(&["jsonl", "--counted"], "--counted chooses readings");
    refused(&["csv", "7", "--since-last", "mes"], "cannot be used with");
    for name in ["../mes", "", ".mes", "a/b", "nul\u{1b}[2J", &"a".repeat(65)] {
        refused(&["csv", "--since-last", name], "is no name of a mark");
    }
    assert_eq!(fs::read(folder.path("there.csv")).unwrap(), b"mine");
    assert_eq!(folder.names(), ["state", "tallyjaw.toml", "there.csv"]);
    folder.text(&["export", "csv", "-o", "there.csv", "--force"]);
    assert!(
        fs::read(folder.path("there.csv"))
            .unwrap()
            .starts_with(b"journal,seq,")
    );
}

#[test]
fn a_full_disk_ends_with_4_and_leaves_the_place_of_the_last_pull() {
    let folder = Folder::with(EVERY_KIND);
    let full = fs::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .unwrap();
    let mut command = folder.command(&["export", "csv", "--since-last", "mes"]);
    let output = command.stdout(full).output().unwrap();
    assert_eq!(output.status.code(), Some(4), "{}", error(&output));
    assert_eq!(folder.names(), ["mes.lock", "state", "tallyjaw.toml"]);
    let all = folder.text(&["export", "csv", "--since-last", "mes"]);
    assert_eq!(seqs(&all).first(), Some(&10));
}

#[test]
fn each_pull_gives_what_is_new_and_a_series_when_it_is_closed() {
    let folder = Folder::with(EVERY_KIND);
    let pull = || seqs(&folder.text(&["export", "csv", "--since-last", "mes"]));
    let all = seqs(&folder.text(&["export", "csv"]));
    let open = [57, 58, 61];
    let closed: Vec<u64> = all
        .iter()
        .copied()
        .filter(|seq| !open.contains(seq))
        .collect();
    assert_eq!(pull(), closed);
    assert_eq!(pull(), [0; 0]);
    // the entry that closes the open series 55 is added to the journal
    let last = segments(EVERY_KIND).into_keys().next_back().unwrap();
    let path = folder.path("state/journal").join(last);
    let mut text = fs::read_to_string(&path).unwrap();
    let zero = "0".repeat(64);
    let _ = write!(
        text,
        r#"{{"v":1,"seq":63,"at":"2025-11-24T17:10:33.000000Z","kind":"completed","prev":"{zero}","station":"bench-1","series":55,"outcome":"cut_short","tally":{{"passed":2,"failed":0,"unsure":0,"doubted":0,"retracted":1,"not_counted":0}}}}"#
    );
    fs::write(&path, text + "\n").unwrap();
    assert_eq!(pull(), open);
    assert_eq!(pull(), [0; 0]);
    let (code, text) = folder.refusal(&[
        "export",
        "csv",
        "--since-last",
        "mes",
        "--axis",
        "pull_force",
    ]);
    assert_eq!(code, Some(2));
    assert!(
        text.contains("the options are \"rows, axis=pull_force\", but the earlier exports of this name had \"rows\""),
        "{text}"
    );
    let lines = folder.text(&["export", "jsonl", "--since-last", "lines"]);
    assert_eq!(lines.lines().count(), 63);
    assert_eq!(
        folder.text(&["export", "jsonl", "--since-last", "lines"]),
        ""
    );
}

#[test]
fn a_pull_whose_place_could_not_be_kept_comes_again() {
    let folder = Folder::with(EVERY_KIND);
    fs::create_dir_all(folder.path("state/exports/mes.json")).unwrap();
    fs::create_dir(folder.path("state/exports/mes.json/x")).unwrap();
    let (code, _) = folder.refusal(&["export", "csv", "--since-last", "mes", "-o", "a.csv"]);
    assert_eq!(code, Some(4));
    assert!(!folder.path("a.csv").exists());
    fs::remove_dir_all(folder.path("state/exports/mes.json")).unwrap();
    folder.text(&["export", "csv", "--since-last", "mes", "-o", "a.csv"]);
    // killed after the file got its name, and before the mark was moved
    fs::remove_file(folder.path("state/exports/mes.json")).unwrap();
    folder.text(&["export", "csv", "--since-last", "mes", "-o", "b.csv"]);
    let read = |name: &str| fs::read(folder.path(name)).unwrap();
    assert_eq!(read("a.csv"), read("b.csv"));
}

#[test]
fn killed_at_any_moment_it_leaves_no_half_file_and_the_next_pulls_give_all() {
    let folder = Folder::with("V1_A_SHORT_SERIES");
    let want = seqs(&folder.text(&["export", "csv", "--since-last", "want"]));
    let mut got = Vec::new();
    for round in 0..30_u32 {
        let name = format!("{round}.csv");
        let arguments = ["export", "csv", "--since-last", "mes", "-o", &name];
        let mut child = folder
            .command(&arguments)
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        // another moment in each round: after this number of checks whether it has ended
        let mut looks = 0;
        while looks < round * 400 && child.try_wait().unwrap().is_none() {
            looks += 1;
        }
        child.kill().unwrap();
        child.wait().unwrap();
        if let Ok(text) = fs::read_to_string(folder.path(&name)) {
            assert!(
                text.ends_with("\r\n") && text.starts_with("journal,seq,"),
                "{text}"
            );
            got.extend(seqs(&text));
        }
    }
    got.extend(seqs(&folder.text(&[
        "export",
        "csv",
        "--since-last",
        "mes",
    ])));
    got.sort_unstable();
    got.dedup();
    assert_eq!(got, want);
    let halves = folder
        .names()
        .into_iter()
        .filter(|name| name.contains("part"));
    assert_eq!(halves.collect::<Vec<_>>(), [""; 0]);
}

#[test]
fn the_page_of_columns_says_what_the_table_says() {
    let mut text = "# Columns of an export\n\nWritten from `src/row/column.rs`; a test compares it.\n\n| column | unit | CSV | Parquet | says |\n|---|---|---|---|---|\n".to_owned();
    for column in COLUMNS {
        let kind = match column.kind {
            tallyjaw::row::ColumnType::Text => "string",
            tallyjaw::row::ColumnType::Whole => "int64",
            tallyjaw::row::ColumnType::Decimal(6) => "decimal(18, 6)",
            tallyjaw::row::ColumnType::Decimal(_) => "decimal(18, 3)",
            tallyjaw::row::ColumnType::Time => "timestamp, µs, UTC",
        };
        let _ = writeln!(
            text,
            "| `{}` | {} | {} | {} | {} |",
            column.name,
            column.unit.unwrap_or_default(),
            if column.form == TableKind::Typed {
                ""
            } else {
                "yes"
            },
            if column.form == TableKind::Text {
                ""
            } else {
                kind
            },
            column.says
        );
    }
    golden::assert_same("../../docs/columns.md", &text);
}

/// A row in which every text that a person can enter is this one.
fn row_of<'r>(journal: &'r JournalId, text: &'r str) -> Row<'r> {
    Row {
        journal: &journal.0,
        seq: Seq(1),
        at: WallMicros(0),
        station: text,
        instrument: text,
        operator: Some(text),
        slot: None,
        value: Measured::new(Decimal::new(-162, 2), Unit::Millimetre).unwrap(),
        deviation: None,
        resolution: None,
        verdict: None,
        standing: Disposition::Counted,
        pull_mode: None,
    }
}

/// Hostile texts, and others.
fn texts() -> impl Strategy<Value = String> {
    prop_oneof![
        "[=+\\-@\t\r\n',\";a ]{0,6}",
        any::<String>(),
        Just("=HYPERLINK(\"http:\",\"x\")".to_owned()),
    ]
}

#[test]
fn any_text_comes_back_out_of_a_table_and_none_is_a_formula() {
    let python = RefCell::new(Csv::start());
    proptest!(ProptestConfig::with_cases(64), |(texts in prop::collection::vec(texts(), 1..40))| {
        let journal = JournalId("ab".to_owned());
        let mut table = CsvTable::new(Vec::new()).unwrap();
        for text in &texts {
            table.row(&row_of(&journal, text)).unwrap();
        }
        let bytes = table.finish().unwrap();
        let at = Column::of_text().position(|column| column.name == "station").unwrap();
        let ours = csv::Reader::from_reader(&bytes[..])
            .records()
            .map(|line| line.unwrap()[at].to_owned())
            .collect::<Vec<_>>();
        let theirs = python.borrow_mut().column(&bytes, at);
        prop_assert_eq!(&ours, &theirs);
        let back: Vec<&str> = ours.iter().map(|cell| unguarded(cell)).collect();
        // what could steer a terminal or turn the direction of reading is shown as an escape
        let shown: Vec<String> = texts.iter().map(|text| safe(text)).collect();
        prop_assert_eq!(back, shown);
        prop_assert!(!ours.iter().any(|cell| cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n'])));
    });
}

/// Python's csv module, in one process for all tables: starting it takes longer than what it does.
struct Csv(Child);

impl Csv {
    fn start() -> Self {
        let program = "import csv, io, json, sys\n\
             for line in sys.stdin.buffer:\n \
                 text, at = json.loads(line)\n \
                 rows = list(csv.reader(io.StringIO(text, newline=''), strict=True))\n \
                 print(json.dumps([row[at] for row in rows[1:]]), flush=True)";
        let child = Command::new("python3")
            .args(["-c", program])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        Self(child)
    }

    /// A column as it reads it.
    fn column(&mut self, bytes: &[u8], at: usize) -> Vec<String> {
        let asked = serde_json::to_string(&(std::str::from_utf8(bytes).unwrap(), at)).unwrap();
        writeln!(self.0.stdin.as_mut().unwrap(), "{asked}").unwrap();
        let mut line = String::new();
        BufReader::new(self.0.stdout.as_mut().unwrap())
            .read_line(&mut line)
            .unwrap();
        serde_json::from_str(&line).unwrap()
    }
}

impl Drop for Csv {
    fn drop(&mut self) {
        drop(self.0.stdin.take()); // ends it
        self.0.wait().unwrap();
    }
}
