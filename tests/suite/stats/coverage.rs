//! How often bounds hold the truth: 10,000 seeded runs of normal readings, rounded to half, one and two
//! standard deviations. What comes out stands in the documentation of the bounds.

use super::reference::assert_close;
use std::f64::consts::TAU;
use tallyjaw::quantity::{Dimension, Quantity, Unit};
use tallyjaw::stats::capability::index;
use tallyjaw::stats::figures::whole;
use tallyjaw::stats::random::Random;
use tallyjaw::stats::{Sample, describe, rounding};

const RUNS: u32 = 10_000;
/// The true standard deviation, in base units and in millimetres.
const SIGMA: f64 = 10_000.0;
const SIGMA_MM: f64 = 0.01;

/// In percent of the runs.
#[derive(Debug, Default)]
struct Held {
    mean: f64,
    sd: f64,
    sd_corrected: f64,
    ppk: f64,
    /// Bounds of Ppk that lie wholly above the truth: the error that would hurt.
    ppk_too_high: f64,
}

/// What a standard deviation is multiplied by for bounds: all bounds are in proportion to it.
struct Factors {
    mean: f64,
    low: f64,
    high: f64,
}

impl Factors {
    fn of(sample: &Sample) -> Self {
        let all = sample.summary();
        let sd = describe::sd(all).unwrap();
        let (low, high) = describe::sd_bounds(all, 0.95).unwrap();
        let top = describe::mean_bounds(all, 0.95).unwrap().1;
        Self {
            mean: (top - describe::mean(all).unwrap()) / sd,
            low: low / sd,
            high: high / sd,
        }
    }
}

/// `n` normal readings about `mean`, rounded to `step`.
fn readings(random: &mut Random, n: usize, mean: f64, step: f64) -> Sample {
    let bases = (0..n).map(|_| {
        let radius = (-2.0 * random.next_share().ln()).sqrt();
        let z = radius * (TAU * random.next_share()).cos();
        whole(step) * whole((mean + z * SIGMA) / step)
    });
    let sample = Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap();
    sample.with_step(Some(Quantity::from_base(Dimension::Length, whole(step))))
}

fn simulate(n: u32, step_in_sds: f64, random: &mut Random) -> Held {
    let step = SIGMA * step_in_sds;
    let count = usize::try_from(n).unwrap();
    let n = f64::from(n);
    let example = readings(random, count, 1_620_000.0, step / 8.0);
    let factors = Factors::of(&example);
    let mut held = Held::default();
    let each = 100.0 / f64::from(RUNS);
    for _ in 0..RUNS {
        let mean = 1_620_000.0 + random.next_share() * step;
        let sample = readings(random, count, mean, step);
        let (all, truth) = (sample.summary(), mean / 1e6);
        let (found, sd) = (describe::mean(all).unwrap(), describe::sd(all).unwrap());
        if sd <= 0.0 {
            continue; // no bounds at all
        }
        let inside = |low: f64, high: f64, truth: f64| {
            if low <= truth && truth <= high {
                each
            } else {
                0.0
            }
        };
        held.mean += inside(found - factors.mean * sd, found + factors.mean * sd, truth);
        let (low, high) = (factors.low * sd, factors.high * sd);
        held.sd += inside(low, high, SIGMA_MM);
        let square = (SIGMA_MM * step_in_sds).powi(2) / 12.0;
        let corrected = |bound: f64| (bound * bound - square).max(0.0).sqrt();
        held.sd_corrected += inside(corrected(low), corrected(high), SIGMA_MM);
        // a limit three true standard deviations away: the true index is 1
        let ppk = index::centered(None, Some(truth + 3.0 * SIGMA_MM), found, sd).unwrap();
        let (low, high) = index::centered_bounds(ppk, n, n - 1.0, 0.95).unwrap();
        held.ppk += inside(low, high, 1.0);
        held.ppk_too_high += if low > 1.0 { each } else { 0.0 };
    }
    held
}

#[test]
fn bounds_hold_the_truth_as_often_as_their_documentation_says() {
    let mut random = Random::new(1957);
    // readings, step in sds: mean, sd, sd_corrected, ppk; from 40,000 runs in another program
    let documented = [
        (10, 0.5, [94.8, 94.6, 94.8, 95.3]),
        (10, 1.0, [94.8, 93.9, 94.3, 94.7]),
        (10, 2.0, [94.3, 88.9, 90.8, 89.7]),
        (30, 0.5, [95.0, 94.7, 94.8, 94.9]),
        (30, 1.0, [95.0, 93.3, 95.1, 93.6]),
        (30, 2.0, [94.9, 76.7, 95.4, 80.7]),
    ];
    for (n, step, want) in documented {
        let held = simulate(n, step, &mut random);
        let got = [held.mean, held.sd, held.sd_corrected, held.ppk];
        for (got, want) in got.iter().zip(want) {
            // four standard errors of both simulations
            let reach = 4.0 * (want * (100.0 - want) / f64::from(RUNS) * 1.25).sqrt();
            assert!(
                (got - want).abs() <= reach,
                "{n} readings, step {step}: {held:?}"
            );
        }
        assert!((94.0..=96.0).contains(&held.mean), "{n}, {step}: {held:?}");
        assert!(held.ppk_too_high <= 4.0, "{n}, {step}: {held:?}");
    }
}

#[test]
fn the_bounds_of_a_corrected_spread_are_those_of_the_spread_without_the_rounding() {
    let sample = readings(&mut Random::new(3), 30, 1_620_000.0, SIGMA);
    let all = sample.summary();
    let (low, high) = describe::sd_bounds(all, 0.95).unwrap();
    let corrected = rounding::sd_corrected_bounds(all, 0.95).unwrap();
    let without = |bound: f64| (bound * bound - SIGMA_MM * SIGMA_MM / 12.0).sqrt();
    assert_close("low", corrected.0, without(low), 1e-12);
    assert_close("high", corrected.1, without(high), 1e-12);
}
