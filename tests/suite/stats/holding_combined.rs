//! How often lots are accepted by combined control of two limits: its table in `docs/coverage.md`, made as those of `holding`.

use super::holding::{percent, print, sets};
use super::reference::assert_close;
use std::fmt::Write as _;
use tallyjaw::quantity::Unit;
use tallyjaw::stats::distribution::quantile;
use tallyjaw::stats::figures::whole;
use tallyjaw::stats::random::Random;
use tallyjaw::stats::sampling::{Points, Variables};
use tallyjaw::stats::{Sample, describe};

const POINTS: Points = Points {
    aql: 0.01,
    producer: 0.05,
    limiting: 0.065,
    consumer: 0.10,
};
/// The standard deviation of the pieces, in steps of the display of 0.01 mm.
const SD: f64 = 20.0;

/// How often combined control, and each limit by itself, accepts lots of which `share` is nonconforming, `below` of these under
/// the lower limit.
fn accepted(
    random: &mut Random,
    plan: &Variables,
    (share, below): (f64, f64),
    sets: u32,
) -> [f64; 2] {
    let end = |share: f64| {
        if share > 0.0 {
            quantile(1.0 - share).unwrap()
        } else {
            8.0
        }
    };
    let (to_lower, to_upper) = (end(share * below), end(share * (1.0 - below)));
    let mut held = [0.0; 2];
    for _ in 0..sets {
        let bases = (0..plan.pieces).map(|_| 10_000 * whole(16_200.0 + SD * random.next_normal()));
        let sample = Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap();
        let mean = describe::mean(sample.summary()).unwrap();
        let sd = if plan.is_sigma_known {
            SD / 100.0
        } else {
            describe::sd(sample.summary()).unwrap()
        };
        let lower = (mean - (162.0 - to_lower * SD / 100.0)) / sd;
        let upper = ((162.0 + to_upper * SD / 100.0) - mean) / sd;
        let (share, most) = plan.share_beyond_both(lower, upper).unwrap();
        held[0] += f64::from(u8::from(share <= most));
        held[1] += f64::from(u8::from(plan.is_accepted(lower.min(upper))));
    }
    held.map(|held| percent(held, sets))
}

#[test]
fn combined_control_keeps_the_limiting_quality_wherever_the_nonconforming_pieces_lie() {
    let sets = sets(200);
    let mut random = Random::new(3_951);
    let mut table = String::from(
        "| plan | pieces | below the lower limit, of the nonconforming | combined: at the acceptance quality limit | at the limiting quality | each by itself: at the acceptance quality limit | at the limiting quality |\n|---|---|---|---|---|---|---|\n",
    );
    for (name, is_known) in [("s-method", false), ("sigma-method", true)] {
        let plan = Variables::of_points(&POINTS, is_known).unwrap();
        for below in [0.5, 0.8, 1.0] {
            let good = accepted(&mut random, &plan, (POINTS.aql, below), sets);
            let bad = accepted(&mut random, &plan, (POINTS.limiting, below), sets);
            let what = format!("{name}, {below}: {good:?} and {bad:?} %");
            let error = 100.0 * (0.1 * 0.9 / f64::from(sets)).sqrt();
            assert!(bad[0] <= 12.0 + 4.0 * error, "{what}");
            let half = 100.0 * below;
            let [good_both, good_each] = good;
            let [bad_both, bad_each] = bad;
            let _ = writeln!(
                table,
                "| {name} | {} | {half:.0} % | {good_both:.1} % | {bad_both:.1} % | {good_each:.1} % | {bad_each:.1} % |",
                plan.pieces
            );
        }
    }
    print(&table, sets);
}

#[test]
fn the_estimated_share_is_that_of_the_closed_forms() {
    let plan = |pieces, is_sigma_known| Variables {
        pieces,
        constant: 1.0,
        is_sigma_known,
    };
    for quality in [-0.5, 0.0, 0.4, 1.0, 1.1] {
        let of_three =
            (quality * 3.0_f64.sqrt() / 2.0).clamp(-1.0, 1.0).acos() / std::f64::consts::PI;
        assert_close(
            "3 pieces",
            plan(3, false).share_beyond(quality).unwrap(),
            of_three,
            1e-9,
        );
        assert_close(
            "4 pieces",
            plan(4, false).share_beyond(quality).unwrap(),
            (0.5 - quality / 3.0).clamp(0.0, 1.0),
            1e-12,
        );
    }
    // Of many pieces it is the share of the normal distribution.
    assert_close(
        "many",
        plan(100_000, false).share_beyond(1.959_964).unwrap(),
        0.025,
        1e-3,
    );
    assert_close(
        "known",
        plan(100_000, true).share_beyond(1.959_964).unwrap(),
        0.025,
        1e-3,
    );
    assert!(plan(2, false).share_beyond(1.0).is_err());
    assert!(plan(1, true).share_beyond(1.0).is_err());
}
