//! Fits a distribution to values.

use super::{Family, Member};
use crate::stats::Undefined;
use crate::stats::distribution::increasing_root;
use crate::stats::sample::float_of;

/// Two parameters from fewer values mean nothing.
const FEWEST: u64 = 3;

/// The member of the family that fits these values, which are above 0 (of a folded normal distribution at least 0).
///
/// ```text
/// lognormal       a, b: mean and standard deviation (divisor n - 1) of the logarithms
/// Weibull         maximum likelihood: Σ xᵏ ln x / Σ xᵏ - 1/k = mean ln x,   a = (Σ xᵏ / n)^(1/k),   k = 1/b
/// folded normal   maximum likelihood: a = mean( x tanh(x a / b²) ),   b² = mean x² - a²;   a = 0 if mean x⁴ ≥ 3 (mean x²)²
/// ```
///
/// Sources: Johnson, Kotz and Balakrishnan 1994; Leone, Nelson and Nottingham 1961 (both from memory). Checked against
/// maximum likelihood by scipy.
///
/// # Errors
///
/// [`Undefined::TooFew`] below 3 values, [`Undefined::NoSpread`] if all are equal, [`Undefined::NotApplicable`] if a value is
/// not above 0.
///
/// # Examples
///
/// ```
/// use tallyjaw::stats::fitted::{Family, fit};
/// let member = fit(Family::Lognormal, &[1.0, 10.0, 100.0])?;
/// assert!((member.quantile(0.5)? - 10.0).abs() < 1e-12);
/// # Ok::<_, tallyjaw::stats::Undefined>(())
/// ```
pub fn fit(family: Family, values: &[f64]) -> Result<Member, Undefined> {
    let count = u64::try_from(values.len()).unwrap_or(u64::MAX);
    Undefined::unless(count, FEWEST)?;
    let fits = |x: &f64| *x > 0.0 || (family == Family::FoldedNormal && *x == 0.0);
    if !values.iter().all(|x| x.is_finite() && fits(x)) {
        return Err(Undefined::NotApplicable {
            why: "a reading is not above the origin (--origin), and this distribution begins there",
        });
    }
    let first = values.first().copied();
    if values.iter().all(|x| Some(*x) == first) {
        return Err(Undefined::NoSpread { count });
    }
    Ok(match family {
        Family::Lognormal => lognormal(values),
        Family::Weibull => weibull(values),
        Family::FoldedNormal => folded_normal(values),
    })
}

fn mean(values: impl Iterator<Item = f64>, n: f64) -> f64 {
    values.sum::<f64>() / n
}

fn lognormal(values: &[f64]) -> Member {
    let n = float_of(values.len());
    let a = mean(values.iter().map(|x| x.ln()), n);
    let squares = values.iter().map(|x| (x.ln() - a).powi(2));
    Member {
        family: Family::Lognormal,
        a,
        b: (squares.sum::<f64>() / (n - 1.0)).sqrt(),
    }
}

/// The logarithms are taken about their mean, so that no power overflows.
fn weibull(values: &[f64]) -> Member {
    /// The shape is sought this many powers of e around its estimate from the spread of the logarithms.
    const REACH: f64 = 5.0;
    let n = float_of(values.len());
    let center = mean(values.iter().map(|x| x.ln()), n);
    let logs: Vec<f64> = values.iter().map(|x| x.ln() - center).collect();
    let spread = mean(logs.iter().map(|y| y * y), n).sqrt();
    let sums = |k: f64| {
        logs.iter().fold((0.0, 0.0), |(all, weighted), y| {
            let power = (k * y).exp();
            (all + power, weighted + power * y)
        })
    };
    let excess = |ln_k: f64| {
        let k = ln_k.exp();
        let (all, weighted) = sums(k);
        weighted / all - 1.0 / k
    };
    let start = (std::f64::consts::PI / 6.0_f64.sqrt() / spread).ln();
    let k = increasing_root(excess, start - REACH, start + REACH).exp();
    let (all, _) = sums(k);
    Member {
        family: Family::Weibull,
        a: (center + (all / n).ln() / k).exp(),
        b: 1.0 / k,
    }
}

fn folded_normal(values: &[f64]) -> Member {
    /// As near to the ends of the range of a/√(mean x²) as the root is sought.
    const EDGE: f64 = 1e-9;
    let n = float_of(values.len());
    let square = mean(values.iter().map(|x| x * x), n);
    let fourth = mean(values.iter().map(|x| x.powi(4)), n);
    let of = |a: f64| Member {
        family: Family::FoldedNormal,
        a,
        b: (square - a * a).sqrt(),
    };
    if fourth >= 3.0 * square * square {
        return of(0.0);
    }
    let excess = |share: f64| {
        let a = share * square.sqrt();
        let variance = square - a * a;
        a - mean(values.iter().map(|x| x * (x * a / variance).tanh()), n)
    };
    // Nearer to 0 than this, both sides differ by less than a float can hold.
    let root = increasing_root(excess, 1e-3, 1.0 - EDGE);
    of(root * square.sqrt())
}
