//! Finds outliers by Grubbs' test and its extension to several outliers.
//!
//! Grubbs' statistic assumes readings that are not rounded. With rounded readings all but one are often equal, and any
//! other value is then as far out as possible: in samples of three the test would mostly name an outlier. So if the
//! resolution is known, the standard deviation counts for at least what rounding may hide.

use super::distribution::StudentT;
use super::sample::float;
use super::{Sample, Summary, Undefined};

/// The significance level of the test.
pub const ALPHA: f64 = 0.05;
/// Significance level of each round of several, so that all rounds together keep to [`ALPHA`] (found with 20,000
/// simulated samples of 10 to 100 readings, not rounded and rounded).
const ALPHA_OF_ROUNDS: f64 = 0.035;
/// Maximum number of outliers that are named. More of them mean another distribution.
pub const MOST: usize = 10;

/// The outlying values, the furthest first. Of 100 samples without outliers at most 5 are reported to have one.
///
/// Below ten readings one outlier is looked for, from ten on two, and one more for every further ten, up to [`MOST`].
/// See [`values`] for the test, and `docs/false-alarms.md` for its rates of error and detection.
///
/// # Errors
///
/// As [`values`].
pub fn found(all: &Summary) -> Result<Vec<Furthest>, Undefined> {
    let tens = usize::try_from(all.count() / 10).unwrap_or(MOST);
    let most = (tens + 1).min(MOST);
    let alpha = if most == 1 { ALPHA } else { ALPHA_OF_ROUNDS };
    values(all, most, alpha)
}

/// An outlier. It is a reason to look at the piece, not to leave the reading out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlier {
    /// Number of the reading in the sample, from 1.
    pub at: usize,
    /// The reading, in the unit of the sample.
    pub value: f64,
    /// Distance from the mean, in standard deviations (see [`values`]).
    pub distance: f64,
    /// Critical value that the distance exceeds.
    pub critical: f64,
}

/// The critical distance from the mean, for `n` normal readings.
///
/// ```text
/// G = (n - 1)/√n · √( t² / (n - 2 + t²) ),   t = t(1 - α/(sides n); n - 2)
/// ```
///
/// Source: NIST/SEMATECH e-Handbook 1.3.5.17.1; checked for n = 3 to 150 and its example.
///
/// # Errors
///
/// [`Undefined::TooFew`] below 3 readings, [`Undefined::OutOfRange`] unless α is between 0 and 1.
pub fn grubbs_critical(n: u64, alpha: f64, sides: u8) -> Result<f64, Undefined> {
    Undefined::unless(n, 3)?;
    let n = float(n.into());
    let t = StudentT::new(n - 2.0)?.quantile(1.0 - alpha / (f64::from(sides) * n))?;
    Ok((n - 1.0) / n.sqrt() * (t * t / (n - 2.0 + t * t)).sqrt())
}

/// The reading furthest from the mean, outlier or not (Grubbs' test, two-sided).
///
/// # Errors
///
/// [`Undefined::TooFew`] below 3 readings, [`Undefined::NoSpread`] if all are equal.
pub fn furthest(sample: &Sample, alpha: f64) -> Result<Outlier, Undefined> {
    let mut found = rounds(sample, 1, alpha)?;
    found.pop().ok_or(Undefined::TooFew { got: 0, want: 3 })
}

/// The value furthest from the mean, without the place of its reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Furthest {
    /// The value, in base units.
    pub base: i64,
    /// Distance from the mean, in standard deviations (see [`values`]).
    pub distance: f64,
    /// Critical value of that distance.
    pub critical: f64,
}

/// The outliers with their places, at most `most` of them, as [`values`].
///
/// # Errors
///
/// As [`furthest`].
pub fn outliers(sample: &Sample, most: usize, alpha: f64) -> Result<Vec<Outlier>, Undefined> {
    let mut rounds = rounds(sample, most, alpha)?;
    let last = rounds.iter().rposition(|far| far.distance > far.critical);
    rounds.truncate(last.map_or(0, |last| last + 1));
    Ok(rounds)
}

/// All rounds of the test, significant or not. Of equal readings the first is named first.
pub fn rounds(sample: &Sample, most: usize, alpha: f64) -> Result<Vec<Outlier>, Undefined> {
    let mut named: Vec<usize> = Vec::new();
    let of = |far: Furthest| {
        let mut places = (1..).zip(sample.bases());
        let at = places.find(|(at, base)| **base == far.base && !named.contains(at));
        let (at, _) = at.ok_or(Undefined::TooLarge)?;
        named.push(at);
        Ok(Outlier {
            at,
            value: sample.summary().in_unit(far.base),
            distance: far.distance,
            critical: far.critical,
        })
    };
    let found = rounds_of(sample.summary(), most, alpha)?;
    found.into_iter().map(of).collect()
}

/// The outlying values, the furthest first, at most `most` (generalized ESD test, two-sided).
///
/// The furthest reading is removed `most` times. The outliers are those up to the last whose distance exceeds its
/// critical value, which is that of Grubbs' test with the readings that are left.
///
/// ```text
/// distance = |x - mean| / √( sd² + (n-2)/(n-1) · step²/12 )
/// ```
///
/// Without a known resolution this is Grubbs' statistic. With one, the other `n - 2` degrees of freedom each get at
/// least the variance of rounding, which their own spread may hide. Of 2,000 seeded samples without outliers, [`found`]
/// names one in at most 5 %, for 3 to 100 readings with a standard deviation of half to two steps;
/// `docs/false-alarms.md` has the rates of error and detection. Source of the test: NIST/SEMATECH e-Handbook 1.3.5.17.3
/// (Rosner 1983), checked against its example. The term with the step is our own, without a source, and is justified by
/// those rates.
///
/// # Errors
///
/// As [`furthest`].
///
/// # Examples
///
/// ```
/// use tallyjaw::{quantity::{Length, Quantity, Unit}, stats::{Sample, outlier}};
/// let step = Some(Quantity::Length(Length::from_nanometres(10_000)));
/// let of = |hundredths: [i64; 10]| {
///     let sample = Sample::from_bases(hundredths.map(|h| h * 10_000).to_vec(), Unit::Millimetre)?;
///     outlier::values(sample.with_step(step).summary(), 1, outlier::ALPHA)
/// };
/// assert_eq!(of([162, 162, 162, 162, 162, 163, 162, 162, 162, 162])?, []); // a step is no outlier
/// assert_eq!(of([162, 162, 161, 162, 162, 167, 162, 163, 162, 162])?[0].base, 1_670_000);
/// # Ok::<_, tallyjaw::stats::Undefined>(())
/// ```
pub fn values(all: &Summary, most: usize, alpha: f64) -> Result<Vec<Furthest>, Undefined> {
    let mut rounds = rounds_of(all, most, alpha)?;
    let last = rounds.iter().rposition(|far| far.distance > far.critical);
    rounds.truncate(last.map_or(0, |last| last + 1));
    Ok(rounds)
}

fn rounds_of(all: &Summary, most: usize, alpha: f64) -> Result<Vec<Furthest>, Undefined> {
    let mut left = Left::new(all)?;
    let mut found = Vec::new();
    while found.len() < most {
        match left.furthest(alpha) {
            Ok(far) => {
                left.remove(far.base)?;
                found.push(far);
            }
            Err(_) if !found.is_empty() => break,
            Err(reason) => return Err(reason),
        }
    }
    Ok(found)
}

/// The readings that are left, as ascending counts, with exact sums of distances from the smallest.
struct Left<'a> {
    counts: &'a [(i64, u64)],
    /// Counts that are left of the first and the last value of `counts`.
    low: u64,
    high: u64,
    pivot: i64,
    n: i128,
    sum: i128,
    squares: i128,
    step: f64,
}

impl<'a> Left<'a> {
    fn new(all: &'a Summary) -> Result<Self, Undefined> {
        Undefined::unless(all.count(), 3)?;
        let counts = all.grid().counts();
        let (first, last) = counts
            .first()
            .zip(counts.last())
            .ok_or(Undefined::TooFew { got: 0, want: 3 })?;
        let mut left = Self {
            counts,
            low: first.1,
            high: last.1,
            pivot: first.0,
            n: 0,
            sum: 0,
            squares: 0,
            step: all.step_base().map_or(0.0, |step| float(step.into())),
        };
        for (base, times) in counts {
            left.add(*base, i128::from(*times))?;
        }
        Ok(left)
    }

    /// Adds a value `times` over; a negative number removes it.
    fn add(&mut self, base: i64, times: i128) -> Result<(), Undefined> {
        let distance = i128::from(base) - i128::from(self.pivot);
        let square = distance.checked_mul(distance);
        let squares = square.and_then(|square| square.checked_mul(times));
        let squares = squares.and_then(|squares| self.squares.checked_add(squares));
        let sum = distance.checked_mul(times);
        let sum = sum.and_then(|sum| self.sum.checked_add(sum));
        (self.squares, self.sum) = squares.zip(sum).ok_or(Undefined::TooLarge)?;
        self.n += times;
        Ok(())
    }

    fn furthest(&self, alpha: f64) -> Result<Furthest, Undefined> {
        let count = u64::try_from(self.n).map_err(|_| Undefined::TooLarge)?;
        let critical = grubbs_critical(count, alpha, 2)?;
        let ends = self.counts.first().zip(self.counts.last());
        let ((least, _), (greatest, _)) = ends.ok_or(Undefined::TooFew { got: 0, want: 3 })?;
        if least == greatest {
            return Err(Undefined::NoSpread { count });
        }
        // n² times the variance of the readings, and of their rounding.
        let products = self.n.checked_mul(self.squares);
        let squared = self.sum.checked_mul(self.sum);
        let scaled = products.zip(squared).and_then(|(p, s)| p.checked_sub(s));
        let scaled = float(scaled.ok_or(Undefined::TooLarge)?);
        let n = float(self.n);
        let rounding = n * (n - 2.0) * self.step * self.step / 12.0;
        let sd = ((scaled + rounding) / (n * (n - 1.0))).sqrt();
        let distance = |base: i64| {
            let from_pivot = i128::from(base) - i128::from(self.pivot);
            let scaled = from_pivot.checked_mul(self.n).unwrap_or(i128::MAX) - self.sum;
            float(scaled.abs()) / n / sd
        };
        let far = [*least, *greatest].map(|base| (base, distance(base)));
        let [low, high] = far;
        let (base, distance) = if low.1 > high.1 { low } else { high };
        Ok(Furthest {
            base,
            distance,
            critical,
        })
    }

    /// Removes one reading at the end where it is.
    fn remove(&mut self, base: i64) -> Result<(), Undefined> {
        self.add(base, -1)?;
        let is_low = self.counts.first().is_some_and(|(least, _)| *least == base);
        let (end, rest) = if is_low {
            (
                &mut self.low,
                self.counts.split_first().map(|(_, rest)| rest),
            )
        } else {
            (
                &mut self.high,
                self.counts.split_last().map(|(_, rest)| rest),
            )
        };
        *end -= 1;
        if *end == 0 {
            self.counts = rest.unwrap_or_default();
            let next = if is_low {
                self.counts.first()
            } else {
                self.counts.last()
            };
            let left = next.map_or(0, |(_, times)| *times);
            // If one value is left, both ends are the same.
            *end = left;
        }
        Ok(())
    }
}

/// The lowest and highest readings of a stream with their places, in bounded memory.
#[derive(Debug, Clone)]
pub struct Ends<P> {
    lowest: Vec<(i64, P)>,
    highest: Vec<(i64, P)>,
}

impl<P> Default for Ends<P> {
    fn default() -> Self {
        Self {
            lowest: Vec::new(),
            highest: Vec::new(),
        }
    }
}

impl<P: Copy> Ends<P> {
    /// Adds the next reading. Of equal ones the first are kept.
    pub fn push(&mut self, base: i64, place: P) {
        Self::keep(&mut self.lowest, base, place, |new, old| new < old);
        Self::keep(&mut self.highest, base, place, |new, old| new > old);
    }

    fn keep(kept: &mut Vec<(i64, P)>, base: i64, place: P, beyond: fn(i64, i64) -> bool) {
        let at = kept.iter().position(|(old, _)| beyond(base, *old));
        let at = at.unwrap_or(kept.len());
        if at < MOST {
            kept.insert(at, (base, place));
            kept.truncate(MOST);
        }
    }

    /// The outliers with the places of their readings, each place once.
    pub fn places(&self, found: &[Furthest]) -> Vec<(Furthest, Option<P>)> {
        let mut named: Vec<i64> = Vec::new();
        found
            .iter()
            .map(|far| {
                let before = named.iter().filter(|base| **base == far.base).count();
                named.push(far.base);
                let of = |kept: &[(i64, P)]| {
                    let equal = kept.iter().filter(|(base, _)| *base == far.base);
                    equal.map(|(_, place)| *place).nth(before)
                };
                (*far, of(&self.lowest).or_else(|| of(&self.highest)))
            })
            .collect()
    }
}
