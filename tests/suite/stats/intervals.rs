//! Tolerance and prediction intervals against published and independent values, and as an engineer uses them.

use super::reference::{assert_close, json};
use super::study::{Folder, RUN, error, with};
use std::fmt::Write as _;
use tallyjaw::quantity::{Dimension, Quantity, Unit};
use tallyjaw::stats::distribution::{Binomial, Hypergeometric};
use tallyjaw::stats::tolerance::{Side, free, prediction};
use tallyjaw::stats::{Sample, Undefined};

fn side(name: &str) -> Side {
    Side::from_name(name).unwrap()
}

#[test]
fn counts_have_the_probabilities_of_an_independent_program() {
    let reference = json("intervals.json");
    for case in reference["binomial"].as_array().unwrap() {
        let of = |name: &str| case[name].as_u64().unwrap();
        let counts = Binomial::new(of("n"), case["p"].as_f64().unwrap()).unwrap();
        let what = case.to_string();
        let want = |name: &str| case[name].as_f64().unwrap();
        assert_close(&what, counts.at_most(of("k")), want("at_most"), 1e-8);
        assert_close(&what, counts.above(of("k")), want("above"), 1e-8);
    }
    for case in reference["hypergeometric"].as_array().unwrap() {
        let of = |name: &str| case[name].as_u64().unwrap();
        let counts = Hypergeometric::new(of("lot"), of("with"), of("n")).unwrap();
        let want = case["at_most"].as_f64().unwrap();
        assert_close(&case.to_string(), counts.at_most(of("k")), want, 1e-8);
    }
    assert!(Binomial::new(5, 0.0).is_err() && Hypergeometric::new(10, 11, 2).is_err());
}

/// Wilks 1941; the numbers stand in many books: 59, 93, 299, 473 (from memory).
#[test]
fn the_extremes_need_as_many_pieces_as_wilks_says() {
    for (side, content, confidence, pieces) in [
        (Side::Lower, 0.95, 0.95, 59),
        (Side::Both, 0.95, 0.95, 93),
        (Side::Upper, 0.99, 0.95, 299),
        (Side::Both, 0.99, 0.95, 473),
        (Side::Both, 0.90, 0.90, 38),
    ] {
        assert_eq!(free::pieces(side, content, confidence), Ok(pieces));
    }
    assert!(free::pieces(Side::Both, 1.0, 0.95).is_err());
}

#[test]
fn every_place_between_readings_is_that_of_an_independent_program() {
    let reference = json("intervals.json");
    for case in reference["free"].as_array().unwrap() {
        let n = case["n"].as_i64().unwrap();
        let of = |name: &str| case[name].as_f64().unwrap();
        let sample = Sample::from_bases((1..=n).collect(), Unit::Millimetre).unwrap();
        let found = free::interval(
            sample.summary(),
            side(case["side"].as_str().unwrap()),
            of("content"),
            of("confidence"),
        );
        match (found, case["cut"].as_u64()) {
            (Ok(found), Some(cut)) => {
                assert_eq!(found.below + found.above, cut, "{case}");
                assert_close(&case.to_string(), found.confidence, of("reached"), 1e-9);
                let low = found.low.map(|low| sample.scale().nearest(low));
                let below = i64::try_from(found.below).unwrap();
                assert_eq!(low, (below > 0).then_some(below), "{case}");
            }
            (Err(Undefined::TooFew { want, .. }), None) => {
                assert_eq!(want, case["pieces"].as_u64().unwrap(), "{case}");
            }
            (found, _) => panic!("{case}: {found:?}"),
        }
    }
}

#[test]
fn an_end_between_readings_is_half_a_resolution_further_out() {
    let bases = (0..100).map(|at| 1_600_000 + 10_000 * (at % 10));
    let sample = Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap();
    let step = Quantity::from_base(Dimension::Length, 10_000);
    let known = sample.clone().with_step(Some(step));
    let of = |sample: &Sample| {
        let found = free::interval(sample.summary(), Side::Both, 0.95, 0.95).unwrap();
        (found.low.unwrap(), found.high.unwrap())
    };
    assert_eq!(of(&sample), (1.6, 1.69));
    assert_close("low", of(&known).0, 1.595, 1e-12);
    assert_close("high", of(&known).1, 1.695, 1e-12);
}

#[test]
fn every_factor_for_the_next_pieces_is_that_of_an_independent_program() {
    let reference = json("intervals.json");
    for case in reference["prediction"].as_array().unwrap() {
        let of = |name: &str| case[name].as_u64().unwrap();
        let confidence = case["confidence"].as_f64().unwrap();
        let side = side(case["side"].as_str().unwrap());
        let factor = prediction::factor(side, of("n"), of("next"), confidence).unwrap();
        let want = case["factor"].as_f64().unwrap();
        assert_close(&case.to_string(), factor, want, 1e-6);
    }
    let none = prediction::factor(Side::Both, 10, 0, 0.95);
    assert!(matches!(none, Err(Undefined::OutOfRange { .. })));
    let one = prediction::factor(Side::Both, 1, 1, 0.95);
    assert_eq!(one, Err(Undefined::TooFew { got: 1, want: 2 }));
}

/// The next piece is beyond the extremes of n with probability 2/(n+1); 39 are enough for 95 %, 19 for one end.
#[test]
fn the_next_piece_lies_between_the_extremes_of_enough_pieces() {
    assert_eq!(prediction::pieces(Side::Both, 1, 0.95), Ok(39));
    assert_eq!(prediction::pieces(Side::Lower, 1, 0.95), Ok(19));
    // n(n-1)/((n+m)(n+m-1)), David and Nagaraja, from memory
    assert_close(
        "5 of 100",
        prediction::confidence(100, 2, 5),
        100.0 * 99.0 / (105.0 * 104.0),
        1e-12,
    );
}

#[test]
fn an_interval_is_claimed_only_of_a_stable_process_with_enough_pieces() {
    let folder = Folder::new();
    let spec = ["--spec", "1.62 ±0.05 mm"];
    let all = folder.json(&with("tolerance", &RUN, &spec));
    assert_eq!(
        (&all["method"], &all["side"]),
        (&"normal".into(), &"both".into())
    );
    assert_eq!(all["shown"], true, "{all}");
    let sentence = all["sentence"].as_str().unwrap();
    let said = "with 95 % confidence at least 99 % of all pieces lie between 1.5823 mm and 1.6673 mm, within the limits; with 95 % confidence the next piece lies between ";
    assert!(sentence.starts_with(said), "{sentence}");
    let few = "too few readings: got 25, want at least 473";
    assert_eq!(all["undefined"]["any_low"], few);
    let gated = folder.run(&with(
        "tolerance",
        &RUN,
        &["--spec", "1.62 ±0.03 mm", "--gate"],
    ));
    assert_eq!(gated.status.code(), Some(1), "{}", error(&gated));
    folder.write("five.csv", "height\n1.62\n1.63\n1.61\n1.62\n1.64\n");
    let five = ["--from", "five.csv", "--column", "height", "--unit", "mm"];
    let few = folder.text(&with("tolerance", &five, &[]));
    let said = "not claimed, too few pieces to test distribution and stability: got 5, want at least 20. What to do: measure more pieces";
    assert!(few.contains(said), "{few}");
    folder.refuses(
        &with("tolerance", &RUN, &["--content", "100"]),
        "want a percentage between 0 and 100, such as 95",
    );
}

#[test]
fn where_normality_is_rejected_the_interval_lies_between_readings() {
    let folder = Folder::new();
    let mut text = "force\n".to_owned();
    let mut random = tallyjaw::stats::random::Random::new(5);
    for _ in 0..120 {
        let excess = -10.0 * random.next_share().ln();
        let _ = writeln!(text, "{:.0}", 180.0 + excess);
    }
    folder.write("skew.csv", &text);
    let skew = [
        "--from", "skew.csv", "--column", "force", "--unit", "N", "--spec", ">= 170 N",
    ];
    let all = folder.json(&with("tolerance", &skew, &["--content", "95"]));
    assert_eq!(
        (&all["method"], &all["side"]),
        (&"any".into(), &"lower".into())
    );
    assert!(all["any_low"].as_f64().unwrap() > 179.0, "{all}");
    let sentence = all["sentence"].as_str().unwrap();
    assert!(sentence.contains("of all pieces lie above 1"), "{sentence}");
    assert_eq!(
        all["undefined"]["any_high"],
        "does not apply: the interval has one end"
    );
    let names: Vec<&str> = all["grounds"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| one["name"].as_str().unwrap())
        .collect();
    assert_eq!(names, ["pieces", "stable", "independent"]);
    let asked = folder.json(&with("tolerance", &skew, &["--method", "normal"]));
    assert_eq!(
        (&asked["method"], &asked["shown"]),
        (&"normal".into(), &false.into())
    );
}
