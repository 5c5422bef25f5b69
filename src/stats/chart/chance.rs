//! Estimates the false-alarm rate of a chart, by simulating many charts of a stable process.
//!
//! In: the input of a chart. Out: the chart with rules that are fitted to its length, and the share of simulated charts
//! in which given rules signal. The same function draws the simulated charts and the real one.

use super::rules::{self, Reach, Rule};
use super::{Baseline, Chart, ChartKind, FEWEST_POINTS, Groups, Input};
use crate::stats::Undefined;
use crate::stats::random::Random;
use crate::stats::sample::{base_in, float, float_of, nearest};
use crate::stats::text::fixed;

/// Total number of simulated readings.
const READINGS: usize = 400_000;
/// Maximum and minimum number of simulated charts.
const MOST_CHARTS: usize = 1000;
const FEWEST_CHARTS: usize = 200;
/// Longer charts are judged as if they had this number of readings.
const LONGEST: usize = 2000;
/// The share of stable charts in which the usual rules signal. It is a little below 5 %, because it is itself estimated
/// by simulation.
const SHARE: f64 = 0.045;
/// Seed of the simulation: the same readings always give the same rate.
const SEED: u64 = 0x7a11_c4a7;

/// A panel of a simulated chart.
#[derive(Debug, Clone, PartialEq)]
struct MadeUpPanel {
    distances: Vec<f64>,
    independent: bool,
}

/// The simulated charts of a stable process.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Chance {
    charts: Vec<Vec<MadeUpPanel>>,
    reaches: Vec<Reach>,
    points: usize,
    /// Whether the chart has more points than the simulated ones.
    is_longer: bool,
}

impl Chance {
    /// Number of simulated charts.
    pub fn charts(&self) -> usize {
        self.charts.len()
    }

    /// Share of simulated charts in which these rules signal; `None` without simulated charts.
    pub fn rate(&self, rules: &[&'static Rule]) -> Option<f64> {
        let signals = |chart: &&Vec<MadeUpPanel>| {
            chart.iter().zip(&self.reaches).any(|(run, reach)| {
                let mut rules = rules.iter();
                rules.any(|rule| {
                    let mut ends = rule.ends(&run.distances, run.independent, *reach);
                    ends.next().is_some()
                })
            })
        };
        let all = self.charts();
        (all > 0).then(|| float_of(self.charts.iter().filter(signals).count()) / float_of(all))
    }

    /// The same as a sentence.
    pub(super) fn words(&self, rules: &[&'static Rule]) -> Option<String> {
        let percent = 100.0 * self.rate(rules)?;
        let at_least = if self.is_longer { "at least " } else { "" };
        Some(format!(
            "false-alarm rate: these rules signal in {at_least}{} % of the charts of a stable process with {} points",
            fixed(percent, 1),
            self.points
        ))
    }
}

/// Draws a chart, fits the usual rules to its length, and computes their false-alarm rate.
///
/// ```text
/// simulated readings: normal, with mean and standard deviation of the baseline, rounded to the resolution of these
/// readings; control limits are computed for each chart as for the real one (from a baseline of as many points
/// if its limits were kept)
/// a panel's reach: the distance that no more than 4.5 % / (panels and rules) of them exceed, never under 3;
/// likewise for runs on one side, never under 9
/// ```
///
/// # Errors
///
/// Those of the kind of chart.
pub fn draw<'g>(kind: &ChartKind, input: &Input<'g>) -> Result<Chart<'g>, Undefined> {
    let mut chart = (kind.panels)(input)?;
    let charts = steady(kind, input, &chart.baseline);
    let tests = charts.first().map_or(1, |chart| {
        chart.len() + chart.iter().filter(|run| run.independent).count()
    });
    let allowed = SHARE * float_of(charts.len()) / float_of(tests.max(1));
    let allowed = usize::try_from(nearest(allowed - 0.5)).unwrap_or(0);
    for (at, panel) in chart.panels.iter_mut().enumerate() {
        let runs = || charts.iter().filter_map(|chart| chart.get(at));
        let far = runs().map(|run| {
            run.distances
                .iter()
                .fold(0.0_f64, |far, z| far.max(z.abs()))
        });
        let mut far: Vec<f64> = far.collect();
        far.sort_by(|one, other| other.total_cmp(one));
        let mut long: Vec<usize> = runs()
            .map(|run| rules::longest_run(&run.distances))
            .collect();
        long.sort_by(|one, other| other.cmp(one));
        let least = Reach::default();
        panel.reach = Reach {
            far: far.get(allowed).map_or(least.far, |far| far.max(least.far)),
            run: long
                .get(allowed)
                .map_or(least.run, |run| (run + 1).max(least.run)),
        };
    }
    chart.chance = Chance {
        charts,
        reaches: chart.panels.iter().map(|panel| panel.reach).collect(),
        points: input.groups.len(),
        is_longer: input.groups.len() > points_of(input),
    };
    Ok(chart)
}

/// Number of points of a simulated chart.
fn points_of(input: &Input<'_>) -> usize {
    let most = (LONGEST / input.groups.typical()).max(FEWEST_POINTS);
    input.groups.len().min(most)
}

/// Simulates charts of a stable process with the parameters of the baseline.
fn steady(kind: &ChartKind, input: &Input<'_>, baseline: &Baseline) -> Vec<Vec<MadeUpPanel>> {
    let size = input.groups.typical();
    let maker = Maker::new(input.groups, baseline);
    let points = points_of(input);
    let most = (LONGEST / size).max(FEWEST_POINTS);
    // Given limits are no estimates, so no baseline is simulated for them.
    let given = input.kept.filter(|kept| kept.given);
    let estimated = input.kept.filter(|kept| !kept.given);
    let before = estimated.map_or(0, |kept| kept.points.clamp(2, most));
    let each = (points + before).saturating_mul(size).max(1);
    let number = (READINGS / each).clamp(FEWEST_CHARTS, MOST_CHARTS);
    let mut random = Random::new(SEED);
    let mut charts = Vec::new();
    for _ in 0..number {
        let kept = if before > 0 {
            let made = maker.readings(before, &mut random);
            // A baseline without spread would not have been kept.
            let input = Input {
                groups: &made,
                baseline: None,
                kept: None,
                ..input.clone()
            };
            let Ok(chart) = (kind.panels)(&input) else {
                continue;
            };
            Some(chart.baseline)
        } else {
            given
        };
        let made = maker.readings(points, &mut random);
        // A chart without spread would not have been drawn either.
        let input = Input {
            groups: &made,
            kept,
            ..input.clone()
        };
        let Ok(chart) = (kind.panels)(&input) else {
            continue;
        };
        let runs = chart.panels.iter().map(|panel| MadeUpPanel {
            distances: rules::distances(panel),
            independent: panel.independent,
        });
        charts.push(runs.collect());
    }
    charts
}

/// Simulates readings of a stable process on the grid of the real readings.
pub(super) struct Maker<'g> {
    like: &'g Groups,
    center: f64,
    sigma: f64,
    step: f64,
    on_grid: f64,
}

impl<'g> Maker<'g> {
    pub(super) fn new(like: &'g Groups, baseline: &Baseline) -> Self {
        let one = base_in(like.scale(), 1.0);
        let step = like.step().map_or(1.0, |step| float(step.into()));
        let rounded = baseline.sigma / one;
        let without = rounded * rounded - step * step / 12.0;
        Self {
            like,
            center: baseline.center / one,
            sigma: if without > 0.0 {
                without.sqrt()
            } else {
                rounded
            },
            step,
            on_grid: like.first().map_or(0.0, |base| float(base.into())),
        }
    }

    /// As many points as `points`.
    fn readings(&self, points: usize, random: &mut Random) -> Groups {
        self.shifted(points, 0.0, random)
    }

    /// The same after a shift of the mean by this many standard deviations of a reading.
    pub(super) fn shifted(&self, points: usize, shift: f64, random: &mut Random) -> Groups {
        let mean = self.center + shift * self.sigma;
        self.like.made(points, || {
            let value = mean + self.sigma * random.next_normal();
            let steps = ((value - self.on_grid) / self.step).round();
            nearest(self.on_grid + steps * self.step)
        })
    }
}
