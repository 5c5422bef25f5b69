//! Agreement of visual checks, and errors over the range of an instrument.

use super::reference::{assert_close, number, rows};
use super::study::Folder;
use serde_json::Value;
use std::fmt::Write as _;
use tallyjaw::stats::Undefined;
use tallyjaw::stats::agreement::{Answers, cohen, fleiss};

/// A table that is printed in encyclopedias: ten items, fourteen answers each, kappa 0.210.
#[test]
fn the_example_of_fourteen_raters_is_met() {
    let counts: Vec<Vec<u32>> = rows("agreement/fleiss.csv")
        .iter()
        .map(|row| row.iter().map(|cell| cell.parse().unwrap()).collect())
        .collect();
    let kappa = fleiss(&counts, 0.95).unwrap();
    assert_eq!(format!("{:.3}", kappa.value), "0.210");
    assert_close("kappa", kappa.value, 0.209_930_704_421_955_2, 1e-12); // statsmodels
    assert_close("observed", kappa.observed, 0.378, 2e-4);
    assert_close("by chance", kappa.expected, 0.213, 2e-3);
    assert_eq!(kappa.bounds, Err(Undefined::TooFew { got: 10, want: 30 }));
    assert!(number("1") > 0.0);
}

fn pairs(counts: [usize; 4]) -> Vec<(usize, usize)> {
    let cells = [(0, 0), (0, 1), (1, 0), (1, 1)].into_iter().zip(counts);
    cells
        .flat_map(|(pair, count)| std::iter::repeat_n(pair, count))
        .collect()
}

#[test]
fn kappa_of_two_has_an_interval_about_it_and_none_where_nothing_varies() {
    let kappa = cohen(&pairs([20, 5, 10, 15]), 2, 0.95).unwrap();
    assert_close("kappa", kappa.value, 0.4, 1e-12);
    let (low, high) = kappa.bounds.unwrap();
    // the asymptotic interval is 0.151 to 0.649 (statsmodels); the jackknife is near to it, and not symmetric
    assert!(
        (low - 0.151).abs() < 0.05 && (high - 0.649).abs() < 0.05,
        "{low} {high}"
    );
    let perfect = cohen(&pairs([30, 0, 0, 10]), 2, 0.95).unwrap();
    assert_close("kappa", perfect.value, 1.0, 1e-12);
    assert!(perfect.bounds.is_err());
    assert!(matches!(
        cohen(&pairs([40, 0, 0, 0]), 2, 0.95),
        Err(Undefined::NotApplicable { .. })
    ));
    assert!(cohen(&pairs([1, 0, 0, 0]), 2, 0.95).is_err());
    let unequal = fleiss(&[vec![2, 1], vec![1, 1]], 0.95);
    assert_eq!(
        unequal.map(|_| ()),
        Err(Undefined::Unequal { fewest: 2, most: 3 })
    );
}

#[test]
fn answers_are_compared_within_between_and_with_the_reference() {
    let mut answers = Answers::default();
    for item in 0..40 {
        let name = format!("{item}");
        let truth = if item % 4 == 0 { "bad" } else { "good" };
        assert_eq!(answers.refer(&name, truth), None);
        for (appraiser, slips) in [("anna", 1), ("ben", 4)] {
            for look in 0..2 {
                let slip = item % 10 == 3 && item / 10 < slips && look == 0;
                let said = if slip { "bad" } else { truth };
                answers.push(&name, appraiser, said);
            }
        }
    }
    assert_eq!(answers.refer("0", "good"), Some("bad".to_owned()));
    let study = answers.study();
    assert_eq!(study.appraisers, ["anna", "ben"]);
    assert_eq!((study.within[0].agreed, study.within[0].items), (39, 40));
    assert_eq!((study.within[1].agreed, study.within[1].items), (36, 40));
    assert_eq!((study.between[0].agreed, study.between[0].items), (37, 40));
    assert!(study.together.is_none(), "two have their own comparison");
    let against = &study.against[1].all;
    assert_eq!((against.agreed, against.items), (36, 40));
    assert_eq!(
        study.against[1].missed,
        [("bad".to_owned(), 0, 10), ("good".to_owned(), 4, 30)]
    );
    assert!(
        study
            .sentence()
            .starts_with("the appraisers agree more than by chance")
    );
}

#[test]
fn a_file_of_answers_reads_as_a_study() {
    let folder = Folder::new();
    let mut lines = "part,appraiser,answer,truth\n".to_owned();
    for item in 0..36 {
        let truth = if item % 3 == 0 { "bad" } else { "good" };
        for (at, who) in ["anna", "ben", "eva"].iter().enumerate() {
            let said = if (item + at) % 12 == 0 { "good" } else { truth };
            let _ = writeln!(lines, "{item},{who},{said},{truth}");
        }
    }
    folder.write("looks.csv", &lines);
    let source = ["agreement", "--from", "looks.csv", "--column", "answer"];
    let told = folder.json(&[&source[..], &["--reference", "truth"]].concat());
    assert_eq!(told["items"], 36);
    assert_eq!(told["between"].as_array().unwrap().len(), 3);
    assert_eq!(told["against"].as_array().unwrap().len(), 3);
    let together = &told["together"];
    assert!(together["kappa"].as_f64().unwrap() > together["kappa_low"].as_f64().unwrap());
    let text = folder.text(&[&source[..], &["--reference", "truth"]].concat());
    assert!(text.contains("anna and ben: "), "{text}");
    assert!(text.contains("bad: 3 of 12 answered otherwise"), "{text}");
    folder.write(
        "twice.csv",
        "part,appraiser,answer,truth\n1,anna,good,good\n1,ben,good,bad\n",
    );
    let twice = [
        "agreement",
        "--from",
        "twice.csv",
        "--column",
        "answer",
        "--reference",
        "truth",
    ];
    folder.refuses(&twice, "give each item one right answer");
}

/// Errors of a caliper that reads 0.01 mm too much at 25 mm and 0.02 mm at 50 mm.
#[test]
fn errors_over_the_range_have_a_bias_at_each_size_and_a_slope() {
    let folder = Folder::new();
    let mut lines = "value,block\n".to_owned();
    for (block, off) in [(10, 0), (25, 1), (50, 2)] {
        for at in 0..6 {
            let value = block * 100 + off + [0, 0, 1, 0, -1, 0][at];
            let _ = writeln!(lines, "{}.{:02},{block}.00", value / 100, value % 100);
        }
    }
    folder.write("blocks.csv", &lines);
    let source = [
        "linearity",
        "--from",
        "blocks.csv",
        "--column",
        "value",
        "--unit",
        "mm",
        "--size",
        "block",
    ];
    let told = folder.json(&source);
    let sizes = told["sizes"].as_array().unwrap();
    assert_eq!(sizes.len(), 3);
    assert_close("bias at 50", sizes[2]["bias"].as_f64().unwrap(), 0.02, 1e-9);
    assert_close("bias", told["bias"].as_f64().unwrap(), 0.01, 1e-9);
    assert!(told["slope_p"].as_f64().unwrap() < 0.001);
    assert!(told["slope_low"].as_f64().unwrap() > 0.0);
    let said = told["sentence"].as_str().unwrap();
    assert!(
        said.contains("a bias is shown: mean error 0.0100 mm"),
        "{said}"
    );
    assert!(said.contains("per 100 mm of size"), "{said}");
    assert!(
        folder
            .text(&source)
            .contains("25.00 mm: 6 readings, mean error 0.0100 mm")
    );
    assert_eq!(told["bias_p"].as_f64().map(|p| p < 0.01), Some(true));
    assert!(matches!(told["undefined"], Value::Null));
}
