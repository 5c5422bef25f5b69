//! How often the bounds of figures that are not of normal, independent readings hold the truth: the tables in
//! `docs/coverage.md`.
//!
//! `TALLYJAW_COVERAGE=10000` makes that many sets a row and prints the tables; by default there are fewer.

use super::holding::{assert_about, sets};
use std::fmt::Write as _;
use tallyjaw::quantity::Unit;
use tallyjaw::stats::compare::{Comparison, welch};
use tallyjaw::stats::fitted::quantiles::{Levels, lower_bound, tail, upper_bound};
use tallyjaw::stats::fitted::{Draws, Family, Level, Member, fit, pivots};
use tallyjaw::stats::random::Random;
use tallyjaw::stats::uncertainty::{Budget, Contribution, Law};
use tallyjaw::stats::{Sample, correlated, describe, figures::whole};

/// A count of the display, in base units.
const STEP: i64 = 10_000;
const SIZES: [usize; 4] = [5, 10, 30, 100];
/// The true Ppk of the simulated processes.
const PPK: f64 = 1.33;

/// A share in percent, and how many of the sets it is of.
#[derive(Debug, Default, Clone, Copy)]
struct Share {
    held: u32,
    of: u32,
}

impl Share {
    fn add(&mut self, held: bool) {
        self.held += u32::from(held);
        self.of += 1;
    }

    fn percent(self) -> Option<f64> {
        (self.of > 0).then(|| 100.0 * f64::from(self.held) / f64::from(self.of))
    }

    fn text(self, sets: u32) -> String {
        match self.percent() {
            None => "refused".to_owned(),
            Some(percent) if self.of == sets => format!("{percent:.1} %"),
            Some(percent) => {
                let refused = 100.0 * f64::from(sets - self.of) / f64::from(sets);
                format!("{percent:.1} % ({refused:.0} % refused)")
            }
        }
    }
}

/// A process and the limit for which its Ppk is [`PPK`].
struct Process {
    words: &'static str,
    truth: Member,
    is_upper: bool,
}

const fn process(words: &'static str, family: Family, a: f64, b: f64, is_upper: bool) -> Process {
    let truth = Member { family, a, b };
    Process {
        words,
        truth,
        is_upper,
    }
}

/// In counts of the display. ln 20 = 2.995732.
const PROCESSES: [Process; 6] = [
    process(
        "lognormal, sd 1 count (median 10, σ 0.1)",
        Family::Lognormal,
        std::f64::consts::LN_10,
        0.1,
        true,
    ),
    process(
        "lognormal, sd 9 counts (median 20, σ 0.4)",
        Family::Lognormal,
        2.995_732,
        0.4,
        true,
    ),
    process(
        "Weibull, sd 1 count (scale 9, shape 10)",
        Family::Weibull,
        9.0,
        0.1,
        false,
    ),
    process(
        "Weibull, sd 9 counts (scale 20, shape 2)",
        Family::Weibull,
        20.0,
        0.5,
        true,
    ),
    process(
        "folded normal, sd 3 counts (μ 0, σ 5)",
        Family::FoldedNormal,
        0.0,
        5.0,
        true,
    ),
    process(
        "folded normal, sd 5 counts (μ 10, σ 5)",
        Family::FoldedNormal,
        10.0,
        5.0,
        true,
    ),
];

/// A value of the process, rounded to a count.
fn reading(truth: &Member, random: &mut Random) -> f64 {
    let value = match truth.family {
        Family::Lognormal => (truth.a + truth.b * random.next_normal()).exp(),
        Family::Weibull => truth.a * (-random.next_share().ln()).powf(truth.b),
        Family::FoldedNormal => (truth.a + truth.b * random.next_normal()).abs(),
    };
    value.round()
}

/// How often the bounds of quantile and Ppk hold: two-sided of both, and the lower one of Ppk.
fn fitted(process: &Process, n: usize, sets: u32, random: &mut Random) -> [Share; 3] {
    let truth = process.truth;
    let levels = Levels::new().unwrap();
    let true_quantiles = levels.of(&truth);
    let outer = if process.is_upper {
        1.0 - tail()
    } else {
        tail()
    };
    let outer = Level::new(outer).unwrap();
    let edge = truth.at(outer);
    let limit = true_quantiles.mid + PPK * (edge - true_quantiles.mid);
    let ends = if process.is_upper {
        (None, Some(limit))
    } else {
        (Some(limit), None)
    };
    let is_folded = truth.family == Family::FoldedNormal;
    let pivots = if is_folded {
        Vec::new()
    } else {
        pivots(truth.family, n, 2_000)
    };
    let mut shares = [Share::default(); 3];
    for _ in 0..sets {
        let values: Vec<f64> = (0..n).map(|_| reading(&truth, random)).collect();
        let Ok(found) = fit(truth.family, &values) else {
            continue;
        };
        let draws = if is_folded {
            Draws::of_samples(found, n, 200).unwrap()
        } else {
            Draws::of_pivots(found, &pivots)
        };
        let ppk = |member: &Member| levels.of(member).centered(ends.0, ends.1).unwrap();
        let inside = |(low, high): (f64, f64), truth: f64| low <= truth && truth <= high;
        shares[0].add(inside(draws.bounds(|member| member.at(outer), 0.95), edge));
        shares[1].add(inside(draws.bounds(ppk, 0.95), PPK));
        shares[2].add(draws.bounds(ppk, 0.9).0 <= PPK);
    }
    shares
}

#[test]
fn bounds_of_fitted_distributions_hold_about_as_often_as_they_say() {
    let asked = sets(200);
    let sizes: &[usize] = if asked >= 1_000 { &SIZES } else { &[10] };
    let mut random = Random::new(61);
    let mut table = String::new();
    for process in &PROCESSES {
        // Each set of a folded normal distribution needs fits of its own: fewer where the tables are only looked at.
        let is_folded = process.truth.family == Family::FoldedNormal;
        let is_few = is_folded && asked < 10_000;
        let sets = if is_few { asked / 10 } else { asked };
        for n in sizes {
            let shares = fitted(process, *n, sets, &mut random);
            let cells = shares.map(|share| format!(" {} |", share.text(sets)));
            let _ = writeln!(
                table,
                "| {} | {n} | {sets} |{}",
                process.words,
                cells.concat()
            );
            let is_small = asked < 1_000;
            for share in shares.iter().filter(|_| is_small && !is_folded) {
                let percent = share.percent().unwrap();
                assert_about(&format!("{}, {n}", process.words), percent, 88.0, sets);
            }
        }
    }
    println!("{table}");
}

#[test]
fn bounds_between_readings_hold_at_least_as_often_as_they_say() {
    let sets = sets(300);
    let truth = PROCESSES[1].truth;
    let mut random = Random::new(62);
    let mut table = String::new();
    for p in [0.5, 0.9] {
        let edge = truth.quantile(p).unwrap();
        for n in SIZES {
            let mut share = Share::default();
            for _ in 0..sets {
                let bases = (0..n).map(|_| STEP * whole(reading(&truth, &mut random)));
                let sample = Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap();
                let all = sample.summary();
                let ends = lower_bound(all, p, 0.975)
                    .ok()
                    .zip(upper_bound(all, p, 0.975).ok());
                if let Some((low, high)) = ends {
                    // Readings stand for all values within half a count.
                    let (low, high) = (100.0 * low - 0.5, 100.0 * high + 0.5);
                    share.add(low <= edge && edge <= high);
                }
            }
            let _ = writeln!(table, "| {:.0} % | {n} | {} |", 100.0 * p, share.text(sets));
            if let Some(percent) = share.percent() {
                assert!(percent > 92.0, "{p} {n}: {percent}");
            }
        }
    }
    println!("{table}");
}

#[test]
fn the_interval_of_the_mean_of_autocorrelated_readings_holds_where_the_usual_one_does_not() {
    let sets = sets(200);
    let mut random = Random::new(63);
    let mut table = String::new();
    for phi in [0.0, 0.3, 0.6, 0.8] {
        for n in SIZES {
            let (mut share, mut usual) = (Share::default(), Share::default());
            for _ in 0..sets {
                let mean = random.next_share();
                let mut last = random.next_normal();
                let bases = (0..n).map(|_| {
                    last = phi * last + (1.0_f64 - phi * phi).sqrt() * random.next_normal();
                    STEP * whole(mean + last)
                });
                let sample = Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap();
                let all = sample.summary();
                let inside = |(low, high): (f64, f64)| low <= mean / 100.0 && mean / 100.0 <= high;
                if let Ok(ends) = correlated::mean_bounds(all, 0.95) {
                    share.add(inside(ends));
                }
                if let Ok(ends) = describe::mean_bounds(all, 0.95) {
                    usual.add(inside(ends));
                }
            }
            let cells = [share, usual].map(|share| format!(" {} |", share.text(sets)));
            let _ = writeln!(table, "| {phi} | {n} |{}", cells.concat());
            if n >= 100 && phi < 0.7 {
                let percent = share.percent().unwrap();
                assert_about(&format!("{phi} {n}"), percent, 88.0, share.of);
            }
        }
    }
    println!("{table}");
}

#[test]
fn an_expanded_uncertainty_covers_the_error_about_as_often_as_it_says() {
    let sets = sets(500);
    let mut random = Random::new(64);
    let mut table = String::new();
    // In counts: readings of one piece with this standard deviation, of which the repeatability is found.
    for sd in [0.5, 1.0, 2.0] {
        for n in SIZES {
            let mut share = Share::default();
            for _ in 0..sets {
                let place = random.next_share();
                let readings: Vec<i64> = (0..n)
                    .map(|_| STEP * whole(place + sd * random.next_normal()))
                    .collect();
                let sample = Sample::from_bases(readings, Unit::Millimetre).unwrap();
                let Ok(found) = describe::positive_sd(sample.summary()) else {
                    continue;
                };
                let part = |u, degrees, law| Contribution { u, degrees, law };
                let freedom = u32::try_from(n - 1).unwrap();
                let half = 0.5 / 3.0_f64.sqrt();
                let parts = vec![
                    part(1.0, None, Law::Normal),
                    part(half, None, Law::Rectangular),
                    part(half, None, Law::Rectangular),
                    part(100.0 * found, Some(freedom), Law::Normal),
                ];
                let expanded = Budget::new(parts, 0.95, 0).unwrap().expanded().unwrap();
                let zero = random.next_share() - 0.5;
                let value = place + sd * random.next_normal();
                let error = random.next_normal() + zero + value.round() - place;
                share.add(error.abs() <= expanded);
            }
            let _ = writeln!(table, "| {sd} | {n} | {} |", share.text(sets));
            let percent = share.percent().unwrap();
            assert!(percent > 91.0, "{sd} {n}: {percent}");
        }
    }
    println!("{table}");
}

#[test]
fn means_of_autocorrelated_readings_are_not_said_to_differ_where_they_do_not() {
    let sets = sets(20);
    let mut random = Random::new(65);
    let mut table = String::new();
    for phi in [0.0, 0.3, 0.6, 0.8] {
        for n in SIZES {
            // Of two groups with the same mean: how often Welch's test alone finds a difference, and how often it is said.
            let (mut alone, mut said, mut refused) = (0_u32, 0_u32, 0_u32);
            for _ in 0..sets {
                let mean = random.next_share();
                let mut group = || {
                    let mut last = random.next_normal();
                    let bases = (0..n).map(|_| {
                        last = phi * last + (1.0_f64 - phi * phi).sqrt() * random.next_normal();
                        STEP * whole(mean + last)
                    });
                    Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap()
                };
                let (one, other) = (group(), group());
                let differs = welch(&other, &one)
                    .and_then(|found| found.p())
                    .is_ok_and(|p| p < 0.05);
                alone += u32::from(differs);
                let of = Comparison::new(("T-07", one), ("R-02", other), None);
                match of.difference().and_then(|found| found.p()) {
                    Ok(p) => said += u32::from(p < 0.05),
                    Err(_) => refused += 1,
                }
            }
            let percent = |count: u32| 100.0 * f64::from(count) / f64::from(sets);
            let cells = [alone, said, refused].map(|count| format!(" {:.1} % |", percent(count)));
            let _ = writeln!(table, "| {phi} | {n} |{}", cells.concat());
            if phi > 0.5 && n >= 100 {
                assert!(percent(said) <= 5.0, "{phi} {n}\n{table}");
            }
            if phi == 0.0 && n >= 30 && sets >= 20 {
                assert!(percent(refused) <= 15.0, "{phi} {n}\n{table}");
            }
        }
    }
    println!("{table}");
}
