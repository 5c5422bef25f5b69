//! Reads the reference files, and says how many digits agree.

use serde_json::Value;
use std::fs;
use std::path::PathBuf;
use tallyjaw::quantity::{Decimal, Quantity, Unit};
use tallyjaw::stats::Sample;

pub(crate) fn text(name: &str) -> String {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/reference/stats");
    fs::read_to_string(folder.join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

pub(crate) fn json(name: &str) -> Value {
    serde_json::from_str(&text(name)).unwrap()
}

/// A worked example of the handbook.
pub(crate) fn example(name: &str) -> Value {
    let all = json("handbook_checks.json");
    let checks = all["checks"].as_array().unwrap();
    let found = checks.iter().find(|check| check["name"] == name);
    found
        .unwrap_or_else(|| panic!("no example {name:?}"))
        .clone()
}

/// The cells of a CSV file without quotes, a row a line, without its heading.
pub(crate) fn rows(name: &str) -> Vec<Vec<String>> {
    let text = text(name);
    let rows: Vec<Vec<String>> = text
        .lines()
        .skip(1)
        .map(|line| line.split(',').map(str::to_owned).collect())
        .collect();
    assert!(!rows.is_empty(), "{name} has no rows");
    rows
}

pub(crate) fn number(cell: &str) -> f64 {
    cell.parse()
        .unwrap_or_else(|_| panic!("{cell:?} is no number"))
}

/// A decimal text as exact millimetres, whatever it measures.
pub(crate) fn exact(text: &str) -> Quantity {
    let digits: Decimal = text.parse().unwrap();
    Quantity::of(digits, Unit::Millimetre).unwrap()
}

/// Decimal texts as a sample of millimetres.
pub(crate) fn sample<'t>(texts: impl IntoIterator<Item = &'t str>) -> Sample {
    Sample::new(texts.into_iter().map(exact), Unit::Millimetre).unwrap()
}

/// The numbers of a JSON list as a sample of millimetres; each has at most six decimals.
pub(crate) fn sample_of(list: &Value) -> Sample {
    let list = list.as_array().unwrap();
    assert!(!list.is_empty());
    let texts: Vec<String> = list.iter().map(ToString::to_string).collect();
    sample(texts.iter().map(String::as_str))
}

/// Fails unless `got` agrees with `want` to a relative `tolerance`.
#[track_caller]
pub(crate) fn assert_close(what: &str, got: f64, want: f64, tolerance: f64) {
    let error = if want == 0.0 {
        got.abs()
    } else {
        ((got - want) / want).abs()
    };
    assert!(
        error <= tolerance,
        "{what}: got {got:e}, want {want:e}, off by {error:e} where {tolerance:e} is allowed"
    );
}

/// Digits that agree, at most 16.
pub(crate) fn digits(got: f64, want: f64) -> f64 {
    if got == want {
        return 16.0;
    }
    (-((got - want) / want).abs().log10()).min(16.0)
}
