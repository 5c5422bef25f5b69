//! Outliers, by Grubbs' test and its extension to several of them.
//!
//! Grubbs' statistic presumes readings that are not rounded. Of readings rounded to the resolution all but
//! one are often equal, and any other value then lies as far out as a value can: the test would call it an
//! outlier in most samples of three. Where the step is known, the spread is therefore taken for no less
//! than what rounding may hide of it.

use super::distribution::StudentT;
use super::sample::float;
use super::{Sample, Summary, Undefined};

/// The significance level of the test.
pub const ALPHA: f64 = 0.05;
/// The same in each round where there are several, so that all of them together keep to [`ALPHA`] (from
/// 20,000 simulated samples of 10 to 100 readings, not rounded and rounded).
const ALPHA_OF_ROUNDS: f64 = 0.035;
/// No more outliers than this are named: more of them are another distribution.
pub const MOST: usize = 10;

/// The outlying values among readings, the furthest first; at most 5 of 100 samples without
/// outliers are said to have one.
///
/// One is looked for among less than ten readings, two from ten on, and one more for every ten, at most
/// [`MOST`]. See [`values`] for the test, `docs/false-alarms.md` for how often it is wrong and right.
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

/// An outlier. That is no reason to leave it out: look at the piece.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlier {
    /// Its number in the sample, from 1.
    pub at: usize,
    /// The reading, in the unit of the sample.
    pub value: f64,
    /// Its distance from the mean, in standard deviations (see [`values`]).
    pub distance: f64,
    /// What that distance must not exceed.
    pub critical: f64,
}

/// The critical distance from the mean for `n` normal readings.
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
    let mut found = rounds(sample, 1, alpha)?;
    found.pop().ok_or(Undefined::TooFew { got: 0, want: 3 })
}

/// A value that lies furthest from the mean; which of the readings it was is not known any more.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Furthest {
    /// The value, in base units.
    pub base: i64,
    /// Its distance from the mean, in standard deviations (see [`values`]).
    pub distance: f64,
    /// What that distance must not exceed.
    pub critical: f64,
}

/// The outliers among the readings, at most `most` of them, as [`values`], with their places.
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

/// Each round of the test, whether it found something or not; of equal readings the first is named first.
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

/// The outlying values, the furthest first, at most `most` (generalized ESD test, both sides).
///
/// The furthest reading is taken out `most` times over; the outliers are those up to the last whose
/// distance exceeds its critical value, that of Grubbs' test with the readings still in.
///
/// ```text
/// distance = |x - mean| / √( sd² + (n-2)/(n-1) · step²/12 )
/// ```
///
/// Without a known step it is Grubbs' statistic. With one, the other `n - 2` degrees of freedom are each
/// given at least the variance of a rounding, which their own spread may hide. Of 2,000 seeded samples
/// without outliers no more than 5 % are said to have one by [`found`], for 3 to 100 readings with a spread of
/// a half to two steps; `docs/false-alarms.md` has the rates, and how many true outliers are found.
/// Source of the test: NIST/SEMATECH e-Handbook 1.3.5.17.3 (Rosner 1983), checked against its example; of
/// the term of the step: none, it is ours and stands on those rates.
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

/// The readings that are still in, as counts in ascending order and exact sums of distances from the smallest.
struct Left<'a> {
    counts: &'a [(i64, u64)],
    /// How often the first and the last of `counts` are still in.
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

    /// Puts a value in `times` over; takes it out where that is negative.
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
        // n² times the variance of the readings, and of their rounding
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

    /// Takes one reading out at the end where it is.
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
            // where one value is left, both ends are the same
            *end = left;
        }
        Ok(())
    }
}

/// The few lowest and highest readings of many, with where each was taken: bounded memory.
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
    /// Takes the next reading; of equal ones the first are kept.
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

    /// Where these outliers were taken, each place once.
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
