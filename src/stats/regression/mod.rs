//! Regression: a straight line of one quantity against another, such as pull force against crimp height.
//!
//! In: pairs of exact readings, each pair of one piece. Out: the line with confidence and prediction bands, the test of
//! lack of fit, and the range of x in which a share of all pieces keeps the lower limit of y.

mod claim;
mod figures;
mod fit;

pub use claim::FEWEST_PAIRS;
pub use figures::FIGURES;
pub use fit::LackOfFit;

use super::distribution::{NoncentralT, increasing_root, quantile};
use super::drift::Trend;
use super::normality;
use super::sample::float;
use super::tolerance::COVERAGE;
use super::{CONFIDENCE, Limits, Sample, Undefined};

/// Steps in which the highest point of the tolerance bound is looked for.
const CLOSER: u32 = 40;

/// Pairs of readings with the line through them.
#[derive(Debug, Clone)]
pub struct Regression {
    x: Sample,
    y: Sample,
    trend: Trend,
    /// The value of one base unit of x, in its unit.
    one: f64,
    limits: Limits,
    content: f64,
    confidence: f64,
    names: [String; 2],
}

/// The values of x that keep a limit, in base units of x.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Range {
    /// The lowest.
    pub from: i64,
    /// The highest.
    pub to: i64,
    /// Whether the range ends at `from` only because no lower value was measured.
    pub from_measured: bool,
    /// The same of `to`.
    pub to_measured: bool,
}

impl Regression {
    /// The line through the pairs; reading `i` of `x` and of `y` are of one piece.
    ///
    /// # Errors
    ///
    /// [`Undefined::Unequal`] if the numbers of readings differ, [`Undefined::TooFew`] below 3,
    /// [`Undefined::NotApplicable`] if all x are equal, [`Undefined::TooLarge`] if sums overflow.
    ///
    /// # Examples
    ///
    /// ```
    /// use tallyjaw::{quantity::Unit, stats::{Sample, regression::Regression}};
    /// let heights = [1_600_000, 1_610_000, 1_620_000, 1_630_000];
    /// let forces = [203_000, 199_000, 201_000, 197_000];
    /// let x = Sample::from_bases(heights.to_vec(), Unit::Millimetre)?;
    /// let y = Sample::from_bases(forces.to_vec(), Unit::Newton)?;
    /// let line = Regression::new(x, y)?;
    /// assert!((line.slope() + 160.0).abs() < 1e-9); // newtons per millimetre
    /// assert!((line.at(1.615) - 200.0).abs() < 1e-9);
    /// # Ok::<_, tallyjaw::stats::Undefined>(())
    /// ```
    pub fn new(x: Sample, y: Sample) -> Result<Self, Undefined> {
        if x.count() != y.count() {
            return Err(Undefined::Unequal {
                fewest: x.count().min(y.count()),
                most: x.count().max(y.count()),
            });
        }
        Undefined::unless(x.count(), 3)?;
        if x.summary().grid().counts().len() < 2 {
            return Err(Undefined::NotApplicable {
                why: "all values of x are equal",
            });
        }
        let trend = Trend::new(&y, x.bases())?;
        let one = x.summary().in_unit(1);
        Ok(Self {
            x,
            y,
            trend,
            one,
            limits: Limits::default(),
            content: COVERAGE,
            confidence: CONFIDENCE,
            names: ["x".to_owned(), "y".to_owned()],
        })
    }

    /// Gives the limits of y.
    #[must_use]
    pub fn against(self, limits: Limits) -> Self {
        Self { limits, ..self }
    }

    /// Gives the share of all pieces that has to keep the lower limit, and the confidence.
    #[must_use]
    pub fn assuring(self, content: f64, confidence: f64) -> Self {
        Self {
            content,
            confidence,
            ..self
        }
    }

    /// Gives the names of x and y for sentences.
    #[must_use]
    pub fn named(self, x: &str, y: &str) -> Self {
        let names = [x.to_owned(), y.to_owned()];
        Self { names, ..self }
    }

    /// The readings of x.
    pub fn x(&self) -> &Sample {
        &self.x
    }

    /// The readings of y.
    pub fn y(&self) -> &Sample {
        &self.y
    }

    /// The names of x and y.
    pub fn names(&self) -> [&str; 2] {
        let [x, y] = &self.names;
        [x, y]
    }

    /// The place of a value of x, in base units.
    fn place(&self, x: f64) -> f64 {
        x / self.one
    }

    /// Units of y per unit of x.
    pub fn slope(&self) -> f64 {
        self.trend.slope / self.one
    }

    /// Two-sided 95 % bounds of the slope.
    pub fn slope_bounds(&self) -> Result<(f64, f64), Undefined> {
        let (low, high) = self.trend.slope_bounds(CONFIDENCE)?;
        Ok((low / self.one, high / self.one))
    }

    /// The two-sided p-value of the slope.
    pub fn slope_p(&self) -> Result<f64, Undefined> {
        self.trend.slope_p()
    }

    /// The line at `x`.
    pub fn at(&self, x: f64) -> f64 {
        self.trend.at(self.place(x))
    }

    /// The confidence band of the line at `x`: `line ± t s √(1/n + d²/Sxx)`, for one x at a time.
    pub fn line_bounds(&self, x: f64) -> Result<(f64, f64), Undefined> {
        self.trend.line_bounds(self.place(x), CONFIDENCE)
    }

    /// The prediction band of a next piece at `x`: `line ± t s √(1 + 1/n + d²/Sxx)`, for one x at a time.
    pub fn single_bounds(&self, x: f64) -> Result<(f64, f64), Undefined> {
        self.trend.single_bounds(self.place(x), CONFIDENCE)
    }

    /// Standard deviation about the line, with `n - 2` degrees of freedom.
    pub fn residual_sd(&self) -> f64 {
        self.trend.residual_sd
    }

    /// The share of the sum of squares of y that the line explains.
    pub fn r_squared(&self) -> Result<f64, Undefined> {
        let all = self.y.summary();
        let squares = all.moments().squared_deviations()?;
        if squares <= 0.0 {
            return Err(Undefined::NoSpread { count: all.count() });
        }
        let total = squares * all.in_unit(1).powi(2);
        let rest = self.trend.residual_sd.powi(2) * (self.trend.n - 2.0);
        Ok((1.0 - rest / total).max(0.0))
    }

    /// Lower tolerance bound of y at `x`: at least the share `content` of all pieces with this x lies above it, with
    /// `confidence`.
    ///
    /// ```text
    /// line - k s,   k = t(confidence; n-2, z(content)/√h) √h,   h = 1/n + d²/Sxx      (noncentral t, exact)
    /// ```
    ///
    /// For one x at a time. Source: the definition of ISO 16269-6 (not opened), for a mean that is a point of a line;
    /// its coverage is simulated in docs/coverage.md.
    ///
    /// # Errors
    ///
    /// [`Undefined::OutOfRange`] unless content and confidence are between 0 and 1.
    pub fn tolerance_bound(&self, x: f64) -> Result<f64, Undefined> {
        self.bound_at(self.place(x))
    }

    fn bound_at(&self, place: f64) -> Result<f64, Undefined> {
        let off = place - self.trend.middle;
        let root = (1.0 / self.trend.n + off * off / self.trend.place_squares).sqrt();
        let t = NoncentralT::new(self.trend.n - 2.0, quantile(self.content)? / root)?;
        let factor = t.quantile(self.confidence)? * root;
        Ok(self.trend.at(place) - factor * self.trend.residual_sd)
    }

    /// The lower limit of y.
    pub fn minimum(&self) -> Result<f64, Undefined> {
        self.limits.lower_of(self.y.summary())
    }

    /// The lowest and highest x, in base units.
    pub fn ends(&self) -> (i64, i64) {
        let bases = || self.x.bases().iter().copied();
        (bases().min().unwrap_or(0), bases().max().unwrap_or(0))
    }

    /// The values of x, among those that were measured, at which the tolerance bound is at or above the lower limit of
    /// y. Its ends are rounded inward to the resolution of x.
    ///
    /// The bound is concave over x, so these values are one range. Outside of the measured x there is no statement: that
    /// would be extrapolation.
    ///
    /// # Errors
    ///
    /// [`Undefined::NoLowerLimit`] without one; [`Undefined::NotApplicable`] if no measured x keeps it.
    pub fn keeps(&self) -> Result<Range, Undefined> {
        let minimum = self.minimum()?;
        let (from, to) = self.ends();
        let (low, high) = (float(from.into()), float(to.into()));
        // A bound without a value is as bad as one far below the limit.
        let over = |place: f64| self.bound_at(place).map_or(f64::MIN, |y| y - minimum);
        self.bound_at(low)?;
        let (at_low, at_high) = (over(low) >= 0.0, over(high) >= 0.0);
        let top = match (at_low, at_high) {
            (true, _) => low,
            (false, true) => high,
            (false, false) => highest(&over, low, high),
        };
        if over(top) < 0.0 {
            return Err(Undefined::NotApplicable {
                why: "at no measured value of x is the limit kept with this assurance",
            });
        }
        let begin = if at_low {
            low
        } else {
            increasing_root(over, low, top)
        };
        let end = if at_high {
            high
        } else {
            -increasing_root(|place| over(-place), -high, -top)
        };
        let step = self.x.summary().step_base().unwrap_or(1);
        let round = super::sample::nearest;
        let up = |place: f64| (round(place.ceil()) + step - 1).div_euclid(step) * step;
        let down = |place: f64| round(place.floor()).div_euclid(step) * step;
        let range = Range {
            from: if at_low { from } else { up(begin) },
            to: if at_high { to } else { down(end) },
            from_measured: at_low,
            to_measured: at_high,
        };
        if range.from > range.to {
            return Err(Undefined::NotApplicable {
                why: "the range that keeps the limit is narrower than the resolution of x",
            });
        }
        Ok(range)
    }

    /// The p-value of the Anderson-Darling test of the distances from the line, as a test that knows of rounding: they
    /// are rounded to the resolution once more. The estimated slope makes it a little less sensitive than its level.
    pub fn residuals_p(&self) -> Result<f64, Undefined> {
        let step = self.y.summary().step_base().ok();
        let mut rest = self.residual_bases();
        for off in &mut rest {
            *off = rounded(*off, step.unwrap_or(1));
        }
        let rest = Sample::from_bases(rest, self.y.scale())?.with_step_base(step);
        normality::normality_p(rest.summary())
    }
}

/// The multiple of `step` nearest to a value.
fn rounded(value: i64, step: i64) -> i64 {
    value.saturating_add(step / 2).div_euclid(step) * step
}

/// Where a concave function is highest, by narrowing to thirds.
fn highest(of: &impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    let (mut low, mut high) = (low, high);
    for _ in 0..CLOSER {
        let third = (high - low) / 3.0;
        if of(low + third) < of(high - third) {
            low += third;
        } else {
            high -= third;
        }
    }
    f64::midpoint(low, high)
}
