//! How often a test raises a false alarm, and how often it finds what is wrong: the tables of
//! `docs/false-alarms.md`, which this prints.
//!
//! Samples are normal, with a mean anywhere between two values of the instrument, rounded to its resolution;
//! seeded, so that the rates are the same for ever.

use crate::harness::every;
use std::fmt::Write as _;
use std::path::PathBuf;
use tallyjaw::quantity::{Dimension, Quantity, Unit};
use tallyjaw::stats::random::Random;
use tallyjaw::stats::{Sample, distribution, figures, normality, outlier};

/// The resolution, in nanometres.
const STEP: i64 = 10_000;
const SIZES: [usize; 5] = [3, 5, 10, 30, 100];
/// Standard deviations, in counts.
const SPREADS: [f64; 3] = [0.5, 1.0, 2.0];
const SETS: u32 = 2_000;

/// Readings in counts, and rounded ones as a sample.
fn readings(random: &mut Random, n: usize, sd: f64) -> Vec<f64> {
    let mean = 162.0 + random.next_share();
    let value = |_| mean + sd * distribution::quantile(random.next_share()).unwrap();
    (0..n).map(value).collect()
}

fn sample(counts: &[f64]) -> Sample {
    let bases = counts.iter().map(|count| figures::whole(*count) * STEP);
    let sample = Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap();
    sample.with_step(Some(Quantity::from_base(Dimension::Length, STEP)))
}

fn found(sample: &Sample) -> Vec<i64> {
    // equal readings have no outlier
    let found = outlier::found(sample.summary()).unwrap_or_default();
    found.iter().map(|far| far.base).collect()
}

/// The share of this number of sets for which `alarm` is true.
fn share(sets: u32, mut alarm: impl FnMut() -> bool) -> f64 {
    let mut alarms = 0;
    for _ in 0..sets {
        alarms += u32::from(alarm());
    }
    f64::from(alarms) / f64::from(sets)
}

/// The rows of the table stand in the document, letter by letter.
#[track_caller]
fn assert_told(table: &str) {
    println!("{table}");
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("docs/false-alarms.md");
    let told = std::fs::read_to_string(&path).unwrap_or_default();
    for row in table.lines() {
        assert!(
            told.contains(row),
            "docs/false-alarms.md tells something else than\n{row}"
        );
    }
}

#[test]
fn an_outlier_is_told_in_no_more_than_one_of_twenty_samples_without_any() {
    let mut table = "| readings | sd, steps | false alarms | the plain test | at 5 sd found | at 6 sd found | two at 6 sd, both found |\n|---|---|---|---|---|---|---|\n".to_owned();
    let cells = SIZES.into_iter().flat_map(|n| SPREADS.map(|sd| (n, sd)));
    for (n, sd) in cells.step_by(every(4)) {
        let mut random = Random::new(13);
        let alarms = share(SETS, || {
            !found(&sample(&readings(&mut random, n, sd))).is_empty()
        });
        let plain = share(SETS, || {
            let known = sample(&readings(&mut random, n, sd));
            let unknown = Sample::from_bases(known.bases().to_vec(), Unit::Millimetre).unwrap();
            !found(&unknown).is_empty()
        });
        let mut at = |distances: &[f64]| {
            share(SETS, || {
                let mut counts = readings(&mut random, n, sd);
                let mean = counts.iter().sum::<f64>() / f64::from(u32::try_from(n).unwrap());
                for (count, distance) in counts.iter_mut().zip(distances) {
                    *count = mean + distance * sd;
                }
                let found = found(&sample(&counts));
                let mut far = counts.iter().take(distances.len());
                far.all(|far| found.contains(&(figures::whole(*far) * STEP)))
            })
        };
        let (five, six) = (at(&[5.0]), at(&[6.0]));
        let two = if n >= 10 {
            format!("{:.0} %", 100.0 * at(&[6.0, 6.5]))
        } else {
            "–".to_owned()
        };
        let _ = writeln!(
            table,
            "| {n} | {sd} | {:.1} % | {:.1} % | {:.0} % | {:.0} % | {two} |",
            100.0 * alarms,
            100.0 * plain,
            100.0 * five,
            100.0 * six
        );
        assert!(alarms <= 0.05, "n {n}, sd {sd}: {alarms}");
        if n >= 30 {
            assert!(six >= 0.9, "n {n}, sd {sd}: {six}");
        }
    }
    assert_told(&table);
}

/// 20 sets by default; the table needs the 1,000 of `TALLYJAW_SETS=1000` and minutes.
#[test]
fn a_normal_shape_is_doubted_in_no_more_than_one_of_twenty_samples() {
    let asked = std::env::var("TALLYJAW_SETS").ok();
    let sets: u32 = asked.as_deref().map_or(20, |sets| sets.parse().unwrap());
    let mut table = "| readings | sd, steps | false alarms | nothing told | uniform found | exponential found |\n|---|---|---|---|---|---|\n".to_owned();
    for n in SIZES {
        for sd in SPREADS {
            let mut random = Random::new(17);
            let told = |sample: &Sample| normality::normality_p(sample.summary());
            let mut untold = 0;
            let alarms = share(sets, || {
                let p = told(&sample(&readings(&mut random, n, sd)));
                untold += u32::from(p.is_err());
                p.is_ok_and(|p| p < 0.05)
            });
            let mut of = |shape: fn(f64) -> f64| {
                share(sets, || {
                    let mean = 162.0 + random.next_share();
                    let value = |_| mean + sd * shape(random.next_share());
                    let counts: Vec<f64> = (0..n).map(value).collect();
                    told(&sample(&counts)).is_ok_and(|p| p < 0.05)
                })
            };
            let uniform = of(|share| 12.0_f64.sqrt() * (share - 0.5));
            let exponential = of(|share| -share.ln() - 1.0);
            let percent = |share: f64| format!("{:.1} %", 100.0 * share);
            let untold = f64::from(untold) / f64::from(sets);
            let _ = writeln!(
                table,
                "| {n} | {sd} | {} | {} | {} | {} |",
                percent(alarms),
                percent(untold),
                percent(uniform),
                percent(exponential)
            );
            // three standard errors of so many sets
            let reach = 3.0 * (0.05 * 0.95 / f64::from(sets)).sqrt();
            assert!(alarms <= 0.05 + reach, "n {n}, sd {sd}: {alarms}");
        }
    }
    if sets == 1000 {
        assert_told(&table);
    }
}
