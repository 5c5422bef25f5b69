//! Control charts: constants against the tables, limits against the handbook's examples.

use super::reference::{assert_close, example, number, rows, sample_of};
use serde_json::Value;
use tallyjaw::quantity::Unit;
use tallyjaw::stats::chart::{
    Baseline, CHARTS, Groups, Input, Memory, Point, Rule, Signal, alarms, cusum, ewma,
    on_specification, rule, run_length, usual_rules,
};
use tallyjaw::stats::constants::{Constants, d2_star};
use tallyjaw::stats::{Sample, Undefined};

#[test]
fn every_constant_of_the_table_is_computed_to_seven_digits_after_the_point() {
    let rows = rows("control_chart_constants.csv");
    assert_eq!(rows.len(), 24);
    for row in rows {
        let want: Vec<f64> = row.iter().map(|cell| number(cell)).collect();
        let constants = Constants::new(row[0].parse().unwrap()).unwrap();
        let ((b3, b4), (d3, d4)) = (constants.b3_b4(), constants.d3_d4());
        let got = [
            constants.d2,
            constants.d3,
            constants.c4,
            constants.a2(),
            constants.a3(),
            b3,
            b4,
            d3,
            d4,
            constants.e2(),
        ];
        for (got, want) in got.iter().zip(&want[1..]) {
            assert!(
                (got - want).abs() <= 1e-7,
                "{row:?}: got {got}, want {want}"
            );
        }
    }
}

#[test]
fn every_d2_star_of_the_table_is_met_with_its_degrees_of_freedom() {
    let rows = rows("d2star.csv");
    assert_eq!(rows.len(), 399);
    for row in rows {
        let size = row[0].parse().unwrap();
        if row[1] == "inf" {
            let d2 = Constants::new(size).unwrap().d2;
            assert!((d2 - number(&row[2])).abs() <= 1e-6, "{row:?}: {d2}");
            continue;
        }
        let (star, freedom) = d2_star(size, row[1].parse().unwrap()).unwrap();
        assert!((star - number(&row[2])).abs() <= 1e-6, "{row:?}: {star}");
        let off = (freedom - number(&row[3])).abs();
        assert!(off <= 1e-3, "{row:?}: {freedom}");
    }
}

fn floats(list: &Value) -> Vec<f64> {
    let list = list.as_array().unwrap();
    list.iter().map(|number| number.as_f64().unwrap()).collect()
}

/// The readings of `sample` as subgroups of `size`.
fn groups(sample: &Sample, size: usize) -> Vec<Sample> {
    let chunks = sample.bases().chunks(size);
    chunks
        .map(|chunk| Sample::from_bases(chunk.to_vec(), sample.unit()).unwrap())
        .collect()
}

/// A panel with its points.
#[derive(Debug, PartialEq)]
struct Drawn {
    name: &'static str,
    first: usize,
    points: Vec<Point>,
    signals: Vec<Signal>,
}

/// The panels of a chart, with the signals of `rules`.
fn drawn(
    kind: &str,
    groups: &[Sample],
    baseline: Option<usize>,
    rules: &[&'static Rule],
) -> Result<Vec<Drawn>, Undefined> {
    let kind = CHARTS.iter().find(|chart| chart.name == kind).unwrap();
    let input = Input {
        groups: &Groups::subgroups(groups)?,
        baseline,
        kept: None,
        memory: Memory::default(),
    };
    let chart = (kind.panels)(&input)?;
    let panels = chart.panels.iter().map(|panel| Drawn {
        name: panel.name,
        first: panel.first,
        points: panel.points().collect(),
        signals: panel.signals(rules).collect(),
    });
    Ok(panels.collect())
}

fn draw(kind: &str, groups: &[Sample], baseline: Option<usize>) -> Result<Vec<Drawn>, Undefined> {
    drawn(kind, groups, baseline, &[])
}

#[test]
fn the_individuals_chart_of_the_handbook_has_its_limits() {
    let example = example("individuals chart");
    let want = &example["expected"];
    let panels = draw(
        "individuals",
        &groups(&sample_of(&example["inputs"]["x"]), 1),
        None,
    );
    let [singles, ranges] = &panels.unwrap()[..] else {
        panic!("want two panels")
    };
    let of = |name: &str| want[name].as_f64().unwrap();
    let first = singles.points[0];
    assert_close("center", first.center, of("mean"), 1e-10);
    assert_close("upper", first.upper.unwrap(), of("ucl_exact_d2"), 1e-10);
    assert_close("lower", first.lower.unwrap(), of("lcl_exact_d2"), 1e-10);
    assert_close("mean range", ranges.points[0].center, of("mr_bar"), 1e-10);
    assert_close(
        "range",
        ranges.points[0].upper.unwrap(),
        of("mr_ucl_exact"),
        1e-10,
    );
    assert_eq!((singles.first, ranges.first), (1, 2));
    // As printed, with d2 = 1.128: the same limits to within what that rounding moves them.
    assert_close(
        "upper as printed",
        first.upper.unwrap(),
        of("ucl_d2_1_128"),
        4e-5,
    );
}

#[test]
fn the_weighted_means_of_the_handbook_are_met_point_by_point() {
    let example = example("EWMA chart");
    let (inputs, want) = (&example["inputs"], &example["expected"]);
    let of = |name: &str| inputs[name].as_f64().unwrap();
    let values = floats(&inputs["x"]);
    let points = ewma(&values, of("start"), of("s"), of("lam"), of("L")).unwrap();
    let reach = floats(&want["half_width_time_varying"]);
    for (at, (point, want)) in points.iter().zip(floats(&want["ewma"])).enumerate() {
        assert_close("ewma", point.value, want, 1e-10);
        assert_close(
            "reach",
            point.upper.unwrap() - point.center,
            reach[at],
            1e-10,
        );
    }
    assert_eq!(points.len(), 20);
    let many = ewma(&vec![50.0; 200], of("start"), of("s"), of("lam"), of("L")).unwrap();
    let last = many.last().unwrap();
    assert_close(
        "upper",
        last.upper.unwrap(),
        want["ucl"].as_f64().unwrap(),
        1e-10,
    );
    assert_close(
        "lower",
        last.lower.unwrap(),
        want["lcl"].as_f64().unwrap(),
        1e-10,
    );
}

#[test]
fn the_cumulative_sums_of_the_handbook_are_met_and_signal_at_its_point() {
    let example = example("tabular CUSUM");
    let (inputs, want) = (&example["inputs"], &example["expected"]);
    let of = |name: &str| inputs[name].as_f64().unwrap();
    let (above, below) = cusum(&floats(&inputs["x"]), of("target"), of("k"), of("h")).unwrap();
    for (name, got) in [("S_hi", &above), ("S_lo", &below)] {
        for (got, want) in got.iter().zip(floats(&want[name])) {
            assert!((got - want).abs() < 1e-10, "{name}: {got} {want}");
        }
    }
    let alarms: Vec<usize> = (1..=20)
        .filter(|at| above[at - 1] > of("h") || below[at - 1] > of("h"))
        .collect();
    assert_eq!(alarms, [14, 15, 16, 17, 18, 19, 20]);
}

#[test]
fn a_shift_after_the_baseline_signals_and_limits_stay_those_of_the_baseline() {
    let steady = [1.62, 1.63, 1.61, 1.62, 1.63, 1.62, 1.61, 1.62];
    let shifted = [1.69, 1.70];
    let bases: Vec<i64> = steady
        .iter()
        .chain(&shifted)
        .map(|mm| format!("{mm:.2}").replace('.', "").parse::<i64>().unwrap() * 10_000)
        .collect();
    let sample = Sample::from_bases(bases, tallyjaw::quantity::Unit::Millimetre).unwrap();
    let all = groups(&sample, 1);
    let kept = |rules: &[_]| drawn("individuals", &all, Some(8), rules).unwrap();
    let alone = draw("individuals", &all[..8], None).unwrap();
    assert_eq!(kept(&[])[0].points[0], alone[0].points[0]);
    let at = |rules: &[_]| -> Vec<_> {
        let kept = kept(rules);
        kept[0].signals.iter().map(|s| (s.rule, s.at)).collect()
    };
    let far = "far_beyond_limit";
    assert_eq!(at(&usual_rules()), [(far, 9), (far, 10)]);
    let asked = ["beyond_limit", "two_of_three_near_limit"].map(|name| rule(name).unwrap());
    assert_eq!(
        at(&asked),
        [
            ("beyond_limit", 9),
            ("beyond_limit", 10),
            ("two_of_three_near_limit", 10)
        ]
    );
}

#[test]
fn charts_of_subgroups_agree_with_their_constants_and_say_what_they_cannot_take() {
    let sample = sample_of(&example("EWMA chart")["inputs"]["x"]);
    let fives = groups(&sample, 5);
    for (kind, second) in [("mean_range", "range"), ("mean_s", "s")] {
        let panels = draw(kind, &fives, None).unwrap();
        assert_eq!(panels[0].name, "mean");
        assert_eq!(panels[1].name, second);
        let constants = Constants::new(5).unwrap();
        let factor = if second == "range" {
            constants.a2()
        } else {
            constants.a3()
        };
        let reach = panels[0].points[0].upper.unwrap() - panels[0].points[0].center;
        assert_close(kind, reach, factor * panels[1].points[0].center, 1e-12);
    }
    assert_eq!(
        draw("mean_range", &groups(&sample, 6), None),
        Err(Undefined::Unequal { fewest: 2, most: 6 })
    );
    let equal = Sample::from_bases(vec![5; 6], sample.unit()).unwrap();
    assert_eq!(
        draw("individuals", &groups(&equal, 1), None),
        Err(Undefined::NoSpread { count: 6 })
    );
    assert_eq!(
        draw("cusum", &[], None),
        Err(Undefined::TooFewGroups { got: 0, want: 1 })
    );
}

#[test]
fn a_point_on_its_limit_is_not_beyond_it_whatever_the_division_rounds_to() {
    let mut random = tallyjaw::stats::random::Random::new(17);
    let rules = ["beyond_limit", "far_beyond_limit"].map(|name| rule(name).unwrap());
    let mut ranges_of_nothing = 0;
    for _ in 0..300 {
        let hundredths = (0..30).map(|_| 162 + i64::try_from(random.below(5)).unwrap());
        let bases = hundredths.map(|hundredths| 10_000 * hundredths).collect();
        let sample = Sample::from_bases(bases, tallyjaw::quantity::Unit::Millimetre).unwrap();
        for panel in drawn("individuals", &groups(&sample, 1), None, &rules).unwrap() {
            for signal in &panel.signals {
                let point = signal.point;
                assert_eq!(point, panel.points[signal.at - panel.first]);
                let within =
                    point.value <= point.upper.unwrap() && point.lower.unwrap() <= point.value;
                assert!(!within, "{} {point:?}", panel.name);
            }
            ranges_of_nothing += panel
                .points
                .iter()
                .filter(|point| point.value == 0.0)
                .count();
        }
    }
    assert!(ranges_of_nothing > 1000, "{ranges_of_nothing}");
}

#[test]
fn subgroups_of_different_sizes_have_control_limits_of_their_own() {
    let sample = sample_of(&example("EWMA chart")["inputs"]["x"]);
    // 20 readings: three subgroups of 6 and one of 2
    let groups = groups(&sample, 6);
    let panels = draw("mean_s", &groups, None).unwrap();
    let sizes = [6, 6, 6, 2];
    let sd = |group: &Sample| tallyjaw::stats::describe::sd(group.summary()).unwrap();
    let unbiased = groups
        .iter()
        .zip(sizes)
        .map(|(group, size)| sd(group) / Constants::new(size).unwrap().c4);
    let sigma = unbiased.sum::<f64>() / 4.0;
    let mean = tallyjaw::stats::describe::mean(sample.summary()).unwrap();
    for (point, size) in panels[0].points.iter().zip([6.0, 6.0, 6.0, 2.0_f64]) {
        assert_close("center", point.center, mean, 1e-12);
        assert_close(
            "reach",
            point.upper.unwrap() - point.center,
            3.0 * sigma / size.sqrt(),
            1e-12,
        );
    }
    for (point, size) in panels[1].points.iter().zip(sizes) {
        let of = Constants::new(size).unwrap();
        assert_close("centre of s", point.center, of.c4 * sigma, 1e-12);
        assert_close(
            "upper of s",
            point.upper.unwrap(),
            of.b3_b4().1 * of.c4 * sigma,
            1e-12,
        );
    }
}

#[test]
fn the_average_run_length_of_a_cusum_is_the_published_one() {
    // NIST/SEMATECH e-Handbook 6.3.2.3.1 (from memory), two-sided, h = 5, k = 0.5: 465 without a change, 10.4 after a
    // shift of 1, 4.01 after 2.
    let kind = CHARTS.iter().find(|kind| kind.name == "cusum").unwrap();
    let sample = Sample::from_bases(vec![0, 1, 2], Unit::Millimetre).unwrap();
    let groups = Groups::singles(&sample);
    let input = Input {
        groups: &groups,
        baseline: None,
        kept: Some(Baseline {
            center: 0.0,
            sigma: 1.0,
            size: 1,
            points: 0,
            given: true,
        }),
        memory: Memory::default(),
    };
    let chart = (kind.panels)(&input).unwrap();
    let rules = [rule("beyond_limit").unwrap()];
    for (shift, want, runs) in [(0.0, 465.0, 150), (1.0, 10.4, 500), (2.0, 4.01, 500)] {
        let found = run_length(kind, (&input, &chart), &rules, None, (shift, runs)).unwrap();
        let off = (found.points - want).abs();
        assert!(off < 4.0 * found.error, "{shift}: {found:?}, want {want}");
        assert!(found.error < 0.1 * want);
    }
}

#[test]
fn alarms_are_summarised_by_rule_and_stretch() {
    // every tenth point 5 high, and points 41 to 45
    let bases = (1..=120).map(|at| match at {
        41..=45 => 5_000,
        _ if at % 10 == 0 => 5_000,
        _ => i64::from(at % 2) * 100,
    });
    let sample = Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap();
    let groups = Groups::singles(&sample);
    let input = Input {
        groups: &groups,
        baseline: None,
        kept: Some(Baseline {
            center: 0.000_05,
            sigma: 0.000_1,
            size: 1,
            points: 0,
            given: true,
        }),
        memory: Memory::default(),
    };
    let kind = CHARTS
        .iter()
        .find(|kind| kind.name == "individuals")
        .unwrap();
    let chart = (kind.panels)(&input).unwrap();
    let found = alarms(&chart.panels[0], &[rule("beyond_limit").unwrap()]);
    assert_eq!(found.len(), 1);
    let alarm = &found[0];
    assert_eq!((alarm.signals, alarm.stretches, alarm.last), (17, 12, 120));
    assert_eq!(
        alarm.places(),
        "10, 20, 30, 40–45, 50, 60, 70, 80 and 4 more stretches"
    );
}

#[test]
fn limits_on_the_specification_leave_room_for_three_standard_deviations_of_a_mean() {
    let sample = sample_of(&example("EWMA chart")["inputs"]["x"]);
    let groups = Groups::subgroups(&groups(&sample, 4)).unwrap();
    let given = Baseline {
        center: 50.0,
        sigma: 2.0,
        size: 4,
        points: 0,
        given: true,
    };
    let drawn = |kind: &str, ends| {
        let kind = CHARTS.iter().find(|known| known.name == kind).unwrap();
        let input = Input {
            groups: &groups,
            baseline: None,
            kept: Some(given),
            memory: Memory::default(),
        };
        let chart = (kind.panels)(&input)?;
        let chart = on_specification(chart, ends, 0.001)?;
        let point = chart.panels[0].points().next().unwrap();
        Ok::<_, Undefined>((point.lower, point.center, point.upper))
    };
    // z(0.999) = 3.0902, 3/√4 = 1.5: (3.0902 - 1.5) · 2 = 3.1805 inside of 40 and 60
    let (lower, _, upper) = drawn("mean_s", (Some(40.0), Some(60.0))).unwrap();
    assert_close("lower", lower.unwrap(), 43.180_464, 1e-7);
    assert_close("upper", upper.unwrap(), 56.819_536, 1e-7);
    // Of one limit: the same line, none on the other side, and the centre of the process.
    let (lower, center, upper) = drawn("mean_s", (Some(40.0), None)).unwrap();
    assert_close("lower alone", lower.unwrap(), 43.180_464, 1e-7);
    assert_eq!((center, upper), (given.center, None));
    let (lower, _, upper) = drawn("mean_s", (None, Some(60.0))).unwrap();
    assert_close("upper alone", upper.unwrap(), 56.819_536, 1e-7);
    assert_eq!(lower, None);
    assert_eq!(drawn("mean_s", (None, None)), Err(Undefined::NoLimits));
    let narrow = drawn("mean_s", (Some(47.0), Some(53.0)));
    assert!(
        matches!(narrow, Err(Undefined::NotApplicable { .. })),
        "{narrow:?}"
    );
    let memory = drawn("ewma", (Some(40.0), Some(60.0)));
    assert!(
        matches!(memory, Err(Undefined::NotApplicable { .. })),
        "{memory:?}"
    );
}
