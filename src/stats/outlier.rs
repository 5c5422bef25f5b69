//! A reading that does not belong to the others.

use super::describe::{mean, positive_sd};
use super::distribution::StudentT;
use super::sample::float;
use super::{Sample, Summary, Undefined};

/// A reading that lies further out than chance allows. Not a reason to leave it out: look at the piece.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlier {
    /// Its number in the sample, from 1.
    pub at: usize,
    /// The reading, in the unit of the sample.
    pub value: f64,
    /// Its distance from the mean, in standard deviations.
    pub distance: f64,
    /// What that distance must not exceed.
    pub critical: f64,
}

/// The largest distance from the mean that is to be expected of `n` normal readings.
///
/// ```text
/// G = (n - 1)/√n · √( t² / (n - 2 + t²) ),   t = t(1 - α/(sides n); n - 2)
/// ```
///
/// Source: NIST/SEMATECH e-Handbook 1.3.5.17.1; checked for n = 3 to 150 and its example.
///
/// # Errors
///
/// [`Undefined::TooFew`] under 3 readings, [`Undefined::OutOfRange`] unless α is between 0 and 1.
pub fn grubbs_critical(n: u64, alpha: f64, sides: u8) -> Result<f64, Undefined> {
    Undefined::unless(n, 3)?;
    let n = float(n.into());
    let t = StudentT::new(n - 2.0)?.quantile(1.0 - alpha / (f64::from(sides) * n))?;
    Ok((n - 1.0) / n.sqrt() * (t * t / (n - 2.0 + t * t)).sqrt())
}

/// The reading furthest from the mean, whether it is an outlier or not (Grubbs' test, both sides).
///
/// # Errors
///
/// [`Undefined::TooFew`] under 3 readings, [`Undefined::NoSpread`] if all are equal.
pub fn furthest(sample: &Sample, alpha: f64) -> Result<Outlier, Undefined> {
    let far = furthest_value(sample.summary(), alpha)?;
    let at = sample.bases().iter().position(|base| *base == far.base);
    Ok(Outlier {
        at: at.ok_or(Undefined::TooLarge)? + 1,
        value: sample.summary().in_unit(far.base),
        distance: far.distance,
        critical: far.critical,
    })
}

/// A value that lies furthest from the mean; which of the readings it was is not known any more.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Furthest {
    /// The value, in base units.
    pub base: i64,
    /// Its distance from the mean, in standard deviations.
    pub distance: f64,
    /// What that distance must not exceed.
    pub critical: f64,
}

/// The same, where the order of the readings is not kept.
///
/// # Errors
///
/// As [`furthest`].
pub fn furthest_value(all: &Summary, alpha: f64) -> Result<Furthest, Undefined> {
    let critical = grubbs_critical(all.count(), alpha, 2)?;
    let (mean, sd) = (mean(all)?, positive_sd(all)?);
    let ends = [all.grid().least(), all.grid().greatest()];
    ends.into_iter()
        .flatten()
        .map(|base| Furthest {
            base,
            distance: (all.in_unit(base) - mean).abs() / sd,
            critical,
        })
        .max_by(|a, b| a.distance.total_cmp(&b.distance))
        .ok_or(Undefined::TooFew { got: 0, want: 3 })
}

/// The outliers among the readings, at most `most` of them (generalized ESD test, both sides).
///
/// The furthest reading is taken out `most` times over; the outliers are those up to the last whose
/// distance exceeds its critical value. For this Grubbs' formula holds with the readings still in.
/// Source: NIST/SEMATECH e-Handbook 1.3.5.17.3 (Rosner 1983); checked against its example.
///
/// # Errors
///
/// As [`furthest`].
pub fn outliers(sample: &Sample, most: usize, alpha: f64) -> Result<Vec<Outlier>, Undefined> {
    let rounds = rounds(sample, most, alpha)?;
    let last = rounds.iter().rposition(|far| far.distance > far.critical);
    let count = last.map_or(0, |last| last + 1);
    Ok(rounds.into_iter().take(count).collect())
}

/// Each round of the test, whether it found something or not.
pub fn rounds(sample: &Sample, most: usize, alpha: f64) -> Result<Vec<Outlier>, Undefined> {
    let mut left: Vec<(usize, i64)> = (1..).zip(sample.bases().iter().copied()).collect();
    let mut found = Vec::new();
    for _ in 0..most {
        let bases: Vec<i64> = left.iter().map(|(_, base)| *base).collect();
        let far = match furthest(&sample.part(&bases)?, alpha) {
            Ok(far) => far,
            Err(_) if !found.is_empty() => break,
            Err(reason) => return Err(reason),
        };
        let (at, _) = left.remove(far.at - 1);
        found.push(Outlier { at, ..far });
    }
    Ok(found)
}
