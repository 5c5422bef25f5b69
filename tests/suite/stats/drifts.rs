//! A drift study sorts by place, and does not predict a limit that is already passed.

use tallyjaw::quantity::{Dimension, Quantity, Unit};
use tallyjaw::stats::drift::{Drift, FIGURES};
use tallyjaw::stats::{Limits, Sample};

fn limits() -> Limits {
    let end = |base| Some(Quantity::from_base(Dimension::Length, base));
    Limits {
        lower: end(1_570_000),
        nominal: None,
        upper: end(1_670_000),
    }
}

/// Of pairs of a place and hundredths of a millimetre.
fn drift(pairs: &[(i64, i64)]) -> Drift {
    let bases = pairs.iter().map(|(_, hundredths)| hundredths * 10_000);
    let sample = Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap();
    let places = pairs.iter().map(|(place, _)| *place).collect();
    Drift::new(&sample, places, limits()).unwrap()
}

fn outlook(of: &Drift) -> Vec<String> {
    of.outlook("", |place| format!("{place:.0}"))
}

#[test]
fn the_order_of_the_lines_of_a_file_does_not_matter() {
    let mut pairs: Vec<(i64, i64)> = (0..20).map(|at| (40 * at, 160 + at / 4 + at % 2)).collect();
    let sorted = drift(&pairs);
    pairs.reverse();
    pairs.swap(3, 11);
    let mixed = drift(&pairs);
    assert_eq!(sorted.sample().bases(), mixed.sample().bases());
    for row in FIGURES {
        assert_eq!((row.of)(&sorted), (row.of)(&mixed), "{}", row.name);
    }
    assert!(mixed.mann_kendall().unwrap().s > 0.0, "rising by place");
}

#[test]
fn a_limit_that_was_passed_is_not_foretold() {
    let past: Vec<(i64, i64)> = (0..20).map(|at| (at, 162 + at / 2 + at % 2)).collect();
    let said = outlook(&drift(&past));
    assert_eq!(said.len(), 2, "{said:?}");
    assert_eq!(said[0], "9 of 20 readings are outside the limits already");
    assert!(
        said[1].starts_with("the fitted line is beyond the upper limit already, since 10 ("),
        "{said:?}"
    );
    // falling back into the limits from above: the upper one is passed, the lower one is ahead
    let above: Vec<(i64, i64)> = (0..20).map(|at| (at, 190 - at / 2 - at % 2)).collect();
    let said = outlook(&drift(&above));
    assert!(
        said.contains(&"the fitted line is beyond the upper limit already".to_owned()),
        "{said:?}"
    );
}

#[test]
fn single_pieces_reach_a_limit_before_the_line_does() {
    let rising: Vec<(i64, i64)> = (0..20)
        .map(|at| (at, 160 + at / 5 + 2 * (at % 2)))
        .collect();
    let of = drift(&rising);
    let (line, single) = (of.forecast().unwrap(), of.single_forecast().unwrap());
    assert!(single < line.at, "{single} {line:?}");
    let said = outlook(&of);
    assert!(
        said[0].starts_with("if the trend continues, the fitted line reaches the upper limit at "),
        "{said:?}"
    );
    assert!(
        said[1].ends_with(", more than 1 piece in 20 may be beyond that limit"),
        "{said:?}"
    );
}
