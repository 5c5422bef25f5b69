//! Fits a straight line to readings.

use crate::stats::distribution::StudentT;
use crate::stats::sample::{base_in, float};
use crate::stats::{Sample, Undefined};

/// With a larger share of the sum of squares on the line, the rest loses digits as a difference.
const MOSTLY: f64 = 0.99;

/// The line of least squares, with the values that its bounds are computed from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Number of readings, as a float.
    pub n: f64,
    /// Slope, in units of the readings per place.
    pub slope: f64,
    /// The mean of the places.
    pub middle: f64,
    /// The mean of the readings.
    pub mean: f64,
    /// Standard deviation about the line, with `n - 2` degrees of freedom.
    pub residual_sd: f64,
    /// `Σ (place - middle)²`.
    pub place_squares: f64,
}

/// Interval in which a line reaches a limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forecast {
    /// The place where the line itself reaches it.
    pub at: f64,
    /// The earliest place.
    pub soonest: f64,
    /// The latest place.
    pub latest: f64,
}

impl Trend {
    /// Fits the line.
    ///
    /// ```text
    /// slope = (n Σ xy - Σ x Σ y) / (n Σ x² - (Σ x)²);   residual_sd² = (Syy - slope Sxy) / (n - 2)
    /// ```
    ///
    /// The sums are exact integers, relative to the first place and the first reading.
    ///
    /// # Errors
    ///
    /// [`Undefined::TooFew`] below 3 readings, [`Undefined::OutOfRange`] if all places are equal,
    /// [`Undefined::TooLarge`] if sums overflow.
    pub fn new(sample: &Sample, places: &[i64]) -> Result<Self, Undefined> {
        let count = sample.count();
        Undefined::unless(count, 3)?;
        let first = sample.bases().first().copied().unwrap_or(0);
        let origin = places.first().copied().unwrap_or(0);
        let sums = sums(sample.bases(), places, first, origin).ok_or(Undefined::TooLarge)?;
        if sums.xx == 0 {
            return Err(Undefined::OutOfRange {
                what: "a trend over equal places",
            });
        }
        let (scale, n) = (sample.scale(), float(count.into()));
        let (xx, xy, yy) = (float(sums.xx), float(sums.xy), float(sums.yy));
        let explained = xy * (xy / xx);
        let unexplained = if explained > MOSTLY * yy {
            Self::squares(sample.bases(), places, &sums, (first, origin)) / n
        } else {
            (yy - explained).max(0.0) / n
        };
        Ok(Self {
            n,
            slope: base_in(scale, xy / xx),
            middle: float(origin.into()) + float(sums.x) / n,
            mean: base_in(scale, float(first.into()) + float(sums.y) / n),
            residual_sd: base_in(scale, (unexplained / (n - 2.0)).sqrt()),
            place_squares: xx / n,
        })
    }

    /// n times the sum of squares of the distances from the line, each computed by itself, so that no digits cancel.
    fn squares(bases: &[i64], places: &[i64], sums: &Sums, (first, origin): (i64, i64)) -> f64 {
        let slope = float(sums.xy) / float(sums.xx);
        let n = i128::try_from(bases.len()).unwrap_or(i128::MAX);
        let about = |value: i64, from: i64, sum: i128| {
            float((i128::from(value) - i128::from(from)) * n - sum)
        };
        let squares = bases.iter().zip(places).map(|(base, place)| {
            let off = about(*base, first, sums.y) - slope * about(*place, origin, sums.x);
            off * off
        });
        squares.sum::<f64>() / float(n)
    }

    fn slope_error(&self) -> f64 {
        self.residual_sd / self.place_squares.sqrt()
    }

    fn t(&self, confidence: f64) -> Result<f64, Undefined> {
        StudentT::new(self.n - 2.0)?.quantile(0.5 + confidence / 2.0)
    }

    /// Two-sided bounds of the slope: `slope ± t((1+c)/2; n-2) residual_sd/√Sxx`.
    pub fn slope_bounds(&self, confidence: f64) -> Result<(f64, f64), Undefined> {
        let reach = self.t(confidence)? * self.slope_error();
        Ok((self.slope - reach, self.slope + reach))
    }

    /// The two-sided p-value of the slope.
    ///
    /// # Errors
    ///
    /// [`Undefined::NotApplicable`] if all readings lie on the line.
    pub fn slope_p(&self) -> Result<f64, Undefined> {
        if self.residual_sd <= 0.0 {
            return Err(Undefined::NotApplicable {
                why: "all readings lie on the line",
            });
        }
        Ok(StudentT::new(self.n - 2.0)?.two_sided(self.slope / self.slope_error()))
    }

    /// Value of the line at `place`.
    pub fn at(&self, place: f64) -> f64 {
        self.mean + self.slope * (place - self.middle)
    }

    /// The distances of readings from the line, as whole base units, in their order.
    pub fn residuals(&self, sample: &Sample, places: &[i64]) -> Vec<i64> {
        let scale = sample.scale();
        let line = |place: i64| scale.nearest(self.at(float(place.into())));
        let pairs = places.iter().zip(sample.bases());
        pairs
            .map(|(place, base)| base.saturating_sub(line(*place)))
            .collect()
    }

    /// The place where the line reaches `limit`, with bounds: the places where the bounds of the line reach it
    /// (Fieller's theorem).
    ///
    /// ```text
    /// (b² - t² s²/Sxx) d² + 2 b (ȳ - L) d + (ȳ - L)² - t² s²/n = 0,   d = place - x̄
    /// ```
    ///
    /// It assumes that the trend continues. Source: Draper and Smith, from memory.
    ///
    /// # Errors
    ///
    /// [`Undefined::NotApplicable`] if the slope does not differ significantly from 0 at that confidence, because then
    /// the interval is not finite.
    pub fn reaches(&self, limit: f64, confidence: f64) -> Result<Forecast, Undefined> {
        let t = self.t(confidence)?;
        let (soonest, latest) = self.crossings(limit, t, 1.0 / self.n)?;
        Ok(Forecast {
            at: self.middle - (self.mean - limit) / self.slope,
            soonest,
            latest,
        })
    }

    /// The place from which a single piece lies beyond `limit` with a probability above `1 - confidence`: where the
    /// one-sided prediction bound reaches the limit.
    ///
    /// ```text
    /// ȳ + b d ± t(c; n-2) s √(1 + 1/n + d²/Sxx) = L,   d = place - x̄
    /// ```
    ///
    /// It assumes that the trend continues and that pieces are normally distributed about it. Source: Draper and Smith,
    /// from memory; checked against an independent computation.
    ///
    /// # Errors
    ///
    /// As [`Trend::reaches`].
    pub fn single_reaches(&self, limit: f64, confidence: f64) -> Result<f64, Undefined> {
        let t = StudentT::new(self.n - 2.0)?.quantile(confidence)?;
        Ok(self.crossings(limit, t, 1.0 + 1.0 / self.n)?.0)
    }

    /// The places where `line ± t s √(more + d²/Sxx)` equals `limit`.
    fn crossings(&self, limit: f64, t: f64, more: f64) -> Result<(f64, f64), Undefined> {
        let (slope, off) = (self.slope, self.mean - limit);
        let noise = t * t * self.residual_sd * self.residual_sd;
        let square = slope * slope - noise / self.place_squares;
        if square <= 0.0 {
            return Err(Undefined::NotApplicable {
                why: "no trend is shown",
            });
        }
        let half = slope * off;
        let root = (half * half - square * (off * off - noise * more))
            .max(0.0)
            .sqrt();
        Ok((
            self.middle + (-half - root) / square,
            self.middle + (-half + root) / square,
        ))
    }

    /// Two-sided bounds of the line at `place`: `line ± t s √(1/n + d²/Sxx)`.
    pub fn line_bounds(&self, place: f64, confidence: f64) -> Result<(f64, f64), Undefined> {
        self.bounds_at(place, confidence, 0.0)
    }

    /// Two-sided prediction bounds of a single piece at `place`: `line ± t s √(1 + 1/n + d²/Sxx)`.
    pub fn single_bounds(&self, place: f64, confidence: f64) -> Result<(f64, f64), Undefined> {
        self.bounds_at(place, confidence, 1.0)
    }

    fn bounds_at(&self, place: f64, confidence: f64, single: f64) -> Result<(f64, f64), Undefined> {
        let off = place - self.middle;
        let share = single + 1.0 / self.n + off * off / self.place_squares;
        let reach = self.t(confidence)? * self.residual_sd * share.sqrt();
        let line = self.at(place);
        Ok((line - reach, line + reach))
    }
}

/// Exact sums. `xx`, `xy` and `yy` are n times the sums about the means.
struct Sums {
    x: i128,
    y: i128,
    xx: i128,
    xy: i128,
    yy: i128,
}

fn sums(bases: &[i64], places: &[i64], first: i64, origin: i64) -> Option<Sums> {
    let n = i128::try_from(bases.len()).ok()?;
    let (mut x, mut y, mut xx, mut xy, mut yy) = (0_i128, 0_i128, 0_i128, 0_i128, 0_i128);
    for (base, place) in bases.iter().zip(places) {
        let (px, py) = (
            i128::from(*place) - i128::from(origin),
            i128::from(*base) - i128::from(first),
        );
        x += px;
        y += py;
        xx = xx.checked_add(px.checked_mul(px)?)?;
        xy = xy.checked_add(px.checked_mul(py)?)?;
        yy = yy.checked_add(py.checked_mul(py)?)?;
    }
    let about = |sum: i128, a: i128, b: i128| n.checked_mul(sum)?.checked_sub(a.checked_mul(b)?);
    Some(Sums {
        x,
        y,
        xx: about(xx, x, x)?,
        xy: about(xy, x, y)?,
        yy: about(yy, y, y)?,
    })
}
