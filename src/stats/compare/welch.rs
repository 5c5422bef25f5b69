//! Tests of the difference of two means.

use crate::stats::describe::{mean, sd};
use crate::stats::distribution::StudentT;
use crate::stats::{Sample, Undefined};

/// A difference of means with its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// First minus second, in the unit of the readings.
    pub difference: f64,
    /// Its standard error.
    pub error: f64,
    /// The degrees of freedom of that error.
    pub freedom: f64,
    /// Difference over error.
    pub t: f64,
}

/// Difference of the means, first minus second, each with its own standard deviation (Welch).
///
/// ```text
/// error² = s₁²/n₁ + s₂²/n₂;   df = error⁴ / ( (s₁²/n₁)²/(n₁-1) + (s₂²/n₂)²/(n₂-1) ), not rounded
/// ```
///
/// Source: Welch 1947, Satterthwaite 1946, from memory; checked to nine digits.
///
/// # Errors
///
/// [`Undefined::TooFew`] below 2 readings in either, [`Undefined::NoSpread`] if neither has any spread.
pub fn welch(first: &Sample, second: &Sample) -> Result<Difference, Undefined> {
    let share = |sample: &Sample| {
        let sd = sd(sample.summary())?;
        Ok::<_, Undefined>(sd * sd / sample.summary().n())
    };
    let (one, other) = (share(first)?, share(second)?);
    let (n1, n2) = (first.summary().n(), second.summary().n());
    let square = one + other;
    let freedom = square * square / (one * one / (n1 - 1.0) + other * other / (n2 - 1.0));
    difference(first, second, square, freedom)
}

/// As [`welch`], with a common standard deviation.
///
/// ```text
/// error² = s²(1/n₁ + 1/n₂),   s² = ((n₁-1)s₁² + (n₂-1)s₂²)/(n₁+n₂-2);   df = n₁ + n₂ - 2
/// ```
///
/// Errors as [`welch`].
pub fn pooled(first: &Sample, second: &Sample) -> Result<Difference, Undefined> {
    let (n1, n2) = (first.summary().n(), second.summary().n());
    let (s1, s2) = (sd(first.summary())?, sd(second.summary())?);
    let freedom = n1 + n2 - 2.0;
    let variance = ((n1 - 1.0) * s1 * s1 + (n2 - 1.0) * s2 * s2) / freedom;
    difference(first, second, variance * (1.0 / n1 + 1.0 / n2), freedom)
}

fn difference(
    first: &Sample,
    second: &Sample,
    square: f64,
    freedom: f64,
) -> Result<Difference, Undefined> {
    if first.unit() != second.unit() {
        return Err(Undefined::Mixed);
    }
    if square <= 0.0 {
        return Err(Undefined::NoSpread {
            count: first.count() + second.count(),
        });
    }
    let difference = mean(first.summary())? - mean(second.summary())?;
    let error = square.sqrt();
    Ok(Difference {
        difference,
        error,
        freedom,
        t: difference / error,
    })
}

impl Difference {
    /// Two-sided bounds: `difference ± t((1+c)/2; df) · error`.
    pub fn bounds(&self, confidence: f64) -> Result<(f64, f64), Undefined> {
        let t = StudentT::new(self.freedom)?.quantile(0.5 + confidence / 2.0)?;
        let reach = t * self.error;
        Ok((self.difference - reach, self.difference + reach))
    }

    /// The two-sided p-value of the difference.
    pub fn p(&self) -> Result<f64, Undefined> {
        Ok(StudentT::new(self.freedom)?.two_sided(self.t))
    }

    /// The p-value of two one-sided tests against `-margin` and `+margin`: the larger of the two. It is below 5 %
    /// exactly if the 90 % bounds lie within the margin.
    ///
    /// Source: Schuirmann 1987, from memory; checked to seven digits.
    ///
    /// # Errors
    ///
    /// [`Undefined::OutOfRange`] unless the margin is positive.
    pub fn equivalence_p(&self, margin: f64) -> Result<f64, Undefined> {
        if !(margin > 0.0 && margin.is_finite()) {
            return Err(Undefined::OutOfRange { what: "the margin" });
        }
        let of = StudentT::new(self.freedom)?;
        let above_lower = of.above((self.difference + margin) / self.error);
        let below_upper = of.below((self.difference - margin) / self.error);
        Ok(above_lower.max(below_upper))
    }
}
