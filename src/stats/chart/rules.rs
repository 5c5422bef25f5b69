//! Run rules: what a chart calls a signal, each with a name in words.
//!
//! A rule looks at so many points up to one, each as its distance from the centre in thirds of the way
//! to the limit (so that 3 is on the limit). Sources: Western Electric 1956, Nelson 1984, both from
//! memory; wordings ours.

use super::{Panel, Point};

/// A run rule.
#[derive(Debug)]
pub struct Rule {
    /// As in `signals[].rule` and in configurations; never changes.
    pub name: &'static str,
    /// The rule as a sentence.
    pub words: &'static str,
    /// How many points it looks at.
    pub length: usize,
    /// Used unless rules are chosen. All eight together signal about once in 60 points without cause.
    pub usual: bool,
    /// Whether the last of `length` points is a signal.
    fires: fn(&[f64]) -> bool,
}

/// Every run rule. Only the first holds for points that know of each other (ranges, EWMA, CUSUM).
pub const RULES: &[Rule] = &[
    Rule {
        name: "beyond_limit",
        words: "a point beyond a limit",
        length: 1,
        usual: true,
        fires: |run| run.iter().all(|z| z.abs() > 3.0),
    },
    Rule {
        name: "nine_on_one_side",
        words: "nine points in a row on one side of the centre",
        length: 9,
        usual: true,
        fires: |run| run.iter().all(|z| *z > 0.0) || run.iter().all(|z| *z < 0.0),
    },
    Rule {
        name: "six_trending",
        words: "six points in a row rising or falling",
        length: 6,
        usual: true,
        fires: |run| steps(run).all(|step| step > 0.0) || steps(run).all(|step| step < 0.0),
    },
    Rule {
        name: "fourteen_alternating",
        words: "fourteen points in a row going up and down by turns",
        length: 14,
        usual: false,
        fires: |run| {
            let ups: Vec<f64> = steps(run).collect();
            ups.windows(2)
                .all(|pair| matches!(pair, [a, b] if a * b < 0.0))
        },
    },
    Rule {
        name: "two_of_three_near_limit",
        words: "two of three points in the outer third on one side",
        length: 3,
        usual: true,
        fires: |run| beyond(run, 2.0) >= 2,
    },
    Rule {
        name: "four_of_five_off_center",
        words: "four of five points beyond the inner third on one side",
        length: 5,
        usual: false,
        fires: |run| beyond(run, 1.0) >= 4,
    },
    Rule {
        name: "fifteen_near_center",
        words: "fifteen points in a row in the inner thirds: limits too wide, or readings made up",
        length: 15,
        usual: false,
        fires: |run| run.iter().all(|z| z.abs() < 1.0),
    },
    Rule {
        name: "eight_off_center",
        words: "eight points in a row with none in the inner thirds: two processes mixed",
        length: 8,
        usual: false,
        fires: |run| run.iter().all(|z| z.abs() > 1.0),
    },
];

/// The rule of that name.
pub fn rule(name: &str) -> Option<&'static Rule> {
    RULES.iter().find(|rule| rule.name == name)
}

/// A rule that fired.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Signal {
    /// The rule's name.
    pub rule: &'static str,
    /// The number of the last point of the run, from 1, as the panel counts.
    pub at: usize,
}

/// From each point to the next.
fn steps(run: &[f64]) -> impl Iterator<Item = f64> {
    run.windows(2)
        .filter_map(|pair| Some(pair.last()? - pair.first()?))
}

/// How many points lie beyond `distance` on the side of the last one, which must be one of them.
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

pub(super) fn signals(panel: &Panel, rules: &[&'static Rule]) -> Vec<Signal> {
    let distances: Vec<f64> = panel.points.iter().map(distance).collect();
    let mut found = Vec::new();
    for rule in rules {
        if !panel.independent && rule.length > 1 {
            continue;
        }
        for (at, run) in distances.windows(rule.length).enumerate() {
            if (rule.fires)(run) {
                found.push(Signal {
                    rule: rule.name,
                    at: panel.first + at + rule.length - 1,
                });
            }
        }
    }
    found.sort_by_key(|signal| signal.at);
    found
}

/// From the centre in thirds of the way to the limit on that side.
fn distance(point: &Point) -> f64 {
    let above = point.value - point.center;
    let width = match point.lower {
        Some(lower) if above < 0.0 => point.center - lower,
        _ => point.upper - point.center,
    };
    if width > 0.0 {
        3.0 * above / width
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fires(name: &str, run: &[f64]) -> bool {
        let rule = rule(name).unwrap();
        assert_eq!(run.len(), rule.length, "{name}");
        (rule.fires)(run)
    }

    #[test]
    fn each_rule_fires_on_what_it_says_and_not_one_point_before() {
        assert!(fires("beyond_limit", &[-3.1]) && !fires("beyond_limit", &[3.0]));
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
