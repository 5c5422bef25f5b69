//! Does a process wander, and when does it reach a limit?
//!
//! In: readings with the place of each on an axis of whole numbers (crimps made, microseconds). Out: the
//! trend with its uncertainty, a test that asks for no straight line, and the range in which a limit is
//! reached.

mod mann_kendall;
mod trend;

pub use mann_kendall::{MannKendall, mann_kendall};
pub use trend::{Forecast, Trend};

use super::sample::float;
use super::{CONFIDENCE, Figure, Kind, Limits, Sample, Undefined};

/// Readings against their place.
#[derive(Debug, Clone)]
pub struct Drift {
    sample: Sample,
    places: Vec<i64>,
    limits: Limits,
    per: i64,
}

impl Drift {
    /// Readings with the place of each, in ascending order of places.
    ///
    /// # Errors
    ///
    /// [`Undefined::Unequal`] unless there is a place for each reading.
    pub fn new(sample: Sample, places: Vec<i64>, limits: Limits) -> Result<Self, Undefined> {
        let number = |count: usize| u64::try_from(count).unwrap_or(u64::MAX);
        let (readings, given) = (sample.bases().len(), places.len());
        if readings != given {
            return Err(Undefined::Unequal {
                least: number(readings.min(given)),
                most: number(readings.max(given)),
            });
        }
        Ok(Self {
            sample,
            places,
            limits,
            per: 1,
        })
    }

    /// With slopes told a `per` of places: microseconds a day, where places are microseconds.
    #[must_use]
    pub fn per(self, per: i64) -> Self {
        Self { per, ..self }
    }

    fn slope(&self) -> Result<f64, Undefined> {
        Ok(self.trend()?.slope * float(self.per.into()))
    }

    fn slope_bounds(&self) -> Result<(f64, f64), Undefined> {
        let (low, high) = self.trend()?.slope_bounds(CONFIDENCE)?;
        let per = float(self.per.into());
        Ok((low * per, high * per))
    }

    /// Whether it wanders, in words; `place` is what slopes are told a piece of.
    pub fn sentence(&self, place: &str) -> String {
        let (trend, p) = match (self.slope(), self.trend().and_then(|trend| trend.slope_p())) {
            (Ok(trend), Ok(p)) => (trend, p),
            (Err(reason), _) | (_, Err(reason)) => {
                return format!("nothing is shown about a trend: {reason}");
            }
        };
        if p >= 0.05 {
            return format!("no trend is shown (chance {p:.2} without one)");
        }
        let way = if trend > 0.0 { "rising" } else { "falling" };
        let unit = self.sample.unit();
        format!(
            "{way} by {:.2e} {unit} per {place} (chance {p:.4} without a trend)",
            trend.abs()
        )
    }

    /// The straight line through the readings.
    pub fn trend(&self) -> Result<Trend, Undefined> {
        Trend::new(&self.sample, &self.places)
    }

    /// Where the line reaches the limit it is heading for.
    pub fn forecast(&self) -> Result<Forecast, Undefined> {
        let trend = self.trend()?;
        let all = self.sample.summary();
        let limit = if trend.slope > 0.0 {
            self.limits.upper_of(all)?
        } else {
            self.limits.lower_of(all)?
        };
        trend.reaches(limit, CONFIDENCE)
    }

    /// The test for a trend of any shape.
    pub fn mann_kendall(&self) -> Result<MannKendall, Undefined> {
        mann_kendall(self.sample.bases())
    }

    /// The readings.
    pub fn sample(&self) -> &Sample {
        &self.sample
    }
}

const fn row(
    name: &'static str,
    words: &'static str,
    kind: Kind,
    of: fn(&Drift) -> Result<f64, Undefined>,
) -> Figure<Drift> {
    Figure {
        name,
        words,
        kind,
        of,
    }
}

/// The figures of `study drift`. Slopes are in the unit of the readings a place (or what [`Drift::per`] says); places are told from
/// the same zero as they were given.
pub const FIGURES: &[Figure<Drift>] = &[
    row("n", "readings", Kind::Count, |of| {
        Ok(of.sample.summary().n())
    }),
    row("slope", "trend", Kind::Slope, Drift::slope),
    row(
        "slope_low",
        "trend, lower bound (95 %)",
        Kind::Slope,
        |of| Ok(of.slope_bounds()?.0),
    ),
    row(
        "slope_high",
        "trend, upper bound (95 %)",
        Kind::Slope,
        |of| Ok(of.slope_bounds()?.1),
    ),
    row(
        "slope_p",
        "chance of such a trend if there is none",
        Kind::Probability,
        |of| of.trend()?.slope_p(),
    ),
    row(
        "residual_sd",
        "standard deviation about the line",
        Kind::Reading,
        |of| Ok(of.trend()?.residual_sd),
    ),
    row("mann_kendall_s", "Mann-Kendall's S", Kind::Ratio, |of| {
        Ok(of.mann_kendall()?.s)
    }),
    row(
        "mann_kendall_tau",
        "order of the readings, -1 falling to 1 rising",
        Kind::Ratio,
        |of| of.mann_kendall()?.tau(),
    ),
    row(
        "mann_kendall_p",
        "chance of such an order if there is no trend",
        Kind::Probability,
        |of| of.mann_kendall()?.p(),
    ),
    row(
        "limit_at",
        "where the line reaches the limit",
        Kind::Place,
        |of| Ok(of.forecast()?.at),
    ),
    row("limit_at_low", "at the soonest (95 %)", Kind::Place, |of| {
        Ok(of.forecast()?.soonest)
    }),
    row("limit_at_high", "at the latest (95 %)", Kind::Place, |of| {
        Ok(of.forecast()?.latest)
    }),
];
