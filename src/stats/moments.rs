//! Exact sums over readings.
//!
//! In: whole base units in the order of reading. Out: the sums for mean, standard deviation and lag-1 autocorrelation.
//! Memory does not grow with the number of readings.

use super::Undefined;
use super::sample::float;

/// Values beyond this number of base units (two million kilometres) are refused, so that the difference of two values
/// fits into 64 bits.
pub const MOST: u64 = 1 << 61;

/// Sums over the differences from the first reading, which keeps them small.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Moments {
    count: u64,
    pivot: i64,
    last: i128,
    sum: i128,
    squares: i128,
    /// Sum of the products of consecutive differences.
    lagged: i128,
}

impl Moments {
    /// Adds the next reading, in base units.
    pub fn push(&mut self, base: i64) -> Result<(), Undefined> {
        if base.unsigned_abs() > MOST {
            return Err(Undefined::TooLarge);
        }
        if self.count == 0 {
            self.pivot = base;
        }
        let deviation = i128::from(base) - i128::from(self.pivot);
        let add = |sum: i128, a: i128, b: i128| {
            let term = a.checked_mul(b);
            term.and_then(|term| sum.checked_add(term))
                .ok_or(Undefined::TooLarge)
        };
        let squares = add(self.squares, deviation, deviation)?;
        self.lagged = add(self.lagged, self.last, deviation)?;
        self.sum = add(self.sum, deviation, 1)?;
        self.squares = squares;
        self.last = deviation;
        self.count += 1;
        Ok(())
    }

    /// Number of readings.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// Sum of all readings, in base units.
    pub fn total(&self) -> i128 {
        i128::from(self.pivot) * i128::from(self.count) + self.sum
    }

    /// `n · Σ(x - mean)²` in squared base units, exact.
    pub fn scaled_squares(&self) -> Result<i128, Undefined> {
        let n = i128::from(self.count);
        let products = n.checked_mul(self.squares);
        products
            .zip(self.sum.checked_mul(self.sum))
            .and_then(|(all, mean)| all.checked_sub(mean))
            .ok_or(Undefined::TooLarge)
    }

    /// `Σ(x - mean)²` in squared base units, rounded only once, at the end.
    pub fn squared_deviations(&self) -> Result<f64, Undefined> {
        Undefined::unless(self.count, 1)?;
        Ok(float(self.scaled_squares()?) / float(self.count.into()))
    }

    /// `Σ (xᵢ - mean)(xᵢ₊₁ - mean) / Σ (xᵢ - mean)²`, both exact up to the division.
    pub fn lag1(&self) -> Result<f64, Undefined> {
        let count = self.count;
        Undefined::unless(count, 2)?;
        let scaled = self.scaled_squares()?;
        if scaled == 0 {
            return Err(Undefined::NoSpread { count });
        }
        // n² Σ(xᵢ-m)(xᵢ₊₁-m) = n² P - n S (2S - x₁ - xₙ) + (n-1) S²; deviations are from x₁, so x₁ = 0.
        let (n, sum) = (i128::from(count), self.sum);
        let products = n.checked_mul(n).and_then(|n2| n2.checked_mul(self.lagged));
        let crossed = n
            .checked_mul(sum)
            .and_then(|ns| ns.checked_mul(2 * sum - self.last));
        let means = sum.checked_mul(sum).and_then(|s2| s2.checked_mul(n - 1));
        let numerator = products
            .zip(crossed)
            .zip(means)
            .and_then(|((p, c), m)| p.checked_sub(c)?.checked_add(m))
            .ok_or(Undefined::TooLarge)?;
        Ok(float(numerator) / (float(scaled) * float(n)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn sums_do_not_depend_on_where_zero_is(values in proptest::collection::vec(-500i64..500, 2..40), shift in -1_000_000_000i64..1_000_000_000) {
            let of = |shift: i64| {
                let mut moments = Moments::default();
                for value in &values {
                    moments.push(value + shift).unwrap();
                }
                moments
            };
            let (here, there) = (of(0), of(shift));
            prop_assert_eq!(here.scaled_squares(), there.scaled_squares());
            prop_assert_eq!(here.lag1(), there.lag1());
            prop_assert_eq!(here.total() + i128::from(shift) * i128::from(here.count()), there.total());
        }
    }

    #[test]
    fn what_would_overflow_is_said_to_be_too_large() {
        let mut moments = Moments::default();
        assert_eq!(moments.push(i64::MAX), Err(Undefined::TooLarge));
        assert_eq!(moments.count(), 0);
        let (least, greatest) = (-(1 << 61), 1 << 61);
        let mut pushed = [least, greatest].into_iter().cycle().take(100);
        assert!(pushed.any(|base| moments.push(base) == Err(Undefined::TooLarge)));
    }
}
