//! Groups against each other: published data, values from independent programs.

use super::reference::{assert_close, digits, example, json, rows, sample, sample_of};
use std::collections::BTreeMap;
use tallyjaw::stats::compare::{
    Comparison, FIGURES, anova, anova_of_independent, bartlett, brown_forsythe, is_correlated,
    pooled, variance_ratio_bounds, welch,
};
use tallyjaw::stats::distribution::ChiSquared;
use tallyjaw::stats::{Sample, Undefined, describe};

#[test]
fn every_anova_set_is_met_to_thirteen_digits() {
    let certified = json("strd_anova/certified.json");
    let sets = certified["datasets"].as_object().unwrap();
    assert_eq!(sets.len(), 4);
    for (name, set) in sets {
        let mut groups: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for row in rows(&format!("strd_anova/{name}.csv")) {
            groups
                .entry(row[0].clone())
                .or_default()
                .push(row[1].clone());
        }
        let groups: Vec<Sample> = groups
            .values()
            .map(|texts| sample(texts.iter().map(String::as_str)))
            .collect();
        let table = anova(&groups).unwrap();
        let figures = [
            ("ss_between", table.between),
            ("ms_between", table.between / table.between_freedom),
            ("F", table.f),
            ("ss_within", table.within),
            ("ms_within", table.within / table.within_freedom),
            ("r_squared", table.r_squared()),
            ("residual_sd", table.residual_sd()),
        ];
        for (figure, got) in figures {
            let want: f64 = set["certified"][figure].as_str().unwrap().parse().unwrap();
            let agree = digits(got, want);
            assert!(agree >= 13.0, "{name} {figure}: {agree} digits agree");
        }
        let freedom = (
            set["certified"]["df_between"].as_f64(),
            set["certified"]["df_within"].as_f64(),
        );
        assert_eq!(
            freedom,
            (Some(table.between_freedom), Some(table.within_freedom)),
            "{name}"
        );
    }
}

#[test]
fn welch_pooled_equivalence_and_spread_are_met_on_every_set() {
    let table = json("welch_tost.json");
    let cases = table["cases"].as_array().unwrap();
    assert!(cases.len() >= 3);
    for case in cases {
        let (first, second) = (sample_of(&case["first"]), sample_of(&case["second"]));
        let want = &case["expected"];
        let number = |value: &serde_json::Value| value.as_f64().unwrap();
        let close = |what: &str, got: f64, want: &serde_json::Value| {
            assert_close(what, got, number(want), 1e-9);
        };
        let close_p = |what: &str, got: f64, want: &serde_json::Value| {
            assert_close(what, got, number(want), 1e-7);
        };
        let of = welch(&first, &second).unwrap();
        close("difference", of.difference, &want["difference"]);
        close("t", of.t, &want["welch"]["t"]);
        close("df", of.freedom, &want["welch"]["df"]);
        close_p("p", of.p().unwrap(), &want["welch"]["p_two_sided"]);
        for (name, confidence) in [("ci95", 0.95), ("ci90", 0.9)] {
            let (low, high) = of.bounds(confidence).unwrap();
            close(name, low, &want["welch"][name][0]);
            close(name, high, &want["welch"][name][1]);
        }
        let common = pooled(&first, &second).unwrap();
        close("pooled t", common.t, &want["pooled"]["t"]);
        close_p(
            "pooled p",
            common.p().unwrap(),
            &want["pooled"]["p_two_sided"],
        );
        let margin = number(&want["tost"]["margin"][1]);
        let p = of.equivalence_p(margin).unwrap();
        close_p("tost", p, &want["tost"]["p"]);
        assert_eq!(Some(p < 0.05), want["tost"]["equivalent_at_5pct"].as_bool());
        let spread = brown_forsythe(&[first, second]).unwrap();
        close("W", spread.f, &want["brown_forsythe"]["W"]);
        close_p("W p", spread.p, &want["brown_forsythe"]["p"]);
    }
}

#[test]
fn the_gear_diameters_of_the_handbook_are_met() {
    let example = example("homogeneity of variance, one-way ANOVA and variance test on GEAR.DAT");
    let batches = example["inputs"]["batches"].as_array().unwrap();
    let groups: Vec<Sample> = batches.iter().map(sample_of).collect();
    let want = |name: &str| example["expected"][name].as_f64().unwrap();
    let spread = brown_forsythe(&groups).unwrap();
    assert_close("W", spread.f, want("brown_forsythe_W"), 1e-9);
    assert_close("W p", spread.p, want("brown_forsythe_p"), 1e-9);
    let (t, p) = bartlett(&groups).unwrap();
    assert_close("T", t, want("bartlett_T"), 1e-9);
    assert_close("T p", p, want("bartlett_p"), 1e-9);
    let table = anova(&groups).unwrap();
    let of_anova = |name: &str| example["expected"]["anova"][name].as_f64().unwrap();
    assert_close("between", table.between, of_anova("ss_batch"), 1e-9);
    assert_close("within", table.within, of_anova("ss_residual"), 1e-9);
    assert_close("F", table.f, of_anova("F"), 1e-9);
    assert_close("p", table.p, of_anova("p"), 1e-9);
    assert_close("sd", table.residual_sd(), of_anova("residual_sd"), 1e-9);
    let all: Vec<i64> = groups
        .iter()
        .flat_map(|group| group.bases().to_vec())
        .collect();
    let all = Sample::from_bases(all, groups[0].unit()).unwrap();
    let sd = describe::sd(all.summary()).unwrap();
    assert_close("overall", sd, want("overall_sd"), 1e-9);
    let statistic = 99.0 * sd * sd / example["inputs"]["sigma0_squared"].as_f64().unwrap();
    assert_close("variance", statistic, want("chi_square_statistic"), 1e-9);
    let critical = &example["expected"]["chi2_crit_two_sided_05_99"];
    for (at, p) in [0.025, 0.975].into_iter().enumerate() {
        let got = ChiSquared::new(99.0).unwrap().quantile(p).unwrap();
        assert_close("critical", got, critical[at].as_f64().unwrap(), 1e-9);
    }
}

#[test]
fn quartiles_are_those_of_type_seven() {
    let example = example("percentile definitions");
    let sample = sample_of(&example["inputs"]["x"]);
    let want = |name: &str| example["expected"][name].as_f64().unwrap();
    let median = describe::quartile(sample.summary(), 2).unwrap();
    assert_close("median", median, want("median"), 1e-14);
    let of = sample.summary().grid().quantile(9, 10).unwrap();
    assert_eq!(of.numerator, 951_956_800, "95.19568 mm in nm, times 10");
    assert_eq!(
        (of.denominator, want("p90_linear_n_minus_1")),
        (10, 95.19568)
    );
}

#[test]
fn the_sentence_says_what_is_shown_and_what_is_not() {
    let own = sample([
        "1.62", "1.63", "1.61", "1.62", "1.63", "1.62", "1.61", "1.62",
    ]);
    let other = sample([
        "1.65", "1.66", "1.64", "1.66", "1.65", "1.64", "1.66", "1.65",
    ]);
    let step = Some(tallyjaw::quantity::Quantity::from_base(
        tallyjaw::quantity::Dimension::Length,
        10_000,
    ));
    let (own, other) = (own.with_step(step), other.with_step(step));
    let of = Comparison::new(("T-07", own.clone()), ("R-02", other), Some(0.05));
    assert_eq!(
        of.sentence(),
        "the mean of R-02 lies 0.031 mm above that of T-07 (95 % confidence interval: 0.023 to 0.040 mm); no significant difference of the standard deviations: the standard deviation of R-02 is 1.10 times that of T-07 (95 % confidence interval for normal readings: 0.49 to 2.47); the means are equivalent within ±0.050 mm (90 % confidence interval of the difference: 0.024 to 0.038 mm); equivalent means say nothing about spread or single pieces"
    );
    let same = Comparison::new(("T-07", own.clone()), ("R-02", own.clone()), None);
    assert_eq!(
        same.sentence(),
        "no significant difference of the means of T-07 and R-02: 0.000 mm (95 % confidence interval: -0.008 to 0.008 mm); no significant difference of the standard deviations: the standard deviation of R-02 is 1.00 times that of T-07 (95 % confidence interval for normal readings: 0.45 to 2.23)"
    );
    let equal = sample(["1.62", "1.62", "1.62"]);
    let both = Comparison::new(("T-07", equal.clone()), ("R-02", equal), Some(0.01));
    assert_eq!(
        both.sentence(),
        "the means cannot be compared: all 6 readings are equal; the standard deviations cannot be compared: all 6 readings are equal; equivalence of the means within ±0.0100 mm cannot be tested: all 6 readings are equal"
    );
    let forces = Sample::from_bases(vec![1, 2, 3], tallyjaw::quantity::Unit::Newton).unwrap();
    assert_eq!(welch(&own, &forces).map(|_| ()), Err(Undefined::Mixed));
}

#[test]
fn the_bounds_of_a_variance_ratio_turn_round_with_it() {
    let (first, second) = (
        sample(["1.62", "1.63", "1.61", "1.64"]),
        sample(["1.62", "1.65", "1.60", "1.69", "1.58"]),
    );
    let (low, high) = variance_ratio_bounds(&first, &second, 0.95).unwrap();
    let (other_low, other_high) = variance_ratio_bounds(&second, &first, 0.95).unwrap();
    assert_close("low", low, 1.0 / other_high, 1e-12);
    assert_close("high", high, 1.0 / other_low, 1e-12);
}

#[test]
fn equivalence_is_not_claimed_of_readings_that_follow_each_other() {
    let wave = |shift: i64| {
        let bases = (0..40_i64).map(|at| 1_620_000 + 10_000 * ((at / 10 % 2) * 3 + at % 2 + shift));
        Sample::from_bases(bases.collect(), tallyjaw::quantity::Unit::Millimetre).unwrap()
    };
    let of = Comparison::new(("T-07", wave(0)), ("R-02", wave(0)), Some(0.05));
    let alone = welch(&wave(0), &wave(0)).unwrap();
    let p = alone.equivalence_p(0.05).unwrap();
    assert!(p < 0.05, "the means alone would");
    let said = of.sentence();
    let want = "is not claimed: readings of T-07 have a lag-1 autocorrelation";
    assert!(said.contains(want), "{said}");
}

#[test]
fn readings_that_follow_each_other_have_no_interval_of_a_difference_and_no_test() {
    let wave = |shift: i64| {
        let bases = (0..40_i64).map(|at| 1_620_000 + 10_000 * ((at / 10 % 2) * 3 + at % 2 + shift));
        Sample::from_bases(bases.collect(), tallyjaw::quantity::Unit::Millimetre).unwrap()
    };
    assert!(is_correlated(&wave(0)));
    let of = Comparison::new(("T-07", wave(0)), ("R-02", wave(2)), Some(0.05));
    assert_eq!(
        of.sentence(),
        "the means and standard deviations of T-07 and R-02 are not compared: readings of T-07 have a lag-1 autocorrelation, which makes the intervals too narrow; look for a drift; equivalence of the means within ±0.0500 mm is not claimed: readings of T-07 have a lag-1 autocorrelation, which makes the interval too narrow; look for a drift"
    );
    let known = FIGURES
        .iter()
        .filter(|figure| (figure.of)(&of).is_ok())
        .map(|figure| figure.name);
    let known: Vec<&str> = known.collect();
    assert_eq!(
        known,
        [
            "n_first",
            "n_second",
            "mean_first",
            "mean_second",
            "sd_first",
            "sd_second",
            "difference",
            "variance_ratio",
            "margin",
            "sd_ratio"
        ]
    );
    let groups = [wave(0), wave(1), wave(2)];
    assert!(anova_of_independent(&groups).is_err());
    assert!(anova(&groups).is_ok());
}

#[test]
fn several_comparisons_share_their_five_percent() {
    let sample = || {
        sample([
            "1.62", "1.63", "1.61", "1.62", "1.63", "1.62", "1.61", "1.62",
        ])
    };
    let alone = Comparison::new(("T-07", sample()), ("R-02", sample()), Some(0.02));
    let among = alone.clone().among(5);
    assert_close("alpha", among.alpha(), 0.01, 1e-12);
    for bounds in [Comparison::equivalence_bounds, Comparison::sd_ratio_bounds] {
        let ((low, high), (wide_low, wide_high)) =
            (bounds(&alone).unwrap(), bounds(&among).unwrap());
        assert!(wide_low < low && high < wide_high);
    }
    assert!(
        among
            .sentence()
            .contains("(98 % confidence interval of the difference"),
        "{}",
        among.sentence()
    );
}
