//! Average run length: how many points a chart goes on until a rule signals, without a change and after one.

use super::chance::Maker;
use super::{Baseline, Chart, ChartKind, Groups, Input, Rule};
use crate::stats::Undefined;
use crate::stats::random::Random;
use crate::stats::sample::float_of;

/// Number of simulated points of a run, after which it ends without a signal.
const LONGEST: usize = 4_000;
/// No further run is begun after this number of simulated readings.
const READINGS: usize = 1_000_000;
/// The same for a panel alone, which may not signal at all.
const READINGS_OF_PANEL: usize = 100_000;
/// A run is simulated in these lengths, one after the other, until there is a signal.
const LENGTHS: [usize; 3] = [200, 1_000, LONGEST];
/// Seed of the simulation.
const SEED: u64 = 0x7a11_a411;

/// The average run length after a shift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunLength {
    /// The shift of the mean, in standard deviations of a single reading.
    pub shift: f64,
    /// Number of points until the first signal, on average.
    pub points: f64,
    /// Its standard error.
    pub error: f64,
}

/// The average run length of these rules on a chart with these control limits, after a shift of the mean from the first
/// point on.
///
/// ```text
/// points until the first signal in any panel, or in the one with this number, summed over the runs, over the number of signals
/// ```
///
/// Simulated: normal readings with centre and standard deviation of the baseline, rounded to the resolution; the
/// control limits stay as they are. A run of 4,000 points without a signal adds its points and no signal.
///
/// # Errors
///
/// Those of the kind of chart, and [`Undefined::NotApplicable`] if no run has a signal.
pub fn run_length(
    kind: &ChartKind,
    (input, chart): (&Input<'_>, &Chart<'_>),
    rules: &[&'static Rule],
    panel: Option<usize>,
    (shift, runs): (f64, usize),
) -> Result<RunLength, Undefined> {
    let maker = Maker::new(input.groups, &chart.baseline);
    let mut random = Random::new(SEED);
    let (mut points, mut signals) = (0, 0);
    let readings = panel.map_or(READINGS, |_| READINGS_OF_PANEL);
    let most = readings / input.groups.typical();
    for _ in 0..runs {
        if points > most {
            break;
        }
        let mut found = None;
        for length in LENGTHS {
            // The longer run begins as the shorter one did.
            let mut again = random.clone();
            let made = maker.shifted(length, shift, &mut again);
            found = first_signal(kind, (input, chart), rules, (panel, &made))?;
            if found.is_some() || length == LONGEST {
                random = again;
                break;
            }
        }
        points += found.unwrap_or(LONGEST);
        signals += usize::from(found.is_some());
    }
    if signals == 0 {
        return Err(Undefined::NotApplicable {
            why: "no simulated run has a signal",
        });
    }
    let mean = float_of(points) / float_of(signals);
    Ok(RunLength {
        shift,
        points: mean,
        error: mean / float_of(signals).sqrt(),
    })
}

/// Limits of fewer points say little about the run length of the process (Quesenberry 1993, for single readings, from memory).
const FEW_POINTS: usize = 300;

/// What [`run_length`] supposes, in words.
pub fn run_length_supposes(baseline: &Baseline) -> String {
    let of = if baseline.given {
        "given for the limits".to_owned()
    } else {
        format!("estimated from {} points", baseline.points)
    };
    let few = if baseline.given || baseline.points >= FEW_POINTS {
        ""
    } else {
        "; from fewer than 300 points the run length of the process itself may be several times shorter or longer"
    };
    format!(
        "this supposes independent, normally distributed readings with the centre and standard deviation that are {of}{few}"
    )
}

/// The number of the first point with a signal, in any panel or in this one, of the chart of these readings with the limits of the real one.
fn first_signal(
    kind: &ChartKind,
    (input, chart): (&Input<'_>, &Chart<'_>),
    rules: &[&'static Rule],
    (panel, made): (Option<usize>, &Groups),
) -> Result<Option<usize>, Undefined> {
    let input = Input {
        groups: made,
        baseline: None,
        kept: Some(Baseline {
            given: true,
            ..chart.baseline
        }),
        memory: input.memory,
    };
    let mut of = (kind.panels)(&input)?;
    for (panel, real) in of.panels.iter_mut().zip(&chart.panels) {
        panel.reach = real.reach;
    }
    let panels = of.panels.iter().enumerate();
    let panels = panels.filter(|(at, _)| panel.is_none_or(|wanted| wanted == *at));
    let first = panels.filter_map(|(_, panel)| Some(panel.signals(rules).next()?.at));
    Ok(first.min())
}
