//! Counts how often each value occurs. Values are multiples of the instrument's resolution, so there are few.
//!
//! In: whole base units in any order. Out: exact minimum, maximum and quantiles, without storing the readings.

use super::Undefined;
use std::collections::BTreeMap;

/// With more different values than this the readings are not on the grid of an instrument.
pub(super) const MOST_VALUES: usize = 1 << 20;

/// Counts of values, ascending by value.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Grid {
    counts: Vec<(i64, u64)>,
    total: u64,
}

/// A fraction of base units: `numerator / denominator`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fraction {
    /// The numerator, in base units.
    pub numerator: i128,
    /// At least 1. The fraction need not be reduced.
    pub denominator: i128,
}

impl Grid {
    /// The counts of readings in any order.
    pub fn of(bases: &[i64]) -> Self {
        let mut sorted = bases.to_vec();
        sorted.sort_unstable();
        let counts = sorted
            .chunk_by(|a, b| a == b)
            .filter_map(|equal| Some((*equal.first()?, u64::try_from(equal.len()).ok()?)))
            .collect();
        Self::of_sorted(counts)
    }

    /// The counts that a stream has kept.
    pub fn of_counts(counts: BTreeMap<i64, u64>) -> Result<Self, Undefined> {
        if counts.len() > MOST_VALUES {
            return Err(Undefined::TooLarge);
        }
        Ok(Self::of_sorted(counts.into_iter().collect()))
    }

    fn of_sorted(counts: Vec<(i64, u64)>) -> Self {
        let total = counts.iter().map(|(_, times)| times).sum();
        Self { counts, total }
    }

    /// Each value with its count, ascending.
    pub fn counts(&self) -> &[(i64, u64)] {
        &self.counts
    }

    /// Number of readings.
    pub fn total(&self) -> u64 {
        self.total
    }

    /// The minimum, in base units.
    pub fn least(&self) -> Option<i64> {
        self.counts.first().map(|(value, _)| *value)
    }

    /// The maximum, in base units.
    pub fn greatest(&self) -> Option<i64> {
        self.counts.last().map(|(value, _)| *value)
    }

    /// The value at `rank` in ascending order, counted from 0.
    pub(super) fn at_rank(&self, rank: u64) -> Option<i64> {
        let mut before = 0;
        self.counts.iter().find_map(|(value, times)| {
            before += times;
            (rank < before).then_some(*value)
        })
    }

    /// The quantile `parts / of`, linear between the sorted readings (definition 7) at position `(n - 1) p`, counted
    /// from 0. Exact.
    ///
    /// Source: Hyndman and Fan 1996, definition 7 (from memory); the default of R and numpy.
    pub fn quantile(&self, parts: u64, of: u64) -> Result<Fraction, Undefined> {
        Undefined::unless(self.total, 1)?;
        let outside = Undefined::OutOfRange {
            what: "the share of a quantile",
        };
        if of == 0 || parts > of {
            return Err(outside);
        }
        let position = u128::from(self.total - 1) * u128::from(parts);
        let (rank, rest) = (position / u128::from(of), position % u128::from(of));
        let rank = u64::try_from(rank).map_err(|_| outside)?;
        let at = |rank: u64| self.at_rank(rank).map(i128::from).ok_or(outside);
        let low = at(rank)?;
        let high = if rest == 0 { low } else { at(rank + 1)? };
        let rest = i128::try_from(rest).map_err(|_| outside)?;
        Ok(Fraction {
            numerator: low * i128::from(of) + (high - low) * rest,
            denominator: i128::from(of),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_quantile_is_found_without_the_readings_in_order(values in proptest::collection::vec(-50i64..50, 1..60), parts in 0u64..=4) {
            let grid = Grid::of(&values);
            let mut sorted: Vec<i128> = values.iter().map(|value| i128::from(*value)).collect();
            sorted.sort_unstable();
            let position = (sorted.len() - 1) * usize::try_from(parts).unwrap();
            let (rank, rest) = (position / 4, i128::try_from(position % 4).unwrap());
            let next = sorted.get(rank + 1).copied().unwrap_or(sorted[rank]);
            let want = sorted[rank] * 4 + (next - sorted[rank]) * rest;
            prop_assert_eq!(grid.quantile(parts, 4).unwrap().numerator, want);
        }
    }

    #[test]
    fn nothing_has_no_quantile() {
        let none = Err(Undefined::TooFew { got: 0, want: 1 });
        assert_eq!(Grid::of(&[]).quantile(1, 2), none);
    }
}
