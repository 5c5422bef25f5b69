//! Run rules: which points of a control chart are signals.
//!
//! A rule looks at a point and some before it. Each is given by its distance from the centre line, in thirds of the way
//! to the control limit (3 is on the limit). Sources: Western Electric 1956, Nelson 1984, both from memory; the wording
//! is our own.

use super::{LOWER, Panel, Point, UPPER};

/// A run rule.
#[derive(Debug)]
pub struct Rule {
    /// Name in `signals[].rule` and in configurations, which never changes.
    pub name: &'static str,
    /// The rule as a sentence.
    pub words: &'static str,
    /// Short form for a mark in a picture. For a rule of one point, its position relative to the control limit.
    brief: &'static str,
    /// Number of points it looks at.
    pub length: usize,
    /// Whether it is used by default. Together the default rules signal in less than 5 % of charts of a stable process.
    pub usual: bool,
    fires: Fires,
}

/// The condition for a signal.
#[derive(Debug, Clone, Copy)]
enum Fires {
    /// Whether the last of `length` points is a signal.
    Always(fn(&[f64]) -> bool),
    /// A point is beyond [`Reach::far`].
    Far,
    /// At least [`Reach::run`] points in a row lie on one side.
    LongRun,
}

/// Thresholds of the rules that are fitted to the length of a chart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// Distance from the centre, in thirds of the way to the limit.
    pub far: f64,
    /// Number of points in a row.
    pub run: usize,
}

impl Default for Reach {
    /// The minimum: the control limit itself, and nine points.
    fn default() -> Self {
        Self { far: 3.0, run: 9 }
    }
}

/// Every run rule. If points depend on each other (ranges, EWMA, CUSUM) only rules of one point apply.
pub const RULES: &[Rule] = &[
    Rule {
        name: "far_beyond_limit",
        words: "a point beyond the control limits, which are wider for a longer chart",
        brief: "far beyond",
        length: 1,
        usual: true,
        fires: Fires::Far,
    },
    Rule {
        name: "long_on_one_side",
        words: "more points in a row on one side of the centre line than a stable process gives in a chart of this length",
        brief: "long run on one side",
        length: 9,
        usual: true,
        fires: Fires::LongRun,
    },
    Rule {
        name: "beyond_limit",
        words: "a point beyond a control limit",
        brief: "beyond",
        length: 1,
        usual: false,
        fires: Fires::Always(|run| run.iter().all(|z| z.abs() > 3.0)),
    },
    Rule {
        name: "nine_on_one_side",
        words: "nine points in a row on one side of the centre line",
        brief: "9 on one side",
        length: 9,
        usual: false,
        fires: Fires::Always(one_sided),
    },
    Rule {
        name: "six_trending",
        words: "six points in a row rising or falling",
        brief: "6 rising or falling",
        length: 6,
        usual: false,
        fires: Fires::Always(|run| {
            steps(run).all(|step| step > 0.0) || steps(run).all(|step| step < 0.0)
        }),
    },
    Rule {
        name: "fourteen_alternating",
        words: "fourteen points in a row alternating up and down",
        brief: "14 alternating",
        length: 14,
        usual: false,
        fires: Fires::Always(|run| {
            let ups: Vec<f64> = steps(run).collect();
            ups.windows(2)
                .all(|pair| matches!(pair, [a, b] if a * b < 0.0))
        }),
    },
    Rule {
        name: "two_of_three_near_limit",
        words: "two of three points in the outer third on one side",
        brief: "2 of 3 near the control limit",
        length: 3,
        usual: false,
        fires: Fires::Always(|run| beyond(run, 2.0) >= 2),
    },
    Rule {
        name: "four_of_five_off_center",
        words: "four of five points beyond the inner third on one side",
        brief: "4 of 5 off the centre line",
        length: 5,
        usual: false,
        fires: Fires::Always(|run| beyond(run, 1.0) >= 4),
    },
    Rule {
        name: "fifteen_near_center",
        words: "fifteen points in a row in the inner thirds: control limits too wide, or readings invented",
        brief: "15 near the centre line",
        length: 15,
        usual: false,
        fires: Fires::Always(|run| run.iter().all(|z| z.abs() < 1.0)),
    },
    Rule {
        name: "eight_off_center",
        words: "eight points in a row, none in the inner thirds: two processes mixed",
        brief: "8 off the centre line",
        length: 8,
        usual: false,
        fires: Fires::Always(|run| run.iter().all(|z| z.abs() > 1.0)),
    },
];

/// The rule with this name.
pub fn rule(name: &str) -> Option<&'static Rule> {
    RULES.iter().find(|rule| rule.name == name)
}

/// A signal: a rule that fired at a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Signal {
    /// Name of the rule.
    pub rule: &'static str,
    /// Number of the last point of the pattern, from 1, as the panel counts.
    pub at: usize,
    /// That point.
    pub point: Point,
}

impl Signal {
    /// The rule in a few words, for a mark at its point.
    pub fn brief(&self) -> String {
        match rule(self.rule) {
            Some(rule) if rule.length == 1 => {
                let limit = if self.point.value > self.point.center {
                    UPPER
                } else {
                    LOWER
                };
                format!("{} {limit}", rule.brief)
            }
            Some(rule) => rule.brief.to_owned(),
            None => self.rule.to_owned(),
        }
    }
}

/// Differences between consecutive points.
fn steps(run: &[f64]) -> impl Iterator<Item = f64> {
    run.windows(2)
        .filter_map(|pair| Some(pair.last()? - pair.first()?))
}

/// Number of points beyond `distance` on the side of the last one, which must be beyond it itself.
fn beyond(run: &[f64], distance: f64) -> usize {
    let Some(last) = run.last() else {
        return 0;
    };
    let sign = last.signum();
    if last * sign <= distance {
        return 0;
    }
    run.iter().filter(|z| *z * sign > distance).count()
}

/// Number of points that are gone through before the oldest are forgotten.
const AT_ONCE: usize = 1024;

/// The signals, found in one pass that keeps only as many points as a rule looks at.
pub(super) fn signals<'g>(
    panel: &Panel<'g>,
    rules: &[&'static Rule],
) -> impl Iterator<Item = Signal> + use<'g> {
    let (first, reach, independent) = (panel.first, panel.reach, panel.independent);
    let rules = rules.to_vec();
    let lengths = rules.iter().map(|rule| rule.length_at(reach));
    let longest = lengths.max().unwrap_or(1);
    let mut run: Vec<f64> = Vec::new();
    panel.points().enumerate().flat_map(move |(at, point)| {
        if run.len() >= longest + AT_ONCE {
            run.drain(..=AT_ONCE);
        }
        run.push(distance(&point));
        let fired = rules.iter().filter(|rule| {
            let from = run.len().checked_sub(rule.length_at(reach));
            let last = from.and_then(|from| run.get(from..));
            last.is_some_and(|last| rule.fires(last, independent, reach))
        });
        let signals = fired.map(|rule| Signal {
            rule: rule.name,
            at: first + at,
            point,
        });
        signals.collect::<Vec<_>>()
    })
}

/// Distances of the points from the centre, in thirds of the way to the limit.
pub(super) fn distances(panel: &Panel<'_>) -> Vec<f64> {
    panel.points().map(|point| distance(&point)).collect()
}

impl Rule {
    /// Indices of the points at which the rule fires, from 0.
    pub(super) fn ends<'d>(
        &'d self,
        distances: &'d [f64],
        independent: bool,
        reach: Reach,
    ) -> impl Iterator<Item = usize> + use<'d> {
        let length = self.length_at(reach);
        let runs = distances.windows(length).enumerate();
        let fired = runs.filter(move |(_, run)| self.fires(run, independent, reach));
        fired.map(move |(at, _)| at + length - 1)
    }

    /// Number of points it looks at.
    fn length_at(&self, reach: Reach) -> usize {
        let length = match self.fires {
            Fires::Always(_) | Fires::Far => self.length,
            Fires::LongRun => reach.run,
        };
        length.max(1)
    }

    /// Whether the last of these points, as many as it looks at, is a signal.
    fn fires(&self, run: &[f64], independent: bool, reach: Reach) -> bool {
        (independent || self.length == 1)
            && match self.fires {
                Fires::Always(holds) => holds(run),
                Fires::Far => run.iter().all(|z| z.abs() > reach.far),
                Fires::LongRun => one_sided(run),
            }
    }
}

fn one_sided(run: &[f64]) -> bool {
    run.iter().all(|z| *z > 0.0) || run.iter().all(|z| *z < 0.0)
}

/// Length of the longest run of points on one side of the centre.
pub(super) fn longest_run(distances: &[f64]) -> usize {
    let (mut longest, mut length, mut side) = (0, 0, 0.0);
    for z in distances {
        let own = if *z > 0.0 {
            1.0
        } else if *z < 0.0 {
            -1.0
        } else {
            0.0
        };
        length = if own * side > 0.0 {
            length + 1
        } else {
            usize::from(own * own > 0.0)
        };
        side = own;
        longest = longest.max(length);
    }
    longest
}

/// Distance from the centre, in thirds of the way to the limit on that side.
fn distance(point: &Point) -> f64 {
    let above = point.value - point.center;
    let lower = point.lower.map(|lower| point.center - lower);
    let upper = point.upper.map(|upper| upper - point.center);
    // Without a limit on its side, that of the other: no limit is beyond it then.
    let width = if above < 0.0 {
        lower.or(upper)
    } else {
        upper.or(lower)
    };
    let Some(width) = width.filter(|width| *width > 0.0) else {
        return 0.0;
    };
    let thirds = 3.0 * above / width;
    let is_beyond = point.upper.is_some_and(|upper| point.value > upper)
        || point.lower.is_some_and(|lower| point.value < lower);
    // The division rounds, and a point on its limit, such as a moving range of 0, is not beyond it.
    if is_beyond {
        let least = 3.0 * (1.0 + f64::EPSILON);
        thirds.signum() * thirds.abs().max(least)
    } else {
        thirds.clamp(-3.0, 3.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn signals_of_one_pass_are_those_of_all_points_at_once(values in proptest::collection::vec(-4_i32..5, 1..4000), run in 9_usize..30) {
            let values: Vec<f64> = values.iter().map(|value| f64::from(*value) * 0.9).collect();
            let made = || values.iter().copied();
            let mut panel = Panel::level("p", "points", values.len(), (-3.0, 0.0, 3.0), made).of_independent_points();
            panel.reach = Reach { far: 3.3, run };
            let rules: Vec<&'static Rule> = RULES.iter().collect();
            let distances = distances(&panel);
            let mut all: Vec<(usize, &str)> = rules
                .iter()
                .flat_map(|rule| rule.ends(&distances, true, panel.reach).map(|at| (at + 1, rule.name)))
                .collect();
            all.sort_by_key(|(at, _)| *at);
            let found = signals(&panel, &rules).map(|signal| (signal.at, signal.rule));
            prop_assert_eq!(found.collect::<Vec<_>>(), all);
        }
    }

    fn fires(name: &str, run: &[f64]) -> bool {
        let rule = rule(name).unwrap();
        assert_eq!(run.len(), rule.length, "{name}");
        let reach = Reach::default();
        rule.ends(run, true, reach).next().is_some()
    }

    #[test]
    fn each_rule_fires_on_what_it_says_and_not_one_point_before() {
        assert!(fires("beyond_limit", &[-3.1]) && !fires("beyond_limit", &[3.0]));
        assert!(fires("far_beyond_limit", &[-3.1]) && !fires("far_beyond_limit", &[3.0]));
        assert!(fires("long_on_one_side", &[-0.1; 9]) && !fires("long_on_one_side", &[0.0; 9]));
        assert_eq!(longest_run(&[0.1, -0.2, -0.3, 0.0, -1.0, 2.0, 1.0, 0.5]), 3);
        assert!(fires("nine_on_one_side", &[0.1; 9]) && !fires("nine_on_one_side", &[0.0; 9]));
        let rising = [-1.0, -0.5, 0.0, 0.1, 0.2, 0.3];
        assert!(fires("six_trending", &rising));
        assert!(!fires("six_trending", &[0.0, 0.1, 0.1, 0.2, 0.3, 0.4]));
        let alternating: Vec<f64> = (0..14)
            .map(|at| if at % 2 == 0 { 0.2 } else { -0.2 })
            .collect();
        assert!(fires("fourteen_alternating", &alternating));
        assert!(fires("two_of_three_near_limit", &[2.1, 0.0, 2.2]));
        assert!(!fires("two_of_three_near_limit", &[2.1, 2.2, 0.0]));
        assert!(!fires("two_of_three_near_limit", &[-2.1, 0.0, 2.2]));
        assert!(fires(
            "four_of_five_off_center",
            &[-1.1, -1.2, 0.5, -1.3, -1.4]
        ));
        assert!(!fires(
            "four_of_five_off_center",
            &[-1.1, -1.2, 0.5, -0.9, -1.4]
        ));
        assert!(fires("fifteen_near_center", &[0.9; 15]));
        assert!(fires(
            "eight_off_center",
            &[1.1, -1.1, 1.2, -1.2, 2.0, 1.1, -1.3, 1.1]
        ));
        assert!(!fires(
            "eight_off_center",
            &[1.1, -1.1, 1.2, -1.2, 2.0, 1.1, -0.3, 1.1]
        ));
    }
}
