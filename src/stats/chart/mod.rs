//! Control charts: is a process stable?
//!
//! In: readings in order, alone or in subgroups, and what the control limits are computed from. Out: panels of
//! points with centre line and control limits, and the signals of the run rules.
//!
//! Limits come from all points, from the first ones (`baseline`), or from a [`Baseline`] that was kept.

mod chance;
mod cusum;
mod ewma;
mod individuals;
mod mean_range;
mod mean_s;
mod points;
mod rules;

pub use chance::{Chance, draw};
pub use cusum::cusum;
pub use ewma::ewma;
pub use points::{Baseline, moving_range_freedom, moving_range_sigma, sigma_of_mean_range};
pub use rules::{RULES, Reach, Rule, Signal, rule};

use super::sample::Scale;
use super::{Sample, Undefined};

/// What a chart is drawn of.
#[derive(Debug, Clone)]
pub struct Input<'s> {
    /// Single readings in order, or subgroups in order, each of the same number of readings.
    pub groups: &'s [Sample],
    /// Take the limits from this many of the first points; from all of them if `None`.
    pub baseline: Option<usize>,
    /// Limits that were kept; `baseline` is then not used.
    pub kept: Option<Baseline>,
    /// The constants of the charts that look back.
    pub memory: Memory,
}

/// The constants of the charts that look back over many points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Memory {
    /// EWMA: the weight of the newest point, over 0 and at most 1.
    pub weight: f64,
    /// EWMA: limits at this many standard deviations.
    pub width: f64,
    /// CUSUM: what is not summed, in standard deviations of a point (half the shift looked for).
    pub allowance: f64,
    /// CUSUM: a sum beyond this many standard deviations is a signal.
    pub decision: f64,
    /// The value to stay at; the centre of the baseline if `None`. In the unit of the readings.
    pub target: Option<f64>,
}

impl Default for Memory {
    /// Common practice, no source: weight 0.2, width 3, allowance 0.5, decision 5.
    fn default() -> Self {
        Self {
            weight: 0.2,
            width: 3.0,
            allowance: 0.5,
            decision: 5.0,
            target: None,
        }
    }
}

/// Name, panels and constants of one kind of control chart.
#[derive(Debug)]
pub struct ChartKind {
    /// As given to `study chart --kind`; never changes.
    pub name: &'static str,
    /// For people.
    pub words: &'static str,
    /// Subgroups, of at least two readings, are needed; else single readings do.
    pub of_subgroups: bool,
    /// Makes its panels.
    pub panels: fn(&Input<'_>) -> Result<Chart, Undefined>,
    /// The same from bare readings, how many the limits are taken from and kept limits, where the kind has that:
    /// for drawing many charts.
    of_bases: Option<OfBases>,
}

type OfBases = fn(&[i64], Scale, Option<usize>, Option<Baseline>) -> Result<Chart, Undefined>;

/// Every kind of chart. To add one: a file beside this one and a row here.
pub const CHARTS: &[ChartKind] = &[
    individuals::CHART,
    mean_range::CHART,
    mean_s::CHART,
    ewma::CHART,
    cusum::CHART,
];

/// The panels of a chart, and what their limits were made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    /// What the limits were made of; can be kept.
    pub baseline: Baseline,
    /// The drawings, the chief one first.
    pub panels: Vec<Panel>,
    /// How often such charts signal without a cause; nothing is known of it before [`draw`].
    pub chance: Chance,
}

/// Control limits from fewer points are not reliable (common practice, no source).
pub const FEWEST_POINTS: usize = 20;

impl Chart {
    fn new(baseline: Baseline, panels: Vec<Panel>) -> Self {
        Self {
            baseline,
            panels,
            chance: Chance::default(),
        }
    }

    /// Whether its control limits are from enough points to judge stability.
    pub fn judges(&self) -> bool {
        self.baseline.points >= FEWEST_POINTS
    }

    /// The title of the lower axis.
    pub fn each(&self) -> String {
        match self.baseline.size {
            1 => "number of the reading".to_owned(),
            size => format!("number of the subgroup ({size} readings each)"),
        }
    }

    /// How many signals these rules make.
    pub fn signals(&self, rules: &[&'static Rule]) -> usize {
        let panels = self.panels.iter();
        panels.map(|panel| panel.signals(rules).len()).sum()
    }

    /// The result with its false-alarm rate, in words.
    pub fn sentence(&self, rules: &[&'static Rule]) -> String {
        let points = self.panels.first().map_or(0, |panel| panel.points.len());
        let text = match self.signals(rules) {
            0 if self.judges() => format!("no signal in {points} points"),
            0 => "no signal".to_owned(),
            1 => "1 signal: find what changed there".to_owned(),
            several => format!("{several} signals: find what changed there"),
        };
        let few = if self.judges() {
            String::new()
        } else {
            format!(
                "; stability cannot be judged: the control limits are from {} points, want at least {FEWEST_POINTS}",
                self.baseline.points
            )
        };
        match self.chance.words(rules) {
            Some(chance) => format!("{text}{few}; {chance}"),
            None => format!("{text}{few}"),
        }
    }
}

/// The rules that are used unless others are chosen.
pub fn usual_rules() -> Vec<&'static Rule> {
    RULES.iter().filter(|rule| rule.usual).collect()
}

/// The lines of a chart by name, apart from the limits of the sheet.
pub const UPPER: &str = "upper control limit";
/// The line between them.
pub const CENTRE: &str = "centre line";
/// Not every chart has it.
pub const LOWER: &str = "lower control limit";

/// One drawing: points in order, with their limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    /// `individuals`, `moving_range`, …
    pub name: &'static str,
    /// For people.
    pub words: &'static str,
    /// The number of its first point, from 1: a moving range begins with the second reading.
    pub first: usize,
    /// In the order of the readings.
    pub points: Vec<Point>,
    /// Its points are independent and symmetrically distributed, so that every rule applies;
    /// else only points beyond the control limits are a signal.
    pub independent: bool,
    /// The reach of the rules that are fitted to the length of the chart.
    pub reach: Reach,
}

/// A point with the limits that hold for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Where it lies.
    pub value: f64,
    /// The centre line.
    pub center: f64,
    /// The lower limit, where there is one.
    pub lower: Option<f64>,
    /// The upper limit.
    pub upper: f64,
}

impl Panel {
    /// A panel with the same limits for all points.
    fn level(
        name: &'static str,
        words: &'static str,
        values: impl IntoIterator<Item = f64>,
        (lower, center, upper): (f64, f64, f64),
    ) -> Self {
        let point = |value| Point {
            value,
            center,
            lower: Some(lower),
            upper,
        };
        Self {
            name,
            words,
            first: 1,
            points: values.into_iter().map(point).collect(),
            independent: false,
            reach: Reach::default(),
        }
    }

    fn of_independent_points(mut self) -> Self {
        self.independent = true;
        self
    }

    fn beginning_at(mut self, first: usize) -> Self {
        self.first = first;
        self
    }

    /// What the rules say about it, in the order of the points.
    pub fn signals(&self, rules: &[&'static Rule]) -> Vec<Signal> {
        rules::signals(self, rules)
    }
}
