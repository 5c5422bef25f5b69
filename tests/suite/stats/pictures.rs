//! Pictures are true: bars end at the limits, groups have the same scale, axes have numbers and units.

use crate::harness::cases;
use proptest::prelude::*;
use tallyjaw::quantity::{Dimension, Quantity, Unit};
use tallyjaw::stats::chart::{
    CHARTS, Chart, Groups, Input, Memory, Point, RULES, Rule, Signal, draw, moving_range_sigma,
    rule, usual_rules,
};
use tallyjaw::stats::picture::{Histogram, chart_svg, chart_text};
use tallyjaw::stats::{Limits, Sample, Undefined, describe};

fn quantity(base: i64) -> Quantity {
    Quantity::from_base(Dimension::Length, base)
}

fn sample(bases: Vec<i64>, step: i64) -> Sample {
    let sample = Sample::from_bases(bases, Unit::Millimetre).unwrap();
    sample.with_step(Some(quantity(step)))
}

fn limits(lower: Option<i64>, upper: Option<i64>) -> Limits {
    Limits {
        lower: lower.map(quantity),
        nominal: None,
        upper: upper.map(quantity),
    }
}

proptest! {
    #[test]
    fn every_reading_is_in_one_bar_and_no_bar_straddles_a_limit(
        values in proptest::collection::vec(-300i64..300, 1..80),
        step in prop_oneof![Just(1i64), Just(7), Just(10)],
        on_grid in any::<bool>(),
        lower in proptest::option::of(-320i64..100),
        wide in proptest::option::of(0i64..400),
    ) {
        let values: Vec<i64> = values.into_iter().map(|v| if on_grid { v * step } else { v }).collect();
        let upper = wide.map(|wide| lower.unwrap_or(-50) + wide);
        let all = sample(values.clone(), step);
        let histogram = Histogram::new(all.summary(), &limits(lower, upper)).unwrap();
        let is_out = |v: i64| lower.is_some_and(|l| v < l) || upper.is_some_and(|u| v > u);
        let mut last = i64::MIN;
        for bin in histogram.bins() {
            prop_assert!(last < bin.low && bin.low <= bin.high, "{:?}", histogram.bins());
            last = bin.high;
            prop_assert_eq!(is_out(bin.low), bin.outside, "{:?}", bin);
            prop_assert_eq!(is_out(bin.high), bin.outside, "{:?}", bin);
        }
        let total: u64 = histogram.bins().iter().map(|bin| bin.count).sum();
        prop_assert_eq!(total, u64::try_from(values.len()).unwrap());
        let outside: u64 = histogram.bins().iter().filter(|bin| bin.outside).map(|bin| bin.count).sum();
        let want = values.iter().filter(|v| is_out(**v)).count();
        prop_assert_eq!(outside, u64::try_from(want).unwrap());
    }
}

#[test]
fn the_last_bar_ends_before_a_limit_that_no_reading_reaches() {
    let all = sample(vec![-209, 71], 10);
    let histogram = Histogram::new(all.summary(), &limits(Some(72), None)).unwrap();
    let last = histogram.bins().last().unwrap();
    assert_eq!((last.high, last.outside), (71, true), "{last:?}");
}

#[test]
fn good_pieces_at_a_limit_are_never_drawn_as_outside() {
    // 0.01 mm over a wide range: several counts a bar; limits in the middle of what would be bars
    let bases = (100..=180).chain([157, 157, 167, 167]).map(|h| h * 10_000);
    let all = sample(bases.collect(), 10_000);
    let within = limits(Some(1_570_000), Some(1_670_000));
    let histogram = Histogram::new(all.summary(), &within).unwrap();
    let inside: u64 = histogram
        .bins()
        .iter()
        .filter(|bin| !bin.outside)
        .map(|bin| bin.count)
        .sum();
    assert_eq!(inside, 15, "157 to 167, and four more");
    let text = histogram.text().join("\n");
    let (below, rest) = text.split_once("── lower limit 1.57 mm").unwrap();
    let (between, above) = rest.split_once("── upper limit 1.67 mm").unwrap();
    assert!(!between.contains("outside"), "{text}");
    assert!(
        below.contains("outside") && above.contains("outside"),
        "{text}"
    );
    assert!(text.contains("mm │ readings"), "{text}");
    let svg = histogram.svg("heights");
    assert!(
        svg.contains("value in mm") && svg.contains(">number of readings<"),
        "{svg}"
    );
    // even values under the bars, even counts beside them
    for tick in [">1.00<", ">1.10<", ">1.80<", ">0<", ">2<", ">4<"] {
        assert!(svg.contains(tick), "{tick}: {svg}");
    }
    assert!(svg.contains(">lower limit 1.57 mm<"), "{svg}");
}

#[test]
fn histograms_side_by_side_have_the_same_bars_and_the_same_scale() {
    let few = sample(vec![1_620_000, 1_630_000], 10_000);
    let many = sample([1_600_000, 1_640_000, 1_700_000].repeat(9), 10_000);
    let pair = Histogram::side_by_side(&[few.summary(), many.summary()], &limits(None, None));
    let [first, second] = &pair[..] else {
        panic!("two")
    };
    let bars =
        |of: &Histogram| -> Vec<_> { of.bins().iter().map(|bin| (bin.low, bin.high)).collect() };
    assert_eq!(bars(first), bars(second));
    assert_eq!((first.span(), first.most()), (second.span(), second.most()));
    assert_eq!(first.most(), 9);
    assert_eq!(first.text().len(), second.text().len());
}

#[test]
fn a_chart_has_numbers_and_units_on_both_axes() {
    let bases = (0..25).map(|at| 1_620_000 + 10_000 * (at * 7 % 5));
    let singles: Vec<Sample> = bases.map(|base| sample(vec![base], 10_000)).collect();
    let input = Input {
        groups: &Groups::subgroups(&singles).unwrap(),
        baseline: None,
        kept: None,
        memory: Memory::default(),
    };
    let kind = CHARTS
        .iter()
        .find(|kind| kind.name == "individuals")
        .unwrap();
    let chart = draw(kind, &input).unwrap();
    let svg = chart_svg("heights", &chart, &usual_rules(), (4, Unit::Millimetre));
    for said in [
        "single readings in mm",
        "moving ranges in mm",
        "number of the reading",
        ">upper control limit<",
        ">centre line<",
        ">lower control limit<",
        ">min 1.6200 mm<",
        ">max 1.6600 mm<",
        ">1.64<",
        ">1.66<",
        " mm</text>",
        ">5</text>",
        ">25</text>",
    ] {
        assert!(svg.contains(said), "{said}: {svg}");
    }
    assert!(!svg.contains("NaN"));
}

/// The width of a picture, in pixels.
const PAPER: f64 = 720.0;

/// 24 readings that alternate, and one far above.
fn with_an_outlier() -> Vec<Sample> {
    let bases = (0..24).map(|at| 1_620_000 + 10_000 * (at % 2));
    let bases = bases.chain([1_900_000]);
    bases.map(|base| sample(vec![base], 10_000)).collect()
}

#[test]
fn a_mark_says_which_rule_fired_and_no_text_leaves_the_paper() {
    let singles = with_an_outlier();
    let input = Input {
        groups: &Groups::subgroups(&singles).unwrap(),
        baseline: Some(24),
        kept: None,
        memory: Memory::default(),
    };
    let kind = CHARTS
        .iter()
        .find(|kind| kind.name == "individuals")
        .unwrap();
    let chart = draw(kind, &input).unwrap();
    let svg = chart_svg("heights", &chart, &usual_rules(), (4, Unit::Millimetre));
    assert!(
        svg.contains(">far beyond upper control limit</text>"),
        "{svg}"
    );
    let texts = svg.split("<text").skip(1);
    for text in texts {
        let (head, rest) = text.split_once('>').unwrap();
        let said = rest.split('<').next().unwrap();
        let x = head.split("x=\"").nth(1).unwrap();
        let x: f64 = x.split('"').next().unwrap().parse().unwrap();
        let wide = 7.0 * f64::from(u32::try_from(said.chars().count()).unwrap());
        let (from, to) = if head.contains("end") {
            (x - wide, x)
        } else if head.contains("mid") {
            (x - wide / 2.0, x + wide / 2.0)
        } else {
            (x, x + wide)
        };
        assert!(from >= 0.0 && to <= PAPER, "{said}: {from} to {to}");
    }
}

/// This many readings, one of them far out.
fn long_run(count: usize, far: usize) -> Groups {
    let bases = (0..count).map(|at| 1_620_000 + 10_000 * (i64::try_from(at * 7 % 5).unwrap()));
    let mut bases: Vec<i64> = bases.collect();
    bases[far] = 1_900_000;
    Groups::singles(&sample(bases, 10_000))
}

fn input(groups: &Groups) -> Input<'_> {
    Input {
        groups,
        baseline: None,
        kept: None,
        memory: Memory::default(),
    }
}

#[test]
fn a_long_chart_shows_what_a_picture_can_and_says_how_it_was_reduced() {
    let digits = (2, Unit::Millimetre);
    let each_shown = long_run(1024, 700);
    let chart = draw(&CHARTS[0], &input(&each_shown)).unwrap();
    let short = chart_svg("heights", &chart, &usual_rules(), digits);
    assert!(!short.contains("each mark stands for"));
    let reduced = long_run(100_000, 70_000);
    let chart = draw(&CHARTS[0], &input(&reduced)).unwrap();
    let svg = chart_svg("heights", &chart, &usual_rules(), digits);
    // 512 marks for 100,000 points: 196 points in each but the last
    let said = "each mark stands for 196 consecutive points: lowest, mean, highest; signals are marked singly";
    assert_eq!(
        svg.matches(said).count(),
        4,
        "below each panel, and in its description"
    );
    assert_eq!(svg.matches("class=\"run spread\"").count(), 2 * 511);
    assert!(svg.len() < 400_000, "{}", svg.len());
    let panel = &chart.panels[0];
    let mut signals = panel.signals(&usual_rules());
    assert!(signals.any(|signal| signal.at == 70_001));
    let squares = svg.matches("class=\"signal\"").count();
    let in_all: usize = chart
        .panels
        .iter()
        .map(|panel| panel.signals(&usual_rules()).count())
        .sum();
    assert_eq!(squares, in_all, "each signal keeps its mark");
    let text = chart_text(panel, &usual_rules(), digits, &chart.each()).join("\n");
    let said = "(each mark stands for 2500 consecutive points: lowest, mean, highest; signals are marked singly)";
    assert!(text.ends_with(said), "{text}");
    assert_eq!(text.matches('✕').count(), 1, "{text}");
}

#[test]
fn of_more_signals_than_can_be_told_apart_the_first_are_marked_and_the_others_counted() {
    let digits = (2, Unit::Millimetre);
    let steady = (0..50).map(|at| 1_620_000 + 10_000 * (at % 3));
    // Every second reading of the later ones is far out.
    let later = (0..5_000).map(|at| 1_620_000 + 500_000 * (at % 2));
    let all = Groups::singles(&sample(steady.chain(later).collect(), 10_000));
    let of_first = Input {
        baseline: Some(50),
        ..input(&all)
    };
    let rules = [rule("beyond_limit").unwrap()];
    let chart = draw(&CHARTS[0], &of_first).unwrap();
    assert_eq!(chart.panels[0].signals(&rules).count(), 2_500);
    let svg = chart_svg("heights", &chart, &rules, digits);
    let panel = "single readings, 5050 points (each mark stands for 10 consecutive points: lowest, mean, highest; the first 1000 of 2500 signals are marked singly): point 52: a point beyond a control limit";
    assert!(svg.contains(panel), "{svg}");
    assert!(svg.contains("; 1500 more signals. moving ranges"), "{svg}");
    assert_eq!(svg.matches("class=\"signal\"").count(), 2 * 1000);
}

/// What a chart says of its points, as if each were kept.
fn whole(
    chart: &Chart<'_>,
    rules: &[&'static Rule],
) -> Vec<(&'static str, Vec<Point>, Vec<Signal>)> {
    let panels = chart.panels.iter().map(|panel| {
        let points: Vec<Point> = panel.points().collect();
        assert_eq!(points.len(), panel.len(), "{}", panel.name);
        (panel.name, points, panel.signals(rules).collect())
    });
    panels.collect()
}

#[test]
fn a_chart_of_single_readings_is_that_of_subgroups_of_one() {
    let bases: Vec<i64> = (0..300)
        .map(|at| 1_620_000 + 10_000 * (at * 7 % 5 + at % 3))
        .collect();
    let all = sample(bases.clone(), 10_000);
    let singles: Vec<Sample> = bases
        .iter()
        .map(|base| sample(vec![*base], 10_000))
        .collect();
    let [all, singles] = [Groups::singles(&all), Groups::subgroups(&singles).unwrap()];
    let rules: Vec<&'static Rule> = RULES.iter().collect();
    for kind in CHARTS {
        for baseline in [None, Some(50), Some(1)] {
            let drawn = |groups| {
                let input = Input {
                    baseline,
                    ..input(groups)
                };
                let chart = draw(kind, &input)?;
                Ok::<_, Undefined>((chart.baseline, whole(&chart, &rules)))
            };
            assert_eq!(drawn(&all), drawn(&singles), "{}", kind.name);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(cases(8)))]
    #[test]
    fn a_reduced_chart_has_the_limits_the_signals_and_the_ends_of_all_points(
        steps in proptest::collection::vec(0_i64..12, 5_000..9_000),
        far in proptest::collection::vec((0_usize..5_000, -60_i64..60), 0..20),
        size in 1_usize..5,
        kind in 0..CHARTS.len(),
    ) {
        let mut bases: Vec<i64> = steps.iter().map(|step| 1_620_000 + 10_000 * step).collect();
        for (at, steps) in far {
            bases[at] += 10_000 * steps;
        }
        let all = sample(bases, 10_000);
        let groups = Groups::new(all.bases().iter().copied().collect(), size, all.scale(), Some(10_000));
        let rules = [rule("beyond_limit").unwrap()];
        let Ok(chart) = draw(&CHARTS[kind], &input(&groups)) else {
            return Ok(()); // of another size than this kind of chart takes
        };
        if size == 1 {
            let center = describe::mean(all.summary()).unwrap();
            let sigma = moving_range_sigma(&all).unwrap();
            prop_assert_eq!((chart.baseline.center, chart.baseline.sigma), (center, sigma));
        }
        let svg = chart_svg("heights", &chart, &rules, (4, Unit::Millimetre));
        prop_assert!(svg.matches('<').count() < 20_000);
        for (panel, (name, points, signals)) in chart.panels.iter().zip(whole(&chart, &rules)) {
            let beyond = |point: &Point| point.upper.is_some_and(|upper| point.value > upper) || point.lower.is_some_and(|lower| point.value < lower);
            let numbers = (panel.first..).zip(&points).filter(|(_, point)| beyond(point)).map(|(number, _)| number);
            let found = signals.iter().map(|signal| signal.at);
            prop_assert!(numbers.eq(found), "{name}");
            let values = || points.iter().map(|point| point.value);
            let last = points.last().unwrap();
            let lines = [last.upper, Some(last.center), last.lower].into_iter().flatten();
            let lines = lines.map(|line| format!(">{line:.4} mm<"));
            let ends = [("min", values().reduce(f64::min)), ("max", values().reduce(f64::max))];
            let ends = ends.map(|(end, value)| format!(">{end} {:.4} mm<", value.unwrap()));
            let count = format!("{}, {} points", panel.words, points.len());
            for said in lines.chain(ends).chain([count]) {
                prop_assert!(svg.contains(&said), "{name}: {said}");
            }
            let more = format!("; {} more signals", signals.len().saturating_sub(1000));
            prop_assert_eq!(signals.len() > 1000, svg.contains(&more));
        }
    }
}
