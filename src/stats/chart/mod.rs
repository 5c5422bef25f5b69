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
mod on_specification;
mod points;
mod rules;
mod run_length;
mod stretches;

pub use chance::{Chance, draw};
pub use cusum::cusum;
pub use ewma::ewma;
pub use groups::Groups;
pub use on_specification::on_specification;
pub use points::{Baseline, moving_range_freedom, moving_range_sigma, sigma_of_mean_range};
pub use rules::{RULES, Reach, Rule, Signal, rule};
pub use run_length::{RunLength, run_length, run_length_supposes};
pub use stretches::{Alarm, STRETCHES_SHOWN, Stretch, alarms};

use super::Undefined;
use std::fmt;

/// The input of a chart.
#[derive(Debug, Clone)]
pub struct Input<'g> {
    /// The readings of its points.
    pub groups: &'g Groups,
    /// Number of first points that the control limits are computed from; `None` for all.
    pub baseline: Option<usize>,
    /// Stored control limits; `baseline` is not used then.
    pub kept: Option<Baseline>,
    /// Constants of EWMA and CUSUM charts.
    pub memory: Memory,
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
    pub panels: for<'g> fn(&Input<'g>) -> Result<Chart<'g>, Undefined>,
}

/// Every kind of chart. To add one: a file beside this one and a row here.
pub const CHARTS: &[ChartKind] = &[
    individuals::CHART,
    mean_range::CHART,
    mean_s::CHART,
    ewma::CHART,
    cusum::CHART,
];

/// The panels of a chart, and the baseline of their limits.
#[derive(Debug)]
pub struct Chart<'g> {
    /// The baseline of the limits, which can be stored.
    pub baseline: Baseline,
    /// The panels, the main one first.
    pub panels: Vec<Panel<'g>>,
    /// The simulated charts for the false-alarm rate; empty before [`draw`].
    pub chance: Chance,
}

/// Control limits from fewer points are not reliable (common practice, no source).
pub const FEWEST_POINTS: usize = 20;

/// Of more signals of a panel than this, a list says for each rule how often and where it signalled.
pub const SIGNALS_LISTED: usize = 20;

/// Of more signals of a panel than this, the first are marked in a picture, and the others are counted.
pub const SIGNALS_SHOWN: usize = 1000;

impl<'g> Chart<'g> {
    fn new(baseline: Baseline, panels: Vec<Panel<'g>>) -> Self {
        Self {
            baseline,
            panels,
            chance: Chance::default(),
        }
    }

    /// Whether its control limits are from enough points to judge stability.
    pub fn judges(&self) -> bool {
        self.baseline.given || self.baseline.points >= FEWEST_POINTS
    }

    /// The title of the lower axis.
    pub fn each(&self) -> String {
        match self.baseline.size {
            1 => "number of the reading".to_owned(),
            Baseline::SEVERAL => {
                "number of the subgroup (different numbers of readings)".to_owned()
            }
            size => format!("number of the subgroup ({size} readings each)"),
        }
    }

    /// Number of signals of these rules.
    pub fn signals(&self, rules: &[&'static Rule]) -> usize {
        let panels = self.panels.iter();
        panels.map(|panel| panel.signals(rules).count()).sum()
    }

    /// The result with its false-alarm rate, in words.
    pub fn sentence(&self, rules: &[&'static Rule]) -> String {
        let points = self.panels.first().map_or(0, Panel::len);
        let text = match self.signals(rules) {
            0 if self.judges() => format!("no signal in {points} points"),
            0 => "no signal".to_owned(),
            1 => "1 signal: find out what changed there".to_owned(),
            several => format!("{several} signals: find out what changed there"),
        };
        let few = if self.judges() {
            String::new()
        } else {
            format!(
                "; stability cannot be judged, because the control limits are computed from only {} points (at least {FEWEST_POINTS} are needed)",
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

/// A panel: points in order, with their control limits. The points are made from the readings whenever they are needed, and
/// are not kept.
#[derive(Debug)]
pub struct Panel<'g> {
    /// Name for programs: `individuals`, `moving_range`, …
    pub name: &'static str,
    /// Name for people.
    pub words: &'static str,
    /// Number of its first point, from 1. Moving ranges begin at the second reading.
    pub first: usize,
    /// Number of its points.
    count: usize,
    make: Make<'g>,
    /// Whether its points are independent and symmetrically distributed, so that every rule applies. Otherwise only
    /// points beyond the control limits are signals.
    pub independent: bool,
    /// Reach of the rules that are fitted to the length of the chart.
    pub reach: Reach,
}

/// Points in order.
type Points<'g> = Box<dyn Iterator<Item = Point> + 'g>;

/// Makes the points of a panel.
struct Make<'g>(Box<dyn Fn() -> Points<'g> + 'g>);

impl fmt::Debug for Make<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_list().entries((self.0)()).finish()
    }
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
    /// The upper control limit; `None` if there is none.
    pub upper: Option<f64>,
}

impl<'g> Panel<'g> {
    /// A panel of `count` points.
    fn of<P: Iterator<Item = Point> + 'g>(
        name: &'static str,
        words: &'static str,
        count: usize,
        points: impl Fn() -> P + 'g,
    ) -> Self {
        Self {
            name,
            words,
            first: 1,
            count,
            make: Make(Box::new(move || Box::new(points()))),
            independent: false,
            reach: Reach::default(),
        }
    }

    /// A panel with the same limits for all points.
    fn level<V: Iterator<Item = f64> + 'g>(
        name: &'static str,
        words: &'static str,
        count: usize,
        (lower, center, upper): (f64, f64, f64),
        values: impl Fn() -> V + 'g,
    ) -> Self {
        let point = move |value| Point {
            value,
            center,
            lower: Some(lower),
            upper: Some(upper),
        };
        Self::of(name, words, count, move || values().map(point))
    }

    fn of_independent_points(mut self) -> Self {
        self.independent = true;
        self
    }

    fn beginning_at(mut self, first: usize) -> Self {
        self.first = first;
        self
    }

    /// Number of its points.
    pub fn len(&self) -> usize {
        self.count
    }

    /// Whether it has none.
    pub fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// Its points, in the order of the readings.
    pub fn points(&self) -> impl Iterator<Item = Point> + use<'g> {
        (self.make.0)()
    }

    /// The signals of these rules, in the order of the points.
    pub fn signals(&self, rules: &[&'static Rule]) -> impl Iterator<Item = Signal> + use<'g> {
        rules::signals(self, rules)
    }
}
