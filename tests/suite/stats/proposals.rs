//! How often a proposal from factory pieces holds the share of the true population that it says: the table in
//! `docs/no-sheet.md`.
//!
//! `TALLYJAW_PROPOSALS=1000` makes that many sets a row and prints the table; by default there are fewer.

use crate::harness::cases;
use std::fmt::Write as _;
use tallyjaw::quantity::{Dimension, Quantity, Unit};
use tallyjaw::stats::distribution::below;
use tallyjaw::stats::figures::whole;
use tallyjaw::stats::proposal::{COVERAGE, propose};
use tallyjaw::stats::random::Random;
use tallyjaw::stats::{Sample, Undefined};

/// 0.01 mm in nanometres.
const STEP: f64 = 10_000.0;

fn sets() -> u32 {
    let asked = std::env::var("TALLYJAW_PROPOSALS");
    asked.map_or_else(|_| cases(200), |asked| asked.parse().unwrap())
}

/// A factory's pieces: normal with this standard deviation in steps, about a mean anywhere within a step, rounded to the
/// step. With the share of the population between two values.
fn share_held(random: &mut Random, n: u32, sd: f64) -> f64 {
    let mean = 162.0 + random.next_share();
    let bases = (0..n).map(|_| whole(STEP) * whole(mean + sd * random.next_normal()));
    let sample = Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap();
    let sample = sample.with_step(Some(Quantity::from_base(Dimension::Length, whole(STEP))));
    let (low, high) = propose(sample.summary()).unwrap().ends;
    let z = |end: i64| (tallyjaw::stats::sample::float(end.into()) / STEP - mean) / sd;
    below(z(high)) - below(z(low))
}

#[test]
fn a_proposal_holds_the_share_of_the_population_that_it_says_as_often_as_it_says() {
    let mut random = Random::new(8_217);
    let sets = sets();
    let mut table =
        String::from("| pieces | sd 0.3 | 0.5 | 1 | 2 | 4 steps |\n|---|---|---|---|---|---|\n");
    for n in [3, 4, 5, 7, 10, 15, 20, 30] {
        let _ = write!(table, "| {n} |");
        for sd in [0.3, 0.5, 1.0, 2.0, 4.0] {
            let held = (0..sets).filter(|_| share_held(&mut random, n, sd) >= COVERAGE);
            let percent = 100.0 * f64::from(u32::try_from(held.count()).unwrap()) / f64::from(sets);
            // 95 % is promised; four standard errors of the simulation are allowed.
            let allowed = 95.0 - 4.0 * 100.0 * (0.95 * 0.05 / f64::from(sets)).sqrt();
            assert!(
                percent >= allowed,
                "{n} pieces, sd {sd}: {percent} %\n{table}"
            );
            let _ = write!(table, " {percent:.1} |");
        }
        table.push('\n');
    }
    println!("{table}");
}

#[test]
fn a_proposal_rounds_the_mean_to_the_resolution_and_its_ends_outwards() {
    let sample = |bases: Vec<i64>| {
        let sample = Sample::from_bases(bases, Unit::Millimetre).unwrap();
        sample.with_step(Some(Quantity::from_base(Dimension::Length, 10_000)))
    };
    let five = sample(vec![1_610_000, 1_620_000, 1_620_000, 1_630_000, 1_620_000]);
    let proposal = propose(five.summary()).unwrap();
    // k(5; 0.95, 0.95) = 5.0769 (tests/reference/stats/tolerance_k.csv), sd = 0.00707 mm: 1.62 ± 0.0359 mm
    assert_eq!(proposal.nominal, 1_620_000);
    assert_eq!(proposal.ends, (1_580_000, 1_660_000));
    assert!(
        (proposal.factor - 5.0769).abs() < 1e-3,
        "{}",
        proposal.factor
    );
    // All equal: the resolution's own spread, 0.00289 mm, is taken: 1.62 ± 0.0147 mm.
    let equal = propose(sample(vec![1_620_000; 5]).summary()).unwrap();
    assert!(equal.is_of_resolution);
    assert_eq!(equal.ends, (1_600_000, 1_640_000));
    let two = propose(sample(vec![1_620_000, 1_630_000]).summary());
    assert_eq!(two, Err(Undefined::TooFew { got: 2, want: 3 }));
}
