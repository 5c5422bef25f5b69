//! How often the rules of a control chart signal although nothing changes, and how often a claim is refused by chance:
//! the tables in `docs/false-alarms.md`.
//!
//! `TALLYJAW_FALSE_ALARMS=1000` makes that many sets a row and prints the table; by default there are fewer.

use crate::harness::cases;
use std::fmt::Write as _;
use tallyjaw::quantity::{Dimension, Quantity, Unit};
use tallyjaw::stats::capability::Capability;
use tallyjaw::stats::chart::{
    CHARTS, Chart, Groups, Input, Memory, RULES, Rule, draw, usual_rules,
};
use tallyjaw::stats::figures::whole;
use tallyjaw::stats::random::Random;
use tallyjaw::stats::{Limits, Sample};

const STEP: f64 = 10_000.0;

fn sets(default: u32) -> u32 {
    let asked = std::env::var("TALLYJAW_FALSE_ALARMS");
    asked.map_or_else(|_| cases(default), |asked| asked.parse().unwrap())
}

/// `n` normal readings of `sd` counts about a mean anywhere between two counts, each a sample of its own.
fn singles(random: &mut Random, n: usize, sd: f64) -> Vec<Sample> {
    let mean = 162.0 + random.next_share();
    let one = |_| {
        let base = whole(STEP) * whole(mean + sd * random.next_normal());
        let sample = Sample::from_bases(vec![base], Unit::Millimetre).unwrap();
        sample.with_step(Some(Quantity::from_base(Dimension::Length, whole(STEP))))
    };
    (0..n).map(one).collect()
}

fn input(groups: &Groups) -> Input<'_> {
    Input {
        groups,
        baseline: None,
        kept: None,
        memory: Memory::default(),
    }
}

/// The share of the sets for which each of `rules` signals; the last share is of the usual rules together. The reach of
/// the usual rules is computed for each set, as for a real one.
fn rates(random: &mut Random, n: usize, sd: f64, sets: u32) -> (Vec<f64>, f64) {
    let kind = CHARTS
        .iter()
        .find(|kind| kind.name == "individuals")
        .unwrap();
    let mut alone = vec![0_u32; RULES.len()];
    let mut usual = 0_u32;
    for _ in 0..sets {
        let groups = Groups::subgroups(&singles(random, n, sd)).unwrap();
        // no chart at all of readings that are all equal
        let Ok(chart) = draw(kind, &input(&groups)) else {
            continue;
        };
        let fires =
            |chart: &Chart<'_>, rules: &[&'static Rule]| u32::from(chart.signals(rules) > 0);
        for (count, rule) in alone.iter_mut().zip(RULES) {
            *count += fires(&chart, &[rule]);
        }
        usual += fires(&chart, &usual_rules());
    }
    let share = |count: u32| f64::from(count) / f64::from(sets);
    (alone.into_iter().map(share).collect(), share(usual))
}

#[test]
fn the_usual_rules_signal_in_under_five_percent_of_steady_charts() {
    let sets = sets(40);
    let lengths: &[usize] = if sets >= 1000 {
        &[3, 5, 10, 30, 100]
    } else {
        &[10, 30]
    };
    let mut random = Random::new(30);
    let mut table = String::new();
    let (mut alarms, mut charts) = (0.0, 0.0);
    for sd in [0.5, 1.0, 2.0] {
        for n in lengths {
            let (alone, usual) = rates(&mut random, *n, sd, sets);
            let row = alone.iter().map(|rate| format!(" {:.1} % |", 100.0 * rate));
            let row: String = row.collect();
            let _ = writeln!(table, "| {sd} | {n} |{row} **{:.1} %** |", 100.0 * usual);
            alarms += usual * f64::from(sets);
            charts += f64::from(sets);
            if sets >= 1000 {
                assert!(usual < 0.05, "{sd} {n}: {usual}\n{table}");
            }
        }
    }
    println!("{table}");
    // 5 % and four standard errors
    let most = 0.05 * charts + 4.0 * (0.05 * 0.95 * charts).sqrt();
    assert!(alarms <= most, "{alarms} of {charts}\n{table}");
}

#[test]
fn the_rate_that_is_printed_is_the_one_that_is_met() {
    let kind = CHARTS
        .iter()
        .find(|kind| kind.name == "individuals")
        .unwrap();
    let mut random = Random::new(8);
    let groups = Groups::subgroups(&singles(&mut random, 30, 2.0)).unwrap();
    let chart = draw(kind, &input(&groups)).unwrap();
    let all: Vec<&'static Rule> = RULES.iter().collect();
    let printed = chart.chance.rate(&all).unwrap();
    let runs = 1000_u32;
    let met = (0..runs).filter(|_| {
        let groups = Groups::subgroups(&singles(&mut random, 30, 2.0)).unwrap();
        let own = (kind.panels)(&input(&groups)).unwrap();
        own.signals(&all) > 0
    });
    let met = f64::from(u32::try_from(met.count()).unwrap()) / f64::from(runs);
    // four standard errors of both
    let reach = 4.0 * (2.0 * printed * (1.0 - printed) / f64::from(runs)).sqrt();
    assert!((met - printed).abs() <= reach, "{met} {printed}");
    assert!(printed > 0.3, "{printed}");
    let usual = chart.chance.rate(&usual_rules()).unwrap();
    assert!(usual < 0.05 && usual > 0.02, "{usual}");
}

/// How often a true claim is not made because a precondition fails by chance; the second table.
#[test]
fn a_claim_of_a_steady_normal_process_is_seldom_refused() {
    let sets = sets(12);
    let lengths: &[usize] = if sets >= 1000 { &[30, 100] } else { &[30] };
    let end = |counts: f64| Some(Quantity::from_base(Dimension::Length, whole(STEP * counts)));
    let limits = Limits {
        lower: end(62.0),
        nominal: None,
        upper: end(263.0),
    };
    let mut random = Random::new(31);
    let mut table = String::new();
    let (mut refused, mut all) = (0, 0);
    for sd in [0.5, 1.0, 2.0] {
        for n in lengths {
            let mut failing = [0_u32; 5];
            let mut none = 0;
            for _ in 0..sets {
                let groups = singles(&mut random, *n, sd);
                let bases = groups.iter().flat_map(|group| group.bases().to_vec());
                let sample = Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap();
                let step = Some(Quantity::from_base(Dimension::Length, whole(STEP)));
                let claim = Capability::of_singles(&sample.with_step(step), limits).claim();
                for (count, ground) in failing.iter_mut().zip(&claim.grounds) {
                    *count += u32::from(!ground.holds);
                }
                none += u32::from(!claim.shown);
            }
            let percent = |count: u32| 100.0 * f64::from(count) / f64::from(sets);
            let mut row = String::new();
            for count in &failing[1..] {
                let _ = write!(row, " {:.1} % |", percent(*count));
            }
            let _ = writeln!(table, "| {sd} | {n} |{row} **{:.1} %** |", percent(none));
            refused += none;
            all += sets;
        }
    }
    println!("{table}");
    assert!(
        f64::from(refused) <= 0.35 * f64::from(all),
        "{refused} of {all}\n{table}"
    );
}
