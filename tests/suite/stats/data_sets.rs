//! Studies of a data set: what a journal says, its exports say too, and several benches are pooled.

use super::study::error;
use crate::export::{EVERY_KIND, Folder};
use crate::harness::Shop;
use serde_json::{Value, json};
use std::fs;
use std::path::Path;

const PLAN: &str = "terminal = \"QF-250-F\"\nwire = \"2.0 mm²\"\naxes = [\"core_crimp_height\"]\npieces = 14\npurpose = \"in_process\"\ndecision = \"simple\"\nzero = { before_first = false, closing = false }\n";

/// A bench with series of two tools, of which one reading is retracted, and with its data set in `lake`.
fn bench(offset: i64) -> Shop {
    let mut shop = Shop::new();
    let tools = ["T-07", "T-08"];
    let tool = |id: &str| format!("[[tool]]\nid = \"{id}\"\nclass = \"production\"\n\n");
    let plan = |tool: &str| format!("[[plan]]\nid = \"with-{tool}\"\ntool = \"{tool}\"\n{PLAN}\n");
    shop.write("tools.toml", &tools.map(tool).concat());
    shop.write("plans.toml", &tools.map(plan).concat());
    let plans = "plans = [\"plans.toml\"]\n";
    let known = format!("{plans}tools = [\"tools.toml\"]\n");
    let lake =
        "\n[[sink]]\nname = \"lake\"\nkind = \"parquet\"\nfolder = \"lake\"\nevery = \"1 ms\"\n";
    let text = shop.configuration().replace(plans, &known) + lake;
    shop.write("tallyjaw.toml", &text);
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    for (tool, shift) in [("T-07", 0), ("T-08", 1), ("T-07", 0), ("T-08", 1)] {
        daemon.call(
            "arm",
            &json!({"station": "bench-1", "plan": format!("with-{tool}")}),
        );
        feed.wait_for("armed");
        // No value follows itself: the same value at once would be one press.
        for piece in 0..14 {
            shop.press(160 + offset + shift + [0, 2, 1, 3, 2][piece % 5]);
            feed.wait_for("reading");
            if (shift, piece) == (0, 3) {
                daemon.call("retract", &json!({"station": "bench-1"}));
                feed.wait_for("retracted");
                shop.press(164 + offset);
                feed.wait_for("reading");
            }
        }
        feed.wait_for("completed");
    }
    let (status, _) = daemon.stop();
    assert!(status.success());
    shop
}

/// What a study says: its object for programs, without the identity of the journal at single readings, and its text.
fn said(shop: &Shop, study: &[&str], source: &[&str]) -> (Value, String) {
    let words = [&["study"], study, &["--axis", "core_crimp_height"], source].concat();
    let object = shop.run(&[&words[..], &["--json"]].concat());
    assert!(object.status.success(), "{words:?}: {}", error(&object));
    let text = shop.run(&words);
    let first = object.stdout.split(|byte| *byte == b'\n').next().unwrap();
    let mut object: Value = serde_json::from_slice(first).unwrap();
    for outlier in object["outliers"].as_array_mut().into_iter().flatten() {
        outlier.as_object_mut().unwrap().remove("journal");
    }
    (object, String::from_utf8(text.stdout).unwrap())
}

const STUDIES: [&[&str]; 6] = [
    &["describe"],
    &["capability"],
    &["chart", "--subgroup", "series"],
    &["factors", "--by", "tool/series"],
    &["compare", "--margin", "0.02 mm"],
    &["describe", "--tool", "T-07", "--include", "retracted"],
];

#[test]
fn a_study_of_a_journal_and_of_its_own_exports_say_the_same() {
    let shop = bench(0);
    fs::create_dir_all(shop.path("one")).unwrap();
    let export = |shop: &Shop, form: &str, name: &str| {
        let file = shop.path(name);
        let made = shop.run(&["export", form, "-o", file.to_str().unwrap()]);
        assert!(made.status.success(), "{}", error(&made));
    };
    export(&shop, "csv", "one/a.csv");
    export(&shop, "parquet", "a.parquet");
    for study in STUDIES {
        let wanted = said(&shop, study, &[]);
        for source in ["one", "a.parquet", "lake"] {
            let source = shop.path(source);
            let got = said(&shop, study, &["--data-set", source.to_str().unwrap()]);
            assert_eq!(got, wanted, "{study:?} {}", source.display());
        }
    }
    let one = shop.path("one");
    let source = ["--data-set", one.to_str().unwrap()];
    let (all, _) = said(&shop, &["describe"], &source);
    assert_eq!(
        (&all["n"], &all["left_out"]["retracted"]),
        (&json!(56), &json!(2)),
        "{all}"
    );

    // The same readings once more, in another form: they count once.
    fs::copy(shop.path("a.parquet"), shop.path("one/b.parquet")).unwrap();
    let (twice, _) = said(&shop, &["describe"], &source);
    assert_eq!(twice["left_out"]["repeated"], 58, "{twice}");
    for figure in ["n", "mean", "sd", "lag1"] {
        assert_eq!(twice[figure], all[figure], "{figure}");
    }

    // Another bench in the same folder: a factor, and its series are not those of the first.
    let other = bench(1);
    fs::remove_file(shop.path("one/b.parquet")).unwrap();
    export(&other, "parquet", "b.parquet");
    fs::copy(other.path("b.parquet"), shop.path("one/b.parquet")).unwrap();
    let (both, text) = said(&shop, &["describe"], &source);
    assert_eq!(both["n"], 112, "{both}");
    assert!(text.contains("8 series of 2 benches"), "{text}");
    let (alone, _) = said(&other, &["describe"], &[]);
    let mean = |of: &Value| of["mean"].as_f64().unwrap();
    let pooled = f64::midpoint(mean(&all), mean(&alone));
    assert!((mean(&both) - pooled).abs() < 1e-9, "{both}");
    let (factors, _) = said(&shop, &["factors", "--by", "journal,tool"], &source);
    let sources = factors["sources"].as_array().unwrap();
    assert_eq!(
        (&sources[0]["source"], &sources[0]["levels"]),
        (&json!("journal"), &json!(2)),
        "{factors}"
    );
    let (series, _) = said(&shop, &["factors", "--by", "series"], &source);
    assert_eq!(series["sources"][0]["levels"], 8, "{series}");
    let (groups, _) = said(&shop, &["compare", "--group", "journal"], &source);
    assert_eq!(groups["groups"].as_array().unwrap().len(), 2, "{groups}");
}

/// A folder with the journal of every kind of entry, and its exports.
fn exported() -> Folder {
    let folder = Folder::with(EVERY_KIND);
    fs::create_dir(folder.path("set")).unwrap();
    for (form, name) in [
        ("csv", "a.csv"),
        ("parquet", "a.parquet"),
        ("jsonl", "a.jsonl"),
    ] {
        folder.text(&["export", form, "-o", name]);
    }
    folder
}

fn refused(folder: &Folder, options: &[&str], wanted: &[&str]) {
    let study = ["study", "describe", "--axis", "core_crimp_height"];
    let (exit, said) = folder.refusal(&[&study[..], &["--data-set", "set"], options].concat());
    assert_eq!(exit, Some(2), "{said}");
    for words in wanted.iter().chain(&["help: "]) {
        assert!(said.contains(words), "{words}: {said}");
    }
}

#[test]
fn a_file_that_is_cut_off_changed_or_foreign_is_named_with_its_line() {
    let folder = exported();
    let (text, bytes) = (
        fs::read_to_string(folder.path("a.csv")).unwrap(),
        fs::read(folder.path("a.parquet")).unwrap(),
    );
    let put = |name: &str, content: &[u8]| fs::write(folder.path("set").join(name), content);
    let file = Path::new("set").join("a.csv").display().to_string();
    refused(&folder, &[], &["no export (csv or parquet)"]);
    refused(&folder, &["7"], &["series numbers belong to one journal"]);

    let middle = text.len() - 60;
    put("a.csv", &text.as_bytes()[..middle]).unwrap();
    let last = text[..middle].lines().count();
    refused(
        &folder,
        &[],
        &[&format!("{file}:{last}: "), "want 43 as in the heading"],
    );
    // Whole rows are missing: the question of the export knows how many there were.
    let question = fs::read(folder.path("a.csv.question.json")).ok();
    let short: Vec<&str> = text.lines().take(5).collect();
    put("a.csv", (short.join("\n") + "\n").as_bytes()).unwrap();
    if let Some(question) = question {
        put("a.csv.question.json", &question).unwrap();
        refused(&folder, &[], &["got 4 rows, want 16 by its question"]);
        fs::remove_file(folder.path("set/a.csv.question.json")).unwrap();
    }
    let wrong = text.replacen("1.6", "1,6", 1);
    put("a.csv", wrong.as_bytes()).unwrap();
    refused(&folder, &[], &[&format!("{file}:2: 44 cells")]);
    let column = text.replacen("standing", "state", 1);
    put("a.csv", column.as_bytes()).unwrap();
    refused(&folder, &[], &[&format!("{file}:1: no column standing")]);
    put("a.csv", b"height,tool\n1.62,T-07\n").unwrap();
    refused(&folder, &[], &[&file, "want an export"]);

    put("a.csv", text.as_bytes()).unwrap();
    put("a.parquet", &bytes[..bytes.len() - 100]).unwrap();
    refused(
        &folder,
        &[],
        &["a.parquet: ", "a Parquet file that is not whole"],
    );
    fs::remove_file(folder.path("set/a.parquet")).unwrap();
    fs::copy(folder.path("a.jsonl"), folder.path("set/a.jsonl")).unwrap();
    refused(&folder, &[], &["a.jsonl: got lines of a journal"]);
    fs::remove_file(folder.path("set/a.jsonl")).unwrap();

    // An export from before a reading was retracted contradicts the newer one.
    put(
        "b.csv",
        text.replacen(",counted,", ",retracted,", 1).as_bytes(),
    )
    .unwrap();
    refused(
        &folder,
        &[],
        &[
            "says something else in",
            &file,
            "keep the newer export only",
        ],
    );
    // A table that was sorted has lost its order.
    let mut lines: Vec<&str> = text.lines().skip(1).collect();
    lines.reverse();
    let sorted = [&[text.lines().next().unwrap()], &lines[..]].concat();
    fs::remove_file(folder.path("set/b.csv")).unwrap();
    put("a.csv", (sorted.join("\n") + "\n").as_bytes()).unwrap();
    refused(&folder, &[], &["want the order of the export"]);
}

#[test]
fn the_resolution_of_an_older_export_is_taken_from_the_digits_and_said_to_be() {
    let folder = exported();
    let text = fs::read_to_string(folder.path("a.csv")).unwrap();
    let mut lines = csv::Reader::from_reader(text.as_bytes());
    let kept: Vec<usize> = (0..43)
        .filter(|at| !lines.headers().unwrap()[*at].starts_with("resolution_"))
        .collect();
    assert_eq!(kept.len(), 41);
    let mut older = csv::Writer::from_writer(Vec::new());
    let heading = lines.headers().unwrap().clone();
    for line in std::iter::once(Ok(heading)).chain(lines.records()) {
        let line = line.unwrap();
        older
            .write_record(kept.iter().map(|at| &line[*at]))
            .unwrap();
    }
    fs::write(folder.path("set/a.csv"), older.into_inner().unwrap()).unwrap();
    let study = |source: &[&str]| -> Value {
        let words = ["study", "describe", "--axis", "core_crimp_height", "--json"];
        serde_json::from_str(&folder.text(&[&words[..], source].concat())).unwrap()
    };
    let (now, before) = (study(&[]), study(&["--data-set", "set"]));
    for figure in ["n", "mean", "sd"] {
        assert_eq!(now[figure], before[figure], "{figure}");
    }
    let warnings = before["warnings"].to_string();
    assert!(warnings.contains("step_guessed"), "{warnings}");
}
