//! Control charts: is a process stable?
//!
//! In: readings in order, alone or in subgroups, and what the control limits are computed from. Out: panels of
//! points with centre line and control limits, and the signals of the run rules.
//!
//! The control limits come from all points, from the first ones (`baseline`), or from a stored [`Baseline`].

mod chance;
mod cusum;
mod ewma;
mod groups;
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

/// The input of a chart.
#[derive(Debug, Clone)]
pub struct Input<'s> {
    /// The readings of its points.
    pub groups: Groups<'s>,
    /// Number of first points that the control limits are computed from; `None` for all.
    pub baseline: Option<usize>,
    /// Stored control limits; `baseline` is not used then.
    pub kept: Option<Baseline>,
    /// Constants of EWMA and CUSUM charts.
    pub memory: Memory,
}

/// The readings of the points of a chart.
#[derive(Debug, Clone, Copy)]
pub enum Groups<'s> {
    /// Each reading is a point.
    Singles(&'s Sample),
    /// Each of these subgroups is a point; they have the same number of readings.
    Subgroups(&'s [Sample]),
}

/// Constants of the charts that use many earlier points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Memory {
    /// EWMA: weight of the newest point, above 0 and at most 1.
    pub weight: f64,
    /// EWMA: distance of the control limits, in standard deviations.
    pub width: f64,
    /// CUSUM: allowance that is subtracted, in standard deviations of a point (half the shift to detect).
    pub allowance: f64,
    /// CUSUM: decision interval, in standard deviations.
    pub decision: f64,
    /// The target value, in the unit of the readings; `None` for the centre of the baseline.
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
    /// Name for `study chart --kind`, which never changes.
    pub name: &'static str,
    /// Name for people.
    pub words: &'static str,
    /// Whether it needs subgroups of at least two readings, and not single readings.
    pub of_subgroups: bool,
    /// Draws the panels.
    pub panels: fn(&Input<'_>) -> Result<Chart, Undefined>,
    /// Draws the panels from bare readings, the number of readings for the limits, and stored limits. It is given for
    /// kinds that can be simulated quickly.
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

/// The panels of a chart, and the baseline of their limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    /// The baseline of the limits, which can be stored.
    pub baseline: Baseline,
    /// The panels, the main one first.
    pub panels: Vec<Panel>,
    /// The simulated charts for the false-alarm rate; empty before [`draw`].
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

    /// Number of signals of these rules.
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

/// Name of a line in a chart, distinct from the limits of the sheet.
pub const UPPER: &str = "upper control limit";
/// Name of the centre line.
pub const CENTRE: &str = "centre line";
/// Name of the lower line, which not every chart has.
pub const LOWER: &str = "lower control limit";

/// A panel: points in order, with their control limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    /// Name for programs: `individuals`, `moving_range`, …
    pub name: &'static str,
    /// Name for people.
    pub words: &'static str,
    /// Number of its first point, from 1. Moving ranges begin at the second reading.
    pub first: usize,
    /// In the order of the readings.
    pub points: Vec<Point>,
    /// Whether its points are independent and symmetrically distributed, so that every rule applies. Otherwise only
    /// points beyond the control limits are signals.
    pub independent: bool,
    /// Reach of the rules that are fitted to the length of the chart.
    pub reach: Reach,
}

/// A point with its control limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Value of the point.
    pub value: f64,
    /// The centre line.
    pub center: f64,
    /// The lower control limit; `None` if there is none.
    pub lower: Option<f64>,
    /// The upper control limit.
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

    /// The signals of these rules, in the order of the points.
    pub fn signals(&self, rules: &[&'static Rule]) -> Vec<Signal> {
        rules::signals(self, rules)
    }
}
