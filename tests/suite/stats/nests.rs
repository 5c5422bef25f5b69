//! Ranking of nests: against values from an independent program, and how often it names the nest that is truly the nearest
//! to the factory's pieces, how often it says that it cannot be distinguished, and how often it leaves the truly nearest out. The
//! table is in `docs/no-sheet.md`.
//!
//! `TALLYJAW_NESTS=1000` makes that many shops a cell and prints the table; by default there are fewer.

use super::reference::json;
use serde_json::Value;
use std::fmt::Write as _;
use tallyjaw::quantity::{Dimension, Quantity, Unit};
use tallyjaw::stats::figures::whole;
use tallyjaw::stats::nests::{Mean, Nests, Ranked, Standing};
use tallyjaw::stats::random::Random;
use tallyjaw::stats::{Sample, Undefined};

/// 0.01 mm in nanometres.
const STEP: f64 = 10_000.0;

fn shops() -> u32 {
    let asked = std::env::var("TALLYJAW_NESTS");
    asked.map_or(100, |asked| asked.parse().unwrap())
}

/// The mean of readings in steps.
fn mean_of(steps: impl IntoIterator<Item = i64>) -> Result<Mean, Undefined> {
    let bases = steps.into_iter().map(|steps| whole(STEP) * steps);
    let sample = Sample::from_bases(bases.collect(), Unit::Millimetre)?;
    let step = Quantity::from_base(Dimension::Length, whole(STEP));
    Mean::of(sample.with_step(Some(step)).summary())
}

/// Pieces about a mean in steps, normal with this standard deviation in steps, rounded to the step.
fn pieces(random: &mut Random, n: u32, mean: f64, sd: f64) -> Mean {
    let steps = (0..n).map(|_| whole(mean + sd * random.next_normal()));
    mean_of(steps.collect::<Vec<_>>()).unwrap()
}

/// Nest 0 is truly the nearest.
fn is_named(ranked: &[Ranked]) -> bool {
    let nearest = ranked
        .first()
        .filter(|nest| nest.standing == Standing::Nearest);
    nearest.is_some_and(|nest| nest.nest == 0)
}

fn is_left_out(ranked: &[Ranked]) -> bool {
    let mut all = ranked.iter();
    all.any(|nest| nest.nest == 0 && nest.standing == Standing::Farther)
}

fn some_is_indistinct(ranked: &[Ranked]) -> bool {
    let mut all = ranked.iter();
    all.any(|nest| nest.standing == Standing::NotDistinguished)
}

/// What is true of a simulated shop: its nests, the pieces of each, their standard deviation in steps, and by how many
/// steps each other nest is farther from the factory than the nearest; on this number of axes.
#[derive(Debug, Clone, Copy)]
struct Truth {
    nests: usize,
    pieces: u32,
    sd: f64,
    gap: f64,
    axes: usize,
}

impl Truth {
    /// The ranking of a shop of which nest 0 is the nearest on each axis, anywhere up to two steps from the factory, on
    /// either side.
    fn ranked(self, random: &mut Random) -> Vec<Ranked> {
        let mut factory = Vec::new();
        let mut nests = vec![Vec::new(); self.nests];
        for _ in 0..self.axes {
            let mean = 162.0 + random.next_share();
            let nearest = 2.0 * random.next_share();
            factory.push(pieces(random, self.pieces, mean, self.sd));
            for (at, nest) in nests.iter_mut().enumerate() {
                let distance = if at == 0 { nearest } else { nearest + self.gap };
                let side = if random.below(2) == 0 { 1.0 } else { -1.0 };
                nest.push(pieces(random, self.pieces, mean + side * distance, self.sd));
            }
        }
        Nests::new(factory, nests).unwrap().rank().unwrap()
    }

    /// In percent of the shops: the nearest is named, some nest cannot be distinguished from the named one, the nearest is left
    /// out. Fails if that is more often than is said.
    fn rates(self, random: &mut Random) -> [f64; 3] {
        let shops = shops();
        let (mut named, mut indistinct, mut left_out) = (0, 0, 0);
        for _ in 0..shops {
            let ranked = self.ranked(random);
            named += u32::from(is_named(&ranked));
            indistinct += u32::from(some_is_indistinct(&ranked));
            left_out += u32::from(is_left_out(&ranked));
        }
        let left_out = rarely_left_out(left_out, shops, &format!("{self:?}"));
        [percent(named, shops), percent(indistinct, shops), left_out]
    }
}

fn percent(count: u32, of: u32) -> f64 {
    100.0 * f64::from(count) / f64::from(of)
}

/// The share in percent; at most 5 are allowed, and four standard errors of the simulation.
fn rarely_left_out(left_out: u32, shops: u32, of: &str) -> f64 {
    let got = percent(left_out, shops);
    let allowed = 5.0 + 4.0 * 100.0 * (0.05 * 0.95 / f64::from(shops)).sqrt();
    assert!(got <= allowed, "{of}: left out in {got} % of the shops");
    got
}

#[test]
fn the_truly_nearest_nest_is_left_out_at_most_as_often_as_is_said() {
    let mut random = Random::new(6_131);
    let cells = [0.5, 1.0, 2.0].map(|sd| [0.1, 1.0, 2.0, 4.0].map(|gap| (sd, gap)));
    let cells: Vec<_> = cells.into_iter().flatten().collect();
    let heads = cells.iter().filter(|(_, gap)| *gap >= 1.0);
    let heads: Vec<_> = heads.map(|(sd, gap)| format!(" {sd}, {gap} |")).collect();
    let heads = heads.concat();
    let mut table = format!("| nests | pieces |{heads}\n|{}\n", "---|".repeat(11));
    let mut most: f64 = 0.0;
    for nests in [2, 3, 4] {
        for pieces in [3, 5, 10, 25] {
            let _ = write!(table, "| {nests} | {pieces} |");
            for (sd, gap) in &cells {
                let (sd, gap) = (*sd, *gap);
                let truth = Truth {
                    nests,
                    pieces,
                    sd,
                    gap,
                    axes: 1,
                };
                let [named, indistinct, left_out] = truth.rates(&mut random);
                most = most.max(left_out);
                // A ranking that tells nothing is never wrong: four steps must be told.
                if pieces >= 10 && sd <= 1.0 && gap >= 4.0 {
                    assert!(
                        named >= 99.0 && indistinct <= 10.0,
                        "{truth:?}: {named}, {indistinct}"
                    );
                }
                if gap >= 1.0 {
                    let _ = write!(table, " {named:.0}, {indistinct:.0} |");
                }
            }
            table.push('\n');
        }
    }
    println!("{table}left out in at most {most} % of the shops of a cell\n");
}

#[test]
fn on_two_axes_the_nearest_of_both_is_left_out_no_more_often() {
    let mut random = Random::new(907);
    let mut most: f64 = 0.0;
    let mut table =
        String::from("| nests | pieces | 1, 1 | 1, 2 | 1, 4 |\n|---|---|---|---|---|\n");
    for pieces in [3, 5, 10, 25] {
        let _ = write!(table, "| 4 | {pieces} |");
        for gap in [0.1, 1.0, 2.0, 4.0] {
            let truth = Truth {
                nests: 4,
                pieces,
                sd: 1.0,
                gap,
                axes: 2,
            };
            let [named, indistinct, left_out] = truth.rates(&mut random);
            most = most.max(left_out);
            if gap >= 1.0 {
                let _ = write!(table, " {named:.0}, {indistinct:.0} |");
            }
        }
        table.push('\n');
    }
    println!("{table}left out in at most {most} % of the shops of a cell\n");
}

#[test]
fn few_pieces_or_pieces_that_rounding_makes_equal_are_left_out_no_more_often() {
    let mut random = Random::new(5_005);
    let shops = shops() * 10;
    // Pieces and standard deviation of the nearest nest, of the other one and of the factory; distances of both nests.
    for (nearest, other, factory, distances) in [
        ((3, 2.0), (25, 0.5), (25, 0.5), (0.0, 0.1)),
        ((5, 2.0), (25, 0.5), (25, 0.5), (0.0, 0.5)),
        ((25, 0.1), (25, 0.1), (25, 0.1), (0.3, 0.4)),
        ((25, 0.1), (25, 1.0), (25, 1.0), (0.4, 0.5)),
        ((25, 0.2), (25, 0.2), (25, 0.2), (0.0, 0.1)),
        ((25, 1.0), (25, 1.0), (3, 1.0), (-1.0, 1.1)),
    ] {
        let mut left_out = 0;
        for _ in 0..shops {
            let mean = 162.0 + random.next_share();
            let mut of =
                |(n, sd): (u32, f64), distance: f64| pieces(&mut random, n, mean + distance, sd);
            let nests = vec![vec![of(nearest, distances.0)], vec![of(other, distances.1)]];
            let nests = Nests::new(vec![of(factory, 0.0)], nests).unwrap();
            left_out += u32::from(is_left_out(&nests.rank().unwrap()));
        }
        let of = format!("{nearest:?} {other:?} {factory:?} {distances:?}");
        println!(
            "{of}: left out in {} %",
            rarely_left_out(left_out, shops, &of)
        );
    }
}

/// Fails unless a figure agrees to a nanometre's millionth, in mm.
#[track_caller]
fn assert_agrees(what: &str, got: f64, want: &Value) {
    let want = want.as_f64().unwrap();
    assert!((got - want).abs() < 1e-9, "{what}: got {got}, want {want}");
}

#[test]
fn every_figure_and_every_claim_is_that_of_an_independent_program() {
    let table = json("nests.json");
    let cases = table["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 40);
    let means = |axes: &Value| -> Vec<Mean> {
        let axes = axes.as_array().unwrap().iter();
        axes.map(|axis| {
            let steps = axis.as_array().unwrap().iter();
            mean_of(steps.map(|step| step.as_i64().unwrap())).unwrap()
        })
        .collect()
    };
    for (number, case) in cases.iter().enumerate() {
        let nests = case["nests"].as_array().unwrap();
        let nests = nests.iter().map(means).collect();
        let nests = Nests::new(means(&case["factory"]), nests).unwrap();
        assert_agrees("alpha", nests.alpha(), &case["alpha"]);
        let want = case["ranked"].as_array().unwrap();
        let got = nests.rank().unwrap();
        assert_eq!(got.len(), want.len());
        for (got, want) in got.iter().zip(want) {
            assert_eq!(want["nest"], got.nest, "case {number}");
            for (got, want) in got.axes.iter().zip(want["axes"].as_array().unwrap()) {
                let what = |figure: &str| format!("case {number}, {figure}");
                assert_agrees(&what("mean"), got.mean.mean, &want["mean"]);
                assert_agrees(&what("sd"), got.mean.sd, &want["sd"]);
                assert_agrees(&what("difference"), got.difference, &want["difference"]);
                let bounds = got.mean.bounds().unwrap();
                let pairs = [("mean_bounds", bounds), ("bounds", got.bounds)];
                for (figure, (low, high)) in pairs {
                    assert_agrees(&what(figure), low, &want[figure][0]);
                    assert_agrees(&what(figure), high, &want[figure][1]);
                }
                assert_eq!(want["may_be_nearest"], got.may_be_nearest, "case {number}");
            }
        }
    }
}

#[test]
fn where_height_speaks_for_one_nest_and_width_for_another_none_is_the_nearest() {
    let around =
        |middle: i64| mean_of([-1, 0, 1, 0, 0, 1, -1, 0].map(|step| middle + step)).unwrap();
    let factory = vec![around(162), around(240)];
    let nests = vec![
        vec![around(162), around(260)],
        vec![around(172), around(240)],
    ];
    let ranked = Nests::new(factory.clone(), nests).unwrap().rank().unwrap();
    let said: Vec<_> = ranked
        .iter()
        .map(|nest| (nest.nest, nest.standing, nest.axes[0].may_be_nearest))
        .collect();
    let farther = Standing::Farther;
    assert_eq!(said, [(1, farther, false), (0, farther, true)]);
    // A nest that is near on both is named before them.
    let nests = [(162, 260), (172, 240), (163, 241)];
    let nests = nests.map(|(height, width)| vec![around(height), around(width)]);
    let ranked = Nests::new(factory, nests.into()).unwrap().rank().unwrap();
    assert_eq!(ranked[0].nest, 2);
}

#[test]
fn what_cannot_be_ranked_says_why() {
    assert_eq!(
        mean_of([162, 163]),
        Err(Undefined::TooFew { got: 2, want: 3 })
    );
    let without_step = Sample::from_bases(vec![1, 2, 3], Unit::Millimetre).unwrap();
    assert_eq!(Mean::of(without_step.summary()), Err(Undefined::NoStep));
    let mean = mean_of([162; 5]).unwrap();
    assert!(mean.is_of_resolution && mean.rounding == 0.005);
    assert_eq!(mean_of([162, 163, 164]).unwrap().rounding, 0.0);
    for (factory, nests) in [
        (vec![], vec![vec![]]),
        (vec![mean], vec![]),
        (vec![mean], vec![vec![mean, mean]]),
    ] {
        let refused = Nests::new(factory, nests);
        assert!(matches!(refused, Err(Undefined::NotApplicable { .. })));
    }
}
