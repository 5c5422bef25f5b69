//! Permutation tests: does the order of the readings matter?
//!
//! In: readings in order. Out: p-values under random order. They are valid for any distribution and for rounded
//! readings, because only the order changes.

use super::random::Random;
use super::{Sample, Undefined};

/// Fewer readings have too few different orders (common practice, no source).
const FEWEST: u64 = 8;
/// More readings would take too long.
pub const MOST: u64 = 5000;
/// Number of random orders for a p-value.
const RUNS: u32 = 1999;
/// Seed of the random orders: the same readings always give the same p-values.
const SEED: u64 = 0x7a11_0bde;

/// The p-values of the order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Order {
    /// Two-sided p-value of the lag-1 autocorrelation.
    pub lag1_p: f64,
    /// P-value of small distances between neighbours. It is low where a process wanders, so that Cpk exceeds Ppk.
    pub near_p: f64,
}

/// Compares the order of `sample` with 1,999 random orders of the same readings (a permutation test with a fixed seed).
///
/// ```text
/// lag-1:  | n Σ xᵢ xᵢ₊₁ - (T² - Σ x²) |   as large,   T = Σ x
/// near:   Σ | xᵢ₊₁ - xᵢ |                as small;    p = (1 + orders so) / (1 + 1999)
/// ```
///
/// Sums are exact integers. Source: the permutation test of Wald and Wolfowitz 1943, from memory.
///
/// # Errors
///
/// [`Undefined::TooFew`] below 8 readings, [`Undefined::TooMany`] above 5,000, [`Undefined::NoSpread`] if all are
/// equal, [`Undefined::TooLarge`] if sums overflow.
///
/// # Examples
///
/// ```
/// use tallyjaw::{quantity::Unit, stats::{Sample, order}};
/// let climbing = (0..20).map(|at| 1_620_000 + at * 10_000).collect();
/// let sample = Sample::from_bases(climbing, Unit::Millimetre)?;
/// assert!(order::order(&sample)?.near_p < 0.001);
/// # Ok::<_, tallyjaw::stats::Undefined>(())
/// ```
pub fn order(sample: &Sample) -> Result<Order, Undefined> {
    let (got, bases) = (sample.count(), sample.bases());
    Undefined::unless(got, FEWEST)?;
    if got > MOST {
        return Err(Undefined::TooMany { got, most: MOST });
    }
    let first = bases.first().copied().unwrap_or(0);
    if bases.iter().all(|base| *base == first) {
        return Err(Undefined::NoSpread { count: got });
    }
    let mut values = bases
        .iter()
        .map(|base| base.checked_sub(first).map(i128::from))
        .collect::<Option<Vec<i128>>>()
        .ok_or(Undefined::TooLarge)?;
    let reach = values.iter().map(|value| value.abs()).max().unwrap_or(0);
    let n = i128::from(got);
    if reach
        .checked_mul(reach)
        .and_then(|square| square.checked_mul(4 * n * n))
        .is_none()
    {
        return Err(Undefined::TooLarge);
    }
    let total: i128 = values.iter().sum();
    let squares: i128 = values.iter().map(|value| value * value).sum();
    let expected = total * total - squares;
    let text = |values: &[i128]| {
        let (mut products, mut distances) = (0, 0);
        for pair in values.windows(2) {
            if let [one, next] = pair {
                products += one * next;
                distances += (next - one).abs();
            }
        }
        ((n * products - expected).abs(), distances)
    };
    let (far, near) = text(&values);
    let mut random = Random::new(SEED);
    let (mut as_far, mut as_near) = (1_u32, 1_u32);
    for _ in 0..RUNS {
        shuffle(&mut values, &mut random);
        let (product, distance) = text(&values);
        as_far += u32::from(product >= far);
        as_near += u32::from(distance <= near);
    }
    let share = |count: u32| f64::from(count) / f64::from(RUNS + 1);
    Ok(Order {
        lag1_p: share(as_far),
        near_p: share(as_near),
    })
}

/// Significance level of [`wanders`].
const LEVEL: f64 = 0.025;

/// Whether neighbours are near each other: a positive lag-1 autocorrelation is shown, by [`order`], or of more readings than that
/// takes by the normal distribution of the autocorrelation.
///
/// ```text
/// lag1_p < 0.025 and near_p < 0.025;   above 5,000 readings: lag-1 > z(0.975)/√n
/// ```
///
/// # Errors
///
/// Those of [`order`], but not [`Undefined::TooMany`].
pub fn wanders(sample: &Sample) -> Result<bool, Undefined> {
    if sample.count() > MOST {
        let all = sample.summary();
        let lag1 = super::describe::lag1(all)?;
        return Ok(lag1 * all.n().sqrt() > super::distribution::quantile(1.0 - LEVEL)?);
    }
    let chances = order(sample)?;
    Ok(chances.lag1_p < LEVEL && chances.near_p < LEVEL)
}

/// A random order in which every order is equally likely (Fisher and Yates).
fn shuffle(values: &mut [i128], random: &mut Random) {
    for last in (1..values.len()).rev() {
        values.swap(last, random.below(last + 1));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Unit;

    #[test]
    fn a_steady_process_keeps_its_order_in_nineteen_cases_of_twenty() {
        let mut random = Random::new(11);
        let (mut far, mut near) = (0, 0);
        for _ in 0..400 {
            let bases = (0..20).map(|_| 10_000 * i64::try_from(random.below(6)).unwrap());
            let sample = Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap();
            let of = order(&sample).unwrap();
            far += u32::from(of.lag1_p <= 0.05);
            near += u32::from(of.near_p <= 0.05);
        }
        // 20 of 400 on average; more than 37 once in ten thousand.
        assert!(
            (5..=37).contains(&far) && (5..=37).contains(&near),
            "{far} {near}"
        );
    }

    #[test]
    fn an_order_that_cannot_be_tested_is_undefined() {
        let of = |bases: Vec<i64>| order(&Sample::from_bases(bases, Unit::Millimetre).unwrap());
        assert_eq!(of(vec![1; 9]), Err(Undefined::NoSpread { count: 9 }));
        assert_eq!(of(vec![1, 2]), Err(Undefined::TooFew { got: 2, want: 8 }));
    }
}
