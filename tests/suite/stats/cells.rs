//! The cells of a file are taken as they stand, or refused; nothing is rounded, guessed or left out in silence.

use super::reference::assert_close;
use super::study::{Folder, error};
use serde_json::{Value, json};

fn described(text: &str, unit: &str) -> Value {
    let folder = Folder::new();
    folder.write("of.csv", text);
    folder.json(&[
        "describe", "--from", "of.csv", "--column", "height", "--unit", unit,
    ])
}

/// What is said to a file that is refused, causes and remedy.
fn refused(text: &str, more: &[&str]) -> String {
    let folder = Folder::new();
    folder.write("of.csv", text);
    let file = [
        "describe", "--from", "of.csv", "--column", "height", "--unit", "mm",
    ];
    let output = folder.run(&[&file[..], more].concat());
    assert_eq!(output.status.code(), Some(2), "{text:?}");
    assert!(output.stdout.is_empty());
    error(&output)
}

#[test]
fn a_number_sign_in_the_first_cell_is_data() {
    let told = described("piece,height\n#1,1.61\n#2,1.62\n3,1.63\n", "mm");
    assert_eq!(told["n"], 3, "{told}");
    let told = described("# measured by M.\n#piece,height\n#1,1.61\n#2,1.65\n", "mm");
    assert_eq!(
        (&told["n"], &told["max"]),
        (&json!(2), &json!(1.65)),
        "{told}"
    );
    let told = described("# a remark\nheight\n1.61\n1.62\n", "mm");
    assert_eq!(told["n"], 2, "{told}");
    // what might be meant for a remark among the data is refused and not left out
    let said = refused("height\n1.61\n# a remark\n1.62\n", &[]);
    assert!(
        said.contains("of.csv:3: not a number: \"# a remark\""),
        "{said}"
    );
}

#[test]
fn digits_finer_than_a_nanometre_are_kept() {
    let told = described(
        "height\n0.00000001\n0.00000002\n0.00000003\n0.00000004\n",
        "mm",
    );
    assert_close("mean", told["mean"].as_f64().unwrap(), 2.5e-8, 1e-15);
    let sd = (5.0_f64 / 3.0).sqrt() * 1e-8;
    assert_close("sd", told["sd"].as_f64().unwrap(), sd, 1e-15);
    assert_eq!(told["resolution"], json!({"value": 1e-8, "from": "digits"}));
    // a pound-force is no whole number of millinewtons
    let told = described("height\n30.1\n30.2\n30.3\n", "lbf");
    assert_close("mean", told["mean"].as_f64().unwrap(), 30.2, 1e-15);
    assert_close("sd", told["sd"].as_f64().unwrap(), 0.1, 1e-15);
    assert_eq!(told["resolution"]["value"], json!(0.1));
}

#[test]
fn what_cannot_be_kept_exactly_is_refused_with_the_range_and_a_remedy() {
    let said = refused("height\n1000000000000.4\n1.00000001\n", &[]);
    assert!(
        said.contains("of.csv:2: 1000000000000.4 mm is too large"),
        "{said}"
    );
    assert!(
        said.contains("values up to ±23058430092.13693952 mm are kept exactly"),
        "{said}"
    );
    assert!(said.contains("round the column to fewer digits"), "{said}");
    let said = refused("height\n9000000000000.0\n", &[]);
    assert!(
        said.contains("values up to ±2305843009213.6 mm are kept exactly"),
        "{said}"
    );
    let said = refused("height\n1.12345678901234567890\n", &[]);
    assert!(said.contains("too many digits"), "{said}");
}

#[test]
fn decimal_commas_that_part_numbers_are_refused() {
    for text in ["height,\n1,62\n1,63\n", "height,made\n1,62\n1,63\n"] {
        let said = refused(text, &[]);
        assert!(said.contains("got 1 and 62 in two cells"), "{said}");
        assert!(said.contains("write numbers with a point"), "{said}");
    }
    let said = refused("height\n1,62\n", &[]);
    assert!(
        said.contains("line 2 has 2 cells, the heading line has 1"),
        "{said}"
    );
    assert!(said.contains("decimal comma"), "{said}");
    let said = refused("height;made\n1,62;10\n", &[]);
    assert!(
        said.contains("save it with commas between the cells"),
        "{said}"
    );
    // whole millimetres are taken where they are said to be that
    let folder = Folder::new();
    folder.write("of.csv", "height,made\n1,62\n2,63\n");
    let file = [
        "describe", "--from", "of.csv", "--column", "height", "--unit", "mm",
    ];
    let told = folder.json(&[&file[..], &["--resolution", "1 mm"]].concat());
    assert_eq!(told["max"], json!(2.0));
    // forces are whole numbers more often than not
    folder.write("of.csv", "height,piece\n180,1\n175,2\n");
    let told = folder.json(&[
        "describe", "--from", "of.csv", "--column", "height", "--unit", "N",
    ]);
    assert_eq!(told["max"], json!(180.0));
}

#[test]
fn names_that_are_empty_or_doubled_are_refused() {
    let said = refused("height,height\n1.61,1.62\n", &[]);
    assert!(said.contains("two columns \"height\""), "{said}");
    let said = refused("height\n1.61\n", &["--column", ""]);
    assert!(said.contains("--column"), "{said}");
    let folder = Folder::new();
    folder.write("of.csv", "height,tool\n1.61,A\n1.62,\n1.63,B\n");
    let file = [
        "compare", "--from", "of.csv", "--column", "height", "--unit", "mm",
    ];
    let output = folder.run(&[&file[..], &["--group", "tool"]].concat());
    assert_eq!(output.status.code(), Some(2));
    let said = error(&output);
    assert!(
        said.contains("of.csv:3: the cell under \"tool\" is empty"),
        "{said}"
    );
}

#[test]
fn figures_of_all_groups_that_are_refused_say_why_in_json_too() {
    let folder = Folder::new();
    // The last group only rises: its readings follow each other.
    let one = (0..20).map(|at| format!("1.6{},a\n1.6{},b\n", at * 7 % 10, at * 3 % 10));
    let rising = (0..20).map(|at| format!("1.{},c\n", 60 + at));
    let rows: String = one.chain(rising).collect();
    folder.write("of.csv", &format!("height,tool\n{rows}"));
    let told = folder.json(&[
        "compare", "--from", "of.csv", "--column", "height", "--unit", "mm", "--group", "tool",
    ]);
    for name in ["anova_f", "anova_f_lowest", "anova_p"] {
        let why = told["undefined"][name].as_str().unwrap_or_default();
        assert!(why.contains("lag-1"), "{name}: {told}");
        assert!(told.get(name).is_none(), "{told}");
    }
}

#[test]
fn an_index_that_is_no_number_cannot_be_asked_for() {
    let folder = Folder::new();
    for asked in ["nan", "inf", "-1.33", "0", "1,33"] {
        for study in ["capability", "pull"] {
            let asked = format!("--asked={asked}");
            let output = folder.run(&[
                study, "--from", "pull.csv", "--column", "force", "--unit", "N", "--spec",
                ">= 100 N", &asked,
            ]);
            assert_eq!(output.status.code(), Some(2), "{study} {asked}");
            assert!(
                error(&output).contains("want a number above 0"),
                "{}",
                error(&output)
            );
        }
    }
}

#[test]
fn every_outlier_is_named_with_its_place() {
    let folder = Folder::new();
    let mut text = "height\n".to_owned();
    for at in 0..28 {
        text += ["1.61\n", "1.62\n", "1.62\n", "1.63\n"][at % 4];
        if [5, 17].contains(&at) {
            text += ["1.85\n", "1.84\n"][at / 17];
        }
    }
    folder.write("of.csv", &text);
    let file = [
        "describe", "--from", "of.csv", "--column", "height", "--unit", "mm",
    ];
    let told = folder.json(&file);
    let places = told["outliers"].as_array().unwrap().iter();
    let places: Vec<_> = places
        .map(|far| (far["value"].clone(), far["line"].clone()))
        .collect();
    assert_eq!(
        places,
        [(json!(1.85), json!(8)), (json!(1.84), json!(21))],
        "{told}"
    );
    let words = folder.text(&file);
    assert!(words.contains("outlier: 1.85 mm (line 8)"), "{words}");
    assert!(words.contains("outlier: 1.84 mm (line 21)"), "{words}");
    // one count beside equal readings is what rounding does
    folder.write("of.csv", "height\n1.62\n1.62\n1.63\n");
    assert_eq!(folder.json(&file)["outliers"], json!([]));
}

/// Before, a cell of the simulation was made for every step within 17 standard deviations: gigabytes.
#[test]
fn the_shape_of_fine_and_of_wide_readings_is_told_in_bounded_time_and_memory() {
    let folder = Folder::new();
    let digits: Vec<String> = (0..60)
        .map(|at: u64| format!("{}.{:08}", at * at % 61, at * 1_234_567 % 99_999_999))
        .collect();
    folder.write("of.csv", &format!("height\n{}\n", digits.join("\n")));
    let file = [
        "describe", "--from", "of.csv", "--column", "height", "--unit", "mm",
    ];
    let told = folder.json(&file);
    assert!(
        told["normality_p"].as_f64().is_some_and(|p| p > 0.0),
        "{told}"
    );
    let mut wide = vec![
        "1.62", "1.63", "1.61", "1.62", "1.64", "1.62", "1.61", "1.63", "1.60",
    ];
    wide.push("900000000.00");
    folder.write("of.csv", &format!("height\n{}\n", wide.join("\n")));
    let told = folder.json(&file);
    let p = told["normality_p"].as_f64().unwrap();
    assert!(p > 0.0 && p < 0.001, "{told}");
    // that the resolution is a guess is said, unless it is given
    assert_eq!(told["warnings"][0]["name"], "step_guessed", "{told}");
    let told = folder.json(&[&file[..], &["--resolution", "0.01 mm"]].concat());
    assert_eq!(told["resolution"], json!({"value": 0.01, "from": "given"}));
    assert_eq!(told["warnings"], json!([]));
}

#[test]
fn every_line_counts_whatever_ends_it() {
    let lines = ["# by M.", "piece,height", "1,1.61", "2,1.62", "3,1.64"];
    for end in ["\n", "\r\n", "\r"] {
        for last in ["", end] {
            let text = lines.join(end) + last;
            let told = described(&text, "mm");
            assert_eq!(
                (&told["n"], &told["min"]),
                (&json!(3), &json!(1.61)),
                "{text:?}"
            );
        }
        let said = refused(&["height", "1.61", "1.6.2"].join(end), &[]);
        assert!(said.contains("of.csv:3: "), "{end:?}: {said}");
    }
}
