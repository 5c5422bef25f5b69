//! How often intervals hold what they say, on pieces that were read to one resolution: the tables in `docs/coverage.md`.
//!
//! `TALLYJAW_COVERAGE=10000` makes that many sets for each row, prints the tables, and fails where the page has others; by
//! default there are fewer, and only the rates are looked at.

use crate::harness::cases;
use std::fmt::Write as _;
use std::path::PathBuf;
use tallyjaw::quantity::{Dimension, Quantity, Unit};
use tallyjaw::stats::capability::index;
use tallyjaw::stats::compare::Comparison;
use tallyjaw::stats::distribution::{below, quantile};
use tallyjaw::stats::figures::whole;
use tallyjaw::stats::planning::{Difference, Equivalence, Index, Question};
use tallyjaw::stats::random::Random;
use tallyjaw::stats::rounding::sd_at_least_of_step;
use tallyjaw::stats::sampling::{Points, Scheme, Severity};
use tallyjaw::stats::tolerance::{Side, factor, free, prediction};
use tallyjaw::stats::{Limits, Sample, Undefined, describe};

/// 0.01 mm in nanometres.
const STEP: f64 = 10_000.0;
const CONFIDENCE: f64 = 0.95;

pub(super) fn sets(default: u32) -> u32 {
    let asked = std::env::var("TALLYJAW_COVERAGE");
    asked.map_or_else(|_| cases(default), |asked| asked.parse().unwrap())
}

/// Prints a table; with all sets, it must stand in the page.
pub(super) fn print(table: &str, sets: u32) {
    println!("{table}");
    if sets >= 10_000 {
        let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("docs/coverage.md");
        let page = std::fs::read_to_string(path).unwrap();
        assert!(page.contains(table), "docs/coverage.md has another table");
    }
}

/// In percent of `sets`.
pub(super) fn percent(held: f64, sets: u32) -> f64 {
    100.0 * held / f64::from(sets)
}

/// The lowest rate, in percent, that so many sets may show of what holds as often as its nominal: less four standard errors.
fn least(nominal: f64, sets: u32) -> f64 {
    100.0 * (nominal - 4.0 * (nominal * (1.0 - nominal) / f64::from(sets)).sqrt())
}

/// Fails if a rate is below its nominal by more than four standard errors of the simulation.
#[track_caller]
pub(super) fn assert_held(what: &str, percent: f64, nominal: f64, sets: u32) {
    assert!(percent >= least(nominal, sets), "{what}: {percent} %");
}

/// The same of what holds only about as often as its 95 %: at least `floor` of 100, where so many sets can show it.
#[track_caller]
pub(super) fn assert_about(what: &str, percent: f64, floor: f64, sets: u32) {
    let least = floor.min(least(CONFIDENCE, sets));
    assert!(percent >= least, "{what}: {percent} %");
}

/// The distribution of pieces, in steps.
#[derive(Debug, Clone, Copy)]
enum Shape {
    Normal {
        mean: f64,
        sd: f64,
    },
    /// As waiting times, from this value on: skewed.
    Exponential {
        from: f64,
        sd: f64,
    },
}

impl Shape {
    fn draw(self, random: &mut Random) -> f64 {
        match self {
            Self::Normal { mean, sd } => mean + sd * random.next_normal(),
            Self::Exponential { from, sd } => from - sd * random.next_share().ln(),
        }
    }

    /// The share of the pieces below a value.
    fn below(self, value: f64) -> f64 {
        match self {
            Self::Normal { mean, sd } => below((value - mean) / sd),
            Self::Exponential { from, sd } => 1.0 - (-(value - from).max(0.0) / sd).exp(),
        }
    }

    fn content(self, (low, high): (Option<f64>, Option<f64>)) -> f64 {
        let of = |end: f64| self.below(end * 1e6 / STEP);
        high.map_or(1.0, of) - low.map_or(0.0, of)
    }

    fn sample(self, random: &mut Random, n: u32) -> Sample {
        let bases = (0..n).map(|_| whole(STEP) * whole(self.draw(random)));
        let sample = Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap();
        sample.with_step(Some(Quantity::from_base(Dimension::Length, whole(STEP))))
    }
}

fn around(sample: &Sample, side: Side, factor: f64) -> (Option<f64>, Option<f64>) {
    let all = sample.summary();
    let (mean, (sd, _)) = (
        describe::mean(all).unwrap(),
        sd_at_least_of_step(all).unwrap(),
    );
    let end = |sign: f64| Some(mean + sign * factor * sd);
    match side {
        Side::Both => (end(-1.0), end(1.0)),
        Side::Lower => (end(-1.0), None),
        Side::Upper => (None, end(1.0)),
    }
}

/// How often each of the intervals of normal pieces holds.
fn normal(random: &mut Random, n: u32, sd: f64, sets: u32) -> [f64; 5] {
    let of = |side, content| factor(side, n.into(), content, CONFIDENCE).unwrap();
    let next = |side, next| prediction::factor(side, n.into(), next, CONFIDENCE).unwrap();
    let tolerance = [(Side::Both, 0.95), (Side::Both, 0.99), (Side::Lower, 0.99)];
    let contents = tolerance.map(|(side, content)| (side, content, of(side, content)));
    let nexts = [
        (Side::Both, 1, next(Side::Both, 1)),
        (Side::Both, 10, next(Side::Both, 10)),
    ];
    let mut held = [0.0; 5];
    for _ in 0..sets {
        let shape = Shape::Normal {
            mean: 162.0 + random.next_share(),
            sd,
        };
        let sample = shape.sample(random, n);
        for (held, (side, content, factor)) in held.iter_mut().zip(contents) {
            let is_held = shape.content(around(&sample, side, factor)) >= content;
            *held += f64::from(u8::from(is_held));
        }
        for (held, (side, next, factor)) in held[3..].iter_mut().zip(nexts) {
            *held += shape.content(around(&sample, side, factor)).powi(next);
        }
    }
    held.map(|held| percent(held, sets))
}

#[test]
fn intervals_of_normal_pieces_hold_as_often_as_they_say() {
    let sets = sets(200);
    let mut random = Random::new(16_269);
    let mut table = String::from(
        "| pieces | sd, steps | 95 % of pieces | 99 % of pieces | 99 %, one end | next piece | next 10 |\n|---|---|---|---|---|---|---|\n",
    );
    for n in [5, 10, 30, 100] {
        for sd in [0.5, 1.0, 2.0] {
            let rates = normal(&mut random, n, sd, sets);
            let _ = write!(table, "| {n} | {sd} |");
            for rate in rates {
                assert_held(
                    &format!("{n} pieces, sd {sd}, {rates:?}"),
                    rate,
                    CONFIDENCE,
                    sets,
                );
                let _ = write!(table, " {rate:.1} % |");
            }
            table.push('\n');
        }
    }
    print(&table, sets);
}

/// How often intervals between readings hold; `None` where there are too few readings.
fn any(
    random: &mut Random,
    n: u32,
    shape: impl Fn(&mut Random) -> Shape,
    sets: u32,
) -> [Option<f64>; 4] {
    let tolerance = [(Side::Both, 0.5), (Side::Both, 0.9), (Side::Lower, 0.9)];
    let mut held = [Some(0.0); 4];
    for _ in 0..sets {
        let shape = shape(random);
        let sample = shape.sample(random, n);
        let all = sample.summary();
        for (held, (side, content)) in held.iter_mut().zip(tolerance) {
            let found = free::interval(all, side, content, CONFIDENCE).ok();
            let is_held = found.map(|found| shape.content((found.low, found.high)) >= content);
            *held = held
                .zip(is_held)
                .map(|(held, is_held)| held + f64::from(u8::from(is_held)));
        }
        let found = prediction::interval(all, Side::Lower, 1, CONFIDENCE).ok();
        let contained = found.map(|found| shape.content((found.low, found.high)));
        held[3] = held[3]
            .zip(contained)
            .map(|(held, contained)| held + contained);
    }
    held.map(|held| Some(percent(held?, sets)))
}

#[test]
fn intervals_between_readings_hold_whatever_the_distribution() {
    let sets = sets(200);
    let mut random = Random::new(1941);
    let mut table = String::from(
        "| distribution | pieces | sd, steps | 50 % of pieces | 90 % of pieces | 90 %, lower end | next piece, lower end |\n|---|---|---|---|---|---|---|\n",
    );
    for name in ["normal", "exponential"] {
        for n in [5, 10, 30, 100] {
            for sd in [0.5, 1.0, 2.0] {
                let shape = |random: &mut Random| {
                    let place = 162.0 + random.next_share();
                    match name {
                        "normal" => Shape::Normal { mean: place, sd },
                        _ => Shape::Exponential { from: place, sd },
                    }
                };
                let rates = any(&mut random, n, shape, sets);
                let _ = write!(table, "| {name} | {n} | {sd} |");
                for rate in rates {
                    let Some(rate) = rate else {
                        table.push_str(" – |");
                        continue;
                    };
                    assert_held(
                        &format!("{name}, {n} pieces, sd {sd}"),
                        rate,
                        CONFIDENCE,
                        sets,
                    );
                    let _ = write!(table, " {rate:.1} % |");
                }
                table.push('\n');
            }
        }
    }
    print(&table, sets);
}

/// How often a plan accepts lots of normal pieces with this share below the limit.
fn accepted(random: &mut Random, plan: &Scheme, share: f64, sd: f64, sets: u32) -> f64 {
    let n = u32::try_from(plan.normal.pieces()).unwrap();
    let z = quantile(1.0 - share).unwrap();
    let mut held = 0.0;
    for _ in 0..sets {
        // The limit lies between two steps, so that a reading is on the side of its piece.
        let limit = 162.5;
        let mean = limit + z * sd;
        let sample = Shape::Normal { mean, sd }.sample(random, n);
        let lower = Quantity::from_base(Dimension::Length, whole(limit * STEP));
        let limits = Limits {
            lower: Some(lower),
            ..Limits::default()
        };
        // One good lot in a thousand looks as if its pieces were not normal, and is not judged by variables.
        let found = plan.inspect(Severity::Normal, &sample, &limits);
        held += f64::from(u8::from(found.is_ok_and(|found| found.judged.is_accepted)));
    }
    percent(held, sets)
}

/// Makes plans for these points and this standard deviation in steps.
type MakeScheme = fn(&Points, f64) -> Result<Scheme, Undefined>;

#[test]
fn sampling_plans_accept_lots_as_often_as_their_risks_say() {
    let sets = sets(50);
    let mut random = Random::new(2_859);
    let points = Points {
        aql: 0.01,
        producer: 0.05,
        limiting: 0.065,
        consumer: 0.10,
    };
    let mut table = String::from(
        "| plan | pieces | sd, steps | accepted at the acceptance quality limit | accepted at the limiting quality |\n|---|---|---|---|---|\n",
    );
    let plans: [(&str, MakeScheme); 3] = [
        ("attributes", |points: &Points, _: f64| {
            Scheme::by_attributes(points, None)
        }),
        ("variables, s-method", |points: &Points, _: f64| {
            Scheme::by_variables(points, None)
        }),
        ("variables, sigma-method", |points: &Points, sd: f64| {
            Scheme::by_variables(points, Some(sd * STEP / 1e6))
        }),
    ];
    for (name, scheme) in plans {
        for sd in [1.0, 2.0, 4.0] {
            let scheme = scheme(&points, sd).unwrap();
            let at = |random: &mut Random, share: f64| accepted(random, &scheme, share, sd, sets);
            let (good, bad) = (
                at(&mut random, points.aql),
                at(&mut random, points.limiting),
            );
            let what = format!("{name}, sd {sd}: {good} and {bad} %");
            // The mean of few coarse readings moves in steps itself, so a known sigma holds the risk only roughly.
            let nominal = if sd < 2.0 { 0.86 } else { 0.88 };
            assert_held(&what, 100.0 - bad, nominal, sets);
            // Rounding widens the spread of a sample, so that the s-method accepts less often where a step is coarse.
            assert_held(&what, good, if sd < 2.0 { 0.93 } else { 0.97 }, sets);
            let pieces = scheme.normal.pieces();
            let _ = writeln!(
                table,
                "| {name} | {pieces} | {sd} | {good:.1} % | {bad:.1} % |"
            );
        }
    }
    print(&table, sets);
}

/// How often studies of normal pieces demonstrate what was planned for, beside what was computed.
#[test]
fn planned_studies_demonstrate_their_claims_as_often_as_computed() {
    let sets = sets(50);
    let mut random = Random::new(1_987);
    let mut table = String::from(
        "| study | pieces of each group | computed | sd 0.5 steps | 1 | 2 | 4 |\n|---|---|---|---|---|---|---|\n",
    );
    let unit = Unit::Millimetre;
    for n in [5, 10, 30, 100] {
        // In standard deviations: effects for which the probability is neither 0 nor 1.
        let effect = 2.5 / f64::from(n).sqrt();
        let index = Index {
            required: 1.33,
            truth: 1.33 + effect,
            limits: 1,
            confidence: 0.95,
        };
        let difference = Difference {
            truth: 1.6 * effect,
            sd: 1.0,
            unit,
            confidence: 0.95,
        };
        let equivalence = Equivalence {
            margin: 2.0 * effect,
            truth: 0.0,
            sd: 1.0,
            unit,
            confidence: 0.95,
        };
        let studies: [(&str, &dyn Question, Simulated); 3] = [
            ("capability", &index, capable),
            ("comparison", &difference, differ),
            ("equivalence", &equivalence, equivalent),
        ];
        for (name, question, simulated) in studies {
            let computed = 100.0 * question.power(u64::from(n), question.truth()).unwrap();
            let _ = write!(table, "| {name} | {n} | {computed:.1} % |");
            for sd in [0.5, 1.0, 2.0, 4.0] {
                let found = (0..sets).filter(|_| simulated(&mut random, n, sd, effect));
                let rate = percent(f64::from(u32::try_from(found.count()).unwrap()), sets);
                let _ = write!(table, " {rate:.1} % |");
                let error = 100.0 * (0.25 / f64::from(sets)).sqrt();
                assert!(
                    sd < 4.0 || (rate - computed).abs() < 4.0 * error + 3.0,
                    "{name}, {n}: {rate}, computed {computed}"
                );
            }
            table.push('\n');
        }
    }
    print(&table, sets);
}

type Simulated = fn(&mut Random, u32, f64, f64) -> bool;

fn capable(random: &mut Random, n: u32, sd: f64, effect: f64) -> bool {
    let mean = 162.0 + random.next_share();
    let sample = Shape::Normal { mean, sd }.sample(random, n);
    let (found, spread) = (
        describe::mean(sample.summary()).unwrap(),
        describe::sd(sample.summary()).unwrap(),
    );
    let limit = (mean - 3.0 * (1.33 + effect) * sd) * STEP / 1e6;
    // All readings are equal: no index, so nothing is demonstrated.
    let index = index::centered(Some(limit), None, found, spread);
    index.is_ok_and(|index| {
        let n = f64::from(n);
        index::lower_bound(index, n, n - 1.0, 0.95).unwrap() >= 1.33
    })
}

fn two(random: &mut Random, n: u32, sd: f64, apart: f64, margin: f64) -> Comparison {
    let mean = 162.0 + random.next_share();
    let first = Shape::Normal { mean, sd }.sample(random, n);
    let second = Shape::Normal {
        mean: mean + apart * sd,
        sd,
    }
    .sample(random, n);
    let margin = margin * sd * STEP / 1e6;
    Comparison::new(
        ("a".to_owned(), first),
        ("b".to_owned(), second),
        Some(margin),
    )
}

fn figure(of: &Comparison, name: &str) -> Option<f64> {
    let row = tallyjaw::stats::compare::FIGURES
        .iter()
        .find(|row| row.name == name)
        .unwrap();
    (row.of)(of).ok()
}

fn differ(random: &mut Random, n: u32, sd: f64, effect: f64) -> bool {
    let of = two(random, n, sd, 1.6 * effect, 1.0);
    figure(&of, "welch_p").is_some_and(|p| p < 0.05)
}

fn equivalent(random: &mut Random, n: u32, sd: f64, effect: f64) -> bool {
    let of = two(random, n, sd, 0.0, 2.0 * effect);
    figure(&of, "equivalence_p").is_some_and(|p| p < 0.05)
}
