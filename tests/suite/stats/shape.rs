//! Outliers, normality and what the instrument's step does, against published and simulated values.

use super::reference::{assert_close, example, json, number, rows, sample_of};
use tallyjaw::quantity::{Dimension, Quantity, Unit};
use tallyjaw::stats::random::Random;
use tallyjaw::stats::{Limits, Sample, Undefined, distribution, normality, outlier, rounding};

#[test]
fn every_critical_value_of_grubbs_test_is_met() {
    let rows = rows("grubbs_critical.csv");
    assert_eq!(rows.len(), 57);
    let alphas = [0.10, 0.05, 0.025, 0.01];
    for row in rows {
        let n = row[0].parse().unwrap();
        for (sides, columns) in [(1, &row[1..5]), (2, &row[5..9])] {
            for (alpha, cell) in alphas.iter().zip(columns) {
                let got = outlier::grubbs_critical(n, *alpha, sides).unwrap();
                assert!(
                    (got - number(cell)).abs() <= 1e-6,
                    "{n} {alpha} {sides}: {got} {cell}"
                );
            }
        }
    }
}

#[test]
fn grubbs_test_finds_the_outlier_of_the_handbook() {
    let example = example("Grubbs test");
    let want = |name: &str| example["expected"][name].as_f64().unwrap();
    let far = outlier::furthest(&sample_of(&example["inputs"]["x"]), 0.05).unwrap();
    assert_eq!((far.at, far.value), (8, 245.57));
    assert_close("G", far.distance, want("G_max"), 1e-10);
    assert_close("critical", far.critical, want("critical_two_sided"), 1e-10);
    let one_sided = outlier::grubbs_critical(8, 0.05, 1).unwrap();
    assert_close(
        "critical",
        one_sided,
        want("critical_upper_one_sided"),
        1e-10,
    );
}

#[test]
fn several_outliers_that_hide_each_other_are_found() {
    let example = example("generalized ESD test");
    let sample = sample_of(&example["inputs"]["x"]);
    let rounds = outlier::rounds(&sample, 10, 0.05).unwrap();
    assert_eq!(rounds.len(), 10);
    for (at, round) in rounds.iter().enumerate() {
        let want = |name: &str| example["expected"][name][at].as_f64().unwrap();
        assert_close("R", round.distance, want("R"), 1e-9);
        assert_close("lambda", round.critical, want("lam"), 1e-9);
    }
    let found: Vec<_> = outlier::outliers(&sample, 10, 0.05)
        .unwrap()
        .iter()
        .map(|far| far.value)
        .collect();
    assert_eq!(found, [6.01, 5.42, 5.34]);
}

#[test]
fn the_anderson_darling_statistic_is_met() {
    let example = example("Anderson-Darling for normality (mean and sd estimated)");
    let want = |name: &str| example["expected"][name].as_f64().unwrap();
    let sample = sample_of(&example["inputs"]["x"]);
    let adjusted = normality::anderson_darling(sample.summary()).unwrap();
    assert_close("A²*", adjusted, want("A2_adjusted"), 1e-9);
    let unrounded = normality::normality_p(sample.summary()).unwrap();
    assert_close("p", unrounded, want("p_DAgostino_Stephens"), 1e-9);
}

/// Normal readings in steps of 1 µm: `mu + sigma z`, rounded to `step`.
fn rounded(random: &mut Random, n: usize, sigma_in_steps: f64) -> Sample {
    let step = 10_000.0;
    let mu = 1_620_000.0 + step * random.next_share();
    let bases = (0..n).map(|_| {
        let z = distribution::quantile(random.next_share()).unwrap();
        let text = format!("{:.0}", (mu + sigma_in_steps * step * z) / step);
        text.parse::<i64>().unwrap() * 10_000
    });
    let sample = Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap();
    sample.with_step(Some(Quantity::from_base(Dimension::Length, 10_000)))
}

const RUNS: u32 = 200;

#[test]
fn a_plain_test_rejects_rounded_normal_readings_and_ours_does_not() {
    let table = json("rounded_normality.json");
    let rows = table["naive_anderson_darling"].as_array().unwrap();
    let mut random = Random::new(1);
    let (mut checked, mut rejected) = (0, 0);
    for row in rows {
        let Some(sigma) = row["sigma_in_steps"].as_f64() else {
            continue; // not rounded at all
        };
        let (mut plain, mut knowing) = (0, 0);
        for run in 0..RUNS {
            let sample = rounded(&mut random, 30, sigma);
            let statistic = normality::anderson_darling(sample.summary()).unwrap();
            plain += u32::from(statistic > 0.752);
            if run % 5 == 0 {
                let p = normality::normality_p(sample.summary());
                knowing += u32::from(p.is_ok_and(|p| p < 0.05));
            }
        }
        let rate = |count: u32| f64::from(count) / f64::from(RUNS);
        let want = row["rejection_rate_5pct_naive"].as_f64().unwrap();
        // three standard errors of our own 200 runs
        let reach = 3.0 * (want.max(0.05) * (1.0 - want).max(0.01) / f64::from(RUNS)).sqrt();
        assert!(
            (rate(plain) - want).abs() <= reach,
            "{sigma}: {} {want}",
            rate(plain)
        );
        assert!(knowing <= 7, "{sigma}: {knowing} of 40");
        rejected += knowing;
        checked += 1;
    }
    assert_eq!(checked, 5);
    // 200 tests at 5 %: 10 on average, over 20 once in a thousand times
    assert!(rejected <= 20, "{rejected} of 200");
}

#[test]
fn the_correction_for_rounding_is_the_tables_formula() {
    let table = json("rounded_normality.json");
    let rows = table["sheppard"]["rows"].as_array().unwrap();
    assert!(rows.len() >= 12);
    for row in rows {
        let of = |name: &str| row[name].as_f64().unwrap();
        let raw = of("sd_of_rounded_in_steps");
        let corrected = (raw * raw - 1.0 / 12.0).max(0.0).sqrt();
        assert!((corrected - of("sheppard_sd_in_steps")).abs() < 1e-10);
        let off = corrected / of("sigma_in_steps") - 1.0;
        assert!((off - of("relative_error_of_sheppard_sd")).abs() < 1e-3 * off.abs() + 1e-9);
    }
    let mut random = Random::new(2);
    let sample = rounded(&mut random, 400, 1.0);
    let raw = tallyjaw::stats::describe::sd(sample.summary()).unwrap();
    let got = rounding::sd_corrected(sample.summary()).unwrap();
    assert_close("corrected", got, (raw * raw - 1e-4 / 12.0).sqrt(), 1e-12);
}

#[test]
fn an_instrument_that_is_too_coarse_is_said_to_be() {
    let quantity = |base| Some(Quantity::from_base(Dimension::Length, base));
    let sample = |bases: &[i64]| {
        Sample::from_bases(bases.to_vec(), Unit::Millimetre)
            .unwrap()
            .with_step(quantity(10_000))
    };
    let limits = |half: i64| Limits {
        lower: quantity(1_620_000 - half),
        nominal: None,
        upper: quantity(1_620_000 + half),
    };
    let names = |sample: &Sample, half| -> Vec<_> {
        let warnings = rounding::warnings(sample.summary(), &limits(half));
        warnings.iter().map(|warning| warning.name).collect()
    };
    let spread = sample(&[1_600_000, 1_620_000, 1_640_000, 1_650_000]);
    let narrow = sample(&[1_620_000, 1_620_000, 1_630_000, 1_620_000]);
    assert_eq!(names(&spread, 50_000), Vec::<&str>::new());
    assert_eq!(names(&spread, 40_000), ["coarse_for_tolerance"]);
    assert_eq!(names(&narrow, 50_000), ["step_dominates"]);
    let two = sample(&[
        1_620_000, 1_620_000, 1_620_000, 1_620_000, 1_620_000, 1_620_000, 1_620_000, 1_620_000,
    ]);
    assert_eq!(
        normality::normality_p(two.summary()),
        Err(Undefined::NoSpread { count: 8 })
    );
}
