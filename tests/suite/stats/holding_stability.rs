//! How often the interval of an instrument's drift holds, at gauge blocks that are read to one step: its table in
//! `docs/coverage.md`, made as those of `holding`.

use super::holding::{assert_held, percent, print, sets};
use std::fmt::Write as _;
use tallyjaw::quantity::Unit;
use tallyjaw::stats::figures::whole;
use tallyjaw::stats::random::Random;
use tallyjaw::stats::stability::{MONTH, Mark, Stability};
use tallyjaw::stats::{Limits, Sample};

/// A step of the display, in base units.
const STEP: i64 = 10_000;

/// Checks, one a month, each of three blocks twice; `sd` of a reading and of a check, and `drift` over all months, in steps.
fn year(random: &mut Random, checks: u32, (sd, drift): (f64, f64)) -> (Sample, Vec<Mark>) {
    let (mut errors, mut marks) = (Vec::new(), Vec::new());
    // Blocks that lie anywhere between two steps.
    let sizes = [0, 1, 2].map(|size| (size, random.next_share()));
    for nth in 0..checks {
        let along = drift * f64::from(nth) / f64::from(checks - 1);
        let off = along + sd * random.next_normal();
        for (size, place) in sizes {
            for _ in 0..2 {
                errors.push(STEP * whole(place + off + sd * random.next_normal()));
                marks.push(Mark {
                    check: format!("{nth}"),
                    size,
                    at: i64::from(nth) * MONTH,
                    month: format!("{nth:03}"),
                });
            }
        }
    }
    let errors = Sample::from_bases(errors, Unit::Millimetre).unwrap();
    (errors.with_step_base(Some(STEP)), marks)
}

#[test]
fn the_interval_of_a_drift_holds_at_least_as_often_as_it_says() {
    let sets = sets(40);
    let mut random = Random::new(1_993);
    let mut table = String::from(
        "| series | sd, steps | drift of 0 | of 1 step in all | of 3 | of 10 |\n|---|---|---|---|---|---|\n",
    );
    for checks in [5, 10, 30, 100] {
        for sd in [0.1, 0.5, 1.0] {
            let _ = write!(table, "| {checks} | {sd} |");
            for drift in [0.0, 1.0, 3.0, 10.0] {
                let mut held = 0.0;
                for _ in 0..sets {
                    let (errors, marks) = year(&mut random, checks, (sd, drift));
                    let of = Stability::new(&errors, &marks, Limits::default()).unwrap();
                    let (low, high) = of.slope_bounds().unwrap();
                    let truth = drift * 0.01 / f64::from(checks - 1);
                    held += f64::from(u8::from(low <= truth && truth <= high));
                }
                let rate = percent(held, sets);
                assert_held(
                    &format!("{checks} series, sd {sd}, drift {drift}"),
                    rate,
                    0.945,
                    sets,
                );
                let _ = write!(table, " {rate:.1} % |");
            }
            table.push('\n');
        }
    }
    print(&table, sets);
}
