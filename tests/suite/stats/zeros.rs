//! A figure that rounds to zero has no sign: no study and no report says `-0.000`, whatever readings it is given.

use super::study::{Folder, RUN, with};
use crate::harness::cases;
use crate::report::made;
use proptest::prelude::*;
use std::fmt::Write as _;

/// The first number of a text that is negative and zero.
fn negative_zero(text: &str) -> Option<&str> {
    text.match_indices(['-', '−']).find_map(|(at, sign)| {
        let is_sign = !text[..at].ends_with(|c: char| c.is_alphanumeric() || c == ')');
        let number = &text[at + sign.len()..];
        let end = number.find(|c: char| !c.is_ascii_digit() && c != '.');
        let digits = &number[..end.unwrap_or(number.len())];
        let is_zero = digits.starts_with('0') && !digits.contains(|c| matches!(c, '1'..='9'));
        (is_sign && is_zero).then(|| &text[at..at + sign.len() + digits.len()])
    })
}

#[test]
fn a_negative_zero_is_found_in_a_text() {
    for (text, found) in [
        ("mean  -0.000 mm", Some("-0.000")),
        ("-0", Some("-0")),
        ("off by −0.00 mm", Some("−0.00")),
        ("lag-1, -0.001, 2026-01-01, U-0", None),
    ] {
        assert_eq!(negative_zero(text), found, "{text}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(cases(12)))]
    #[test]
    fn no_study_of_readings_around_zero_says_a_negative_zero(
        readings in proptest::collection::vec(-3_i64..=3, 22..40),
        digits in 1_usize..=3,
    ) {
        let folder = Folder::new();
        let mut run = "height,tool,made\n".to_owned();
        for (at, reading) in readings.iter().enumerate() {
            let tool = if at % 2 == 0 { "T-07" } else { "R-02" };
            let sign = if *reading < 0 { "-" } else { "" };
            writeln!(run, "{sign}0.{:0digits$},{tool},{}", reading.abs(), 40 * at).unwrap();
        }
        folder.write("run.csv", &run);
        for (study, more) in [
            ("describe", &["--svg", "a.svg"][..]),
            ("capability", &["--spec", "0.000 ±0.002 mm"]),
            ("chart", &["--svg", "b.svg"]),
            ("chart", &["--kind", "cusum"]),
            ("chart", &["--kind", "ewma", "--svg", "c.svg"]),
            ("chart", &["--size", "3"]),
            ("compare", &["--group", "tool", "--margin", "0.001 mm", "--spec", "0.000 ±0.002 mm"]),
            ("drift", &["--spec", "0.000 ±0.002 mm"]),
        ] {
            let output = folder.run(&with(study, &RUN, more));
            let text = String::from_utf8(output.stdout).unwrap();
            prop_assert_eq!(negative_zero(&text), None, "{} {:?}: {}", study, more, text);
        }
        for picture in ["a.svg", "b.svg", "c.svg"] {
            if let Ok(svg) = std::fs::read_to_string(folder.path().join(picture)) {
                prop_assert_eq!(negative_zero(&svg), None, "{}: {}", picture, svg);
            }
        }
    }
}

/// A gauge study of three parts, two appraisers and two trials, from twelve values.
fn gauge(values: &[i64], digits: usize) -> String {
    let mut text = "value,part,appraiser\n".to_owned();
    for (at, value) in values.iter().enumerate() {
        let (part, appraiser) = (at % 3, at / 3 % 2);
        let sign = if *value < 0 { "-" } else { "" };
        writeln!(text, "{sign}0.{:0digits$},{part},{appraiser}", value.abs()).unwrap();
    }
    text
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(cases(12)))]
    #[test]
    fn neither_gauge_nor_pull_study_says_a_negative_zero(
        values in proptest::collection::vec(-3_i64..=3, 12),
        forces in proptest::collection::vec(0_i64..=3, 5..12),
        digits in 1_usize..=3,
    ) {
        let folder = Folder::new();
        folder.write("gauge.csv", &gauge(&values, digits));
        let forces: Vec<String> = forces.iter().map(|force| format!("0.{force:0digits$}")).collect();
        folder.write("pull.csv", &format!("force\n{}\n", forces.join("\n")));
        let of_gauge = ["--from", "gauge.csv", "--column", "value", "--unit", "mm", "--part", "part", "--appraiser", "appraiser"];
        let of_pull = ["--from", "pull.csv", "--column", "force", "--unit", "N", "--spec", ">= 0.002 N"];
        for (study, source, more) in [
            ("gauge", &of_gauge[..], &[][..]),
            ("gauge", &of_gauge, &["--method", "range"]),
            ("gauge", &of_gauge, &["--spec", "0.000 ±0.002 mm"]),
            ("pull", &of_pull, &[]),
        ] {
            let output = folder.run(&with(study, source, more));
            for bytes in [output.stdout, output.stderr] {
                let text = String::from_utf8(bytes).unwrap();
                prop_assert_eq!(negative_zero(&text), None, "{} {:?}: {}", study, more, text);
            }
        }
    }

    #[test]
    fn no_report_of_readings_around_nominal_says_a_negative_zero(
        hundredths in proptest::collection::vec(-4_i32..=4, 12),
    ) {
        let entries = made::two_tools_with(&hundredths);
        let page = made::compare_tools(&entries).html();
        prop_assert_eq!(negative_zero(&page), None, "{:?}", hundredths);
    }
}

/// Format strings that round a number themselves.
fn rounding_in(text: &str) -> Vec<&str> {
    let pieces = text.split('{').skip(1);
    let arguments = pieces.filter_map(|piece| piece.split_once('}').map(|(inside, _)| inside));
    let rounds = |inside: &&str| {
        if inside.contains(char::is_whitespace) {
            return false; // a block of code
        }
        let form = inside.split_once(':').map(|(_, form)| form);
        form.and_then(|form| form.split_once('.'))
            .is_some_and(|(_, places)| {
                places.starts_with(|c: char| c.is_ascii_digit() || c == '*') || places.contains('$')
            })
    };
    arguments.filter(rounds).collect()
}

#[test]
fn figures_are_rounded_for_people_in_one_place() {
    let mut files = Vec::new();
    let mut folders: Vec<_> = ["stats", "report", "cli/study"]
        .map(|folder| {
            std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
                .join("src")
                .join(folder)
        })
        .into();
    while let Some(folder) = folders.pop() {
        for item in std::fs::read_dir(folder).unwrap() {
            let path = item.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ext| ext == "rs") {
                files.push(path);
            }
        }
    }
    assert!(files.len() > 50, "{}", files.len());
    for file in files.iter().filter(|file| !file.ends_with("stats/text.rs")) {
        let text = std::fs::read_to_string(file).unwrap();
        let found = rounding_in(&text);
        assert!(
            found.is_empty(),
            "{}: {found:?}: use stats::text::fixed",
            file.display()
        );
    }
}
