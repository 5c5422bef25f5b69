//! Tests whether readings may come from a normal distribution whose values were rounded to the instrument's resolution.
//!
//! A test without regard to rounding rejects every normal sample whose standard deviation is below about two resolution
//! steps, which is usual with a caliper.

use super::describe::{mean, positive_sd};
use super::distribution::{Normal, above, below};
use super::random::Random;
use super::rounding::sd_corrected;
use super::sample::{float, float_of};
use super::{Summary, Undefined};

/// Below this number of steps the corrected standard deviation of few readings is often far too small, so that almost
/// any sample would be rejected. The test is then also made with a standard deviation of half a step.
const SURE: f64 = 0.5;
/// With fewer readings the test has no power (common practice, no source).
const FEWEST: u64 = 8;
/// With more readings every real process differs significantly from the normal distribution.
const MOST: u64 = 5000;
/// Number of simulated samples for a probability.
const RUNS: usize = 1999;
/// With more cells than this across the distribution, rounding does not matter: with 5,000 readings it adds less than
/// 0.01 to the statistic (`n (step/sd)²/12`).
const MOST_CELLS: f64 = 4096.0;
/// Range of the simulated normal distribution to each side, in standard deviations.
const REACH: f64 = 8.5;
/// Largest statistic for which the formula of [`unrounded_p`] is valid (13 there, 10 by common practice).
const LARGEST: f64 = 10.0;
/// Seed of the simulation: the same readings always give the same probability.
const SEED: u64 = 0x7a11_1a05;

/// The Anderson-Darling statistic for normality with estimated mean and spread, adjusted for n.
///
/// ```text
/// A² = -n - Σ (2i - 1)(ln Φ(zᵢ) + ln(1 - Φ(zₙ₊₁₋ᵢ))) / n,   z = (x - mean)/sd in ascending order
/// A²* = A² (1 + 0.75/n + 2.25/n²)
/// ```
///
/// Equal readings are summed together, by their ranks. Source: NIST/SEMATECH e-Handbook 1.3.5.14; D'Agostino and
/// Stephens 1986, from memory; checked against an independent computation.
///
/// # Errors
///
/// [`Undefined::TooFew`] below 8 readings, [`Undefined::NoSpread`] if all are equal.
pub fn anderson_darling(all: &Summary) -> Result<f64, Undefined> {
    Undefined::unless(all.count(), FEWEST)?;
    let (mean, sd) = (mean(all)?, positive_sd(all)?);
    let counts = all.grid().counts().iter();
    let cells = counts.map(|(value, times)| ((all.in_unit(*value) - mean) / sd, *times));
    Ok(statistic(cells, all.count()))
}

/// The statistic of standardised values in ascending order with their counts.
pub(super) fn statistic(cells: impl Iterator<Item = (f64, u64)>, count: u64) -> f64 {
    let n = float(count.into());
    let square = |whole: u64| float(i128::from(whole) * i128::from(whole));
    let mut before = 0;
    let mut sum = 0.0;
    for (z, times) in cells {
        let to = before + times;
        // Σ (2i - 1) over the ranks of these readings, counted from below and from above.
        let from_below = square(to) - square(before);
        let from_above = square(count - before) - square(count - to);
        let ln = |share: f64| share.max(f64::MIN_POSITIVE).ln();
        sum += from_below * ln(below(z)) + from_above * ln(above(z));
        before = to;
    }
    (-n - sum / n) * (1.0 + 0.75 / n + 2.25 / (n * n))
}

/// The p-value of the Anderson-Darling statistic, for normal readings that were rounded in the same way.
///
/// With a known resolution it is the share of 1,999 simulated samples with a larger statistic (a parametric bootstrap
/// with a fixed seed). Their mean and corrected standard deviation are those of the readings, and they are rounded to
/// the same grid. It is at least 1 in 2,000. If the standard deviation is below half a step it is uncertain; then the
/// larger p-value of it and of half a step is taken. Without a resolution, or if a standard deviation has more than 240
/// steps so that rounding does not matter, the formula of D'Agostino and Stephens 1986 is used, from memory. Time and
/// memory are bounded for any step and range.
///
/// # Errors
///
/// As [`anderson_darling`]; [`Undefined::TooMany`] above 5,000 readings, where any departure is significant;
/// [`Undefined::StepOnly`] if rounding accounts for the whole spread.
///
/// # Examples
///
/// ```
/// use tallyjaw::{quantity::{Quantity, Length, Unit}, stats::{Sample, normality}};
/// let hundredths = [161, 162, 162, 161, 162, 163, 162, 162, 161, 162, 163, 162];
/// let sample = Sample::from_bases(hundredths.map(|h| h * 10_000).to_vec(), Unit::Millimetre)?;
/// let step = Quantity::Length(Length::from_nanometres(10_000));
/// let p = normality::normality_p(sample.with_step(Some(step)).summary())?;
/// assert!(p > 0.3); // as normal as readings to 0.01 mm can be
/// # Ok::<_, tallyjaw::stats::Undefined>(())
/// ```
pub fn normality_p(all: &Summary) -> Result<f64, Undefined> {
    let count = all.count();
    let observed = anderson_darling(all)?;
    if count > MOST {
        return Err(Undefined::TooMany {
            got: count,
            most: MOST,
        });
    }
    let Ok(step) = all.step() else {
        return Ok(unrounded_p(observed));
    };
    let sd = sd_corrected(all)?;
    if 2.0 * REACH * sd / step > MOST_CELLS {
        return Ok(unrounded_p(observed));
    }
    let least = all.grid().least().map(|least| all.in_unit(least));
    let least = least.ok_or(Undefined::TooFew { got: 0, want: 1 })?;
    let mean = mean(all)?;
    let p = |sd: f64| {
        let cells = Cells::new(Normal { mean, sd }, step, least);
        let mut random = Random::new(SEED);
        let mut counts = Vec::new();
        let as_large = (0..RUNS)
            .filter_map(|_| cells.draw(count, &mut random, &mut counts))
            .filter(|simulated| *simulated >= observed)
            .count();
        (float_of(as_large) + 1.0) / (float_of(RUNS) + 1.0)
    };
    let coarse = SURE * step;
    Ok(if sd < coarse {
        p(sd).max(p(coarse))
    } else {
        p(sd)
    })
}

/// The cells of the grid that normal values are rounded to.
struct Cells {
    /// Cumulative probabilities of the cells. Values are whole steps from the first cell, whose own position does not
    /// matter.
    cumulated: Vec<f64>,
    /// The cell of the lower end of each 256th of the probability, from which the cell of a share is not far.
    begin: Vec<usize>,
}

impl Cells {
    fn new(normal: Normal, step: f64, on_grid: f64) -> Self {
        // The value of the grid that lies at least this far below the mean.
        let under = ((normal.mean - REACH * normal.sd - on_grid) / step).floor();
        let first = on_grid + under * step;
        let mut cumulated = Vec::new();
        loop {
            let edge = first + (float_of(cumulated.len()) + 0.5) * step;
            cumulated.push(normal.below(edge));
            // The count is limited too: if a float cannot represent another step, the edge would not move.
            if edge > normal.mean + REACH * normal.sd
                || float_of(cumulated.len()) > 2.0 * MOST_CELLS
            {
                let begin = (0_u16..256).map(|part| {
                    let share = f64::from(part) / 256.0;
                    cumulated.partition_point(|up_to| *up_to < share)
                });
                let begin = begin.collect();
                return Self { cumulated, begin };
            }
        }
    }

    /// The statistic of a simulated sample; `None` if all its readings are equal.
    fn draw(&self, count: u64, random: &mut Random, counts: &mut Vec<u64>) -> Option<f64> {
        counts.clear();
        counts.resize(self.cumulated.len() + 1, 0);
        for _ in 0..count {
            let bits = random.next_bits();
            let share = Random::share_of(bits);
            let part = usize::try_from(bits >> 56).ok()?;
            let mut cell = *self.begin.get(part)?;
            while self.cumulated.get(cell).is_some_and(|up_to| *up_to < share) {
                cell += 1;
            }
            *counts.get_mut(cell)? += 1;
        }
        let n = float(count.into());
        let read = || counts.iter().enumerate().filter(|(_, times)| **times > 0);
        let steps = |cell: usize, times: u64| (float_of(cell), float(times.into()));
        let mean = read()
            .map(|(cell, times)| steps(cell, *times))
            .map(|(x, times)| x * times)
            .sum::<f64>()
            / n;
        let squares = read()
            .map(|(cell, times)| steps(cell, *times))
            .map(|(x, times)| (x - mean) * (x - mean) * times)
            .sum::<f64>();
        let sd = (squares / (n - 1.0)).sqrt();
        if sd <= 0.0 {
            return None;
        }
        let standardised = read().map(|(cell, times)| ((float_of(cell) - mean) / sd, *times));
        Some(statistic(standardised, count))
    }
}

/// D'Agostino and Stephens 1986, table 4.9 (from memory). Above [`LARGEST`] the formula would rise again; the value
/// there, 4e-24, is the smallest that is returned.
fn unrounded_p(a: f64) -> f64 {
    let a = a.min(LARGEST);
    let p = if a >= 0.6 {
        (1.2937 - 5.709 * a + 0.0186 * a * a).exp()
    } else if a > 0.34 {
        (0.9177 - 4.279 * a - 1.38 * a * a).exp()
    } else if a > 0.2 {
        1.0 - (-8.318 + 42.796 * a - 59.938 * a * a).exp()
    } else {
        1.0 - (-13.436 + 101.14 * a - 223.73 * a * a).exp()
    };
    p.clamp(0.0, 1.0)
}
