//! Confidence bounds of sums and differences of mean squares, by the modified large-sample method.
//!
//! Source: Graybill and Wang 1980 for sums, Ting and others 1990 for differences, both from memory. Tests simulate
//! their coverage.

use crate::stats::Undefined;
use crate::stats::distribution::{ChiSquared, FisherF};

/// A mean square with its weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Term {
    /// Mean square times weight.
    pub mean: f64,
    /// The degrees of freedom of the mean square.
    pub freedom: f64,
}

/// Relative distances from a mean square down and up to its bounds.
fn reaches(freedom: f64, tail: f64) -> Result<(f64, f64), Undefined> {
    let of = ChiSquared::new(freedom)?;
    Ok((
        1.0 - freedom / of.quantile(1.0 - tail)?,
        freedom / of.quantile(tail)? - 1.0,
    ))
}

/// Two-sided bounds of a sum of mean squares. They are exact for a single one.
///
/// ```text
/// θ - √(Σ G² m²),  θ + √(Σ H² m²);   G = 1 - ν/χ²(1-α/2; ν),  H = ν/χ²(α/2; ν) - 1
/// ```
pub fn sum_bounds(terms: &[Term], confidence: f64) -> Result<(f64, f64), Undefined> {
    let tail = 0.5 - confidence / 2.0;
    let (mut sum, mut down, mut up) = (0.0, 0.0, 0.0);
    for term in terms {
        let (low, high) = reaches(term.freedom, tail)?;
        sum += term.mean;
        down += (low * term.mean).powi(2);
        up += (high * term.mean).powi(2);
    }
    Ok((sum - down.sqrt(), sum + up.sqrt()))
}

/// Two-sided bounds of a sum of mean squares of which some are subtracted. They may be negative.
///
/// ```text
/// θ - √( Σ G₊² m₊² + Σ H₋² m₋² + Σ G₊₋ m₊ m₋ ),   θ + √( Σ H₊² m₊² + Σ G₋² m₋² + Σ H₊₋ m₊ m₋ )
/// G₊₋ = ((F₁ - 1)² - G₊² F₁² - H₋²)/F₁,   F₁ = F(1-α/2; ν₊, ν₋)
/// H₊₋ = ((1 - F₂)² - H₊² F₂² - G₋²)/F₂,   F₂ = F(α/2; ν₊, ν₋)
/// ```
pub fn difference_bounds(
    added: &[Term],
    taken: &[Term],
    confidence: f64,
) -> Result<(f64, f64), Undefined> {
    let tail = 0.5 - confidence / 2.0;
    let (mut sum, mut down, mut up) = (0.0, 0.0, 0.0);
    for plus in added {
        let (low, high) = reaches(plus.freedom, tail)?;
        sum += plus.mean;
        down += (low * plus.mean).powi(2);
        up += (high * plus.mean).powi(2);
        for minus in taken {
            let (less, more) = reaches(minus.freedom, tail)?;
            let f = FisherF::new(plus.freedom, minus.freedom)?;
            let (large, small) = (f.quantile(1.0 - tail)?, f.quantile(tail)?);
            let g = ((large - 1.0).powi(2) - (low * large).powi(2) - more * more) / large;
            let h = ((1.0 - small).powi(2) - (high * small).powi(2) - less * less) / small;
            down += g * plus.mean * minus.mean;
            up += h * plus.mean * minus.mean;
        }
    }
    for minus in taken {
        let (less, more) = reaches(minus.freedom, tail)?;
        sum -= minus.mean;
        down += (more * minus.mean).powi(2);
        up += (less * minus.mean).powi(2);
    }
    Ok((sum - down.max(0.0).sqrt(), sum + up.max(0.0).sqrt()))
}
