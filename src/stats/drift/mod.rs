//! Drift: does a process have a trend, and when does it reach a limit?
//!
//! In: readings, each with its place as a whole number (crimps made, microseconds). Out: the linear trend with its
//! uncertainty, a test for a trend of any shape, and the interval in which a limit is reached.

mod mann_kendall;
mod trend;

pub use mann_kendall::{MannKendall, mann_kendall};
pub use trend::{Forecast, Trend};

use super::figures::row;
use super::order::wanders;
use super::sample::float;
use super::text::{Digits, Per, PlaceUnit, chance, fixed};
use super::{CONFIDENCE, Figure, FigureKind, Limits, Sample, Undefined, proportion};

/// Stairs of a line that is rounded are at most `1/√12` = 0.29 steps from it, as a standard deviation.
const STAIRS: f64 = 0.4;
/// The longest distance that a slope is given for.
const MOST_PER: u32 = 1_000_000;

/// Readings with their places.
#[derive(Debug, Clone)]
pub struct Drift {
    sample: Sample,
    places: Vec<i64>,
    limits: Limits,
    per: i64,
}

impl Drift {
    /// Readings with their places; they are sorted by place.
    ///
    /// # Errors
    ///
    /// [`Undefined::Unequal`] if the numbers of readings and places differ.
    pub fn new(sample: &Sample, places: Vec<i64>, limits: Limits) -> Result<Self, Undefined> {
        let number = |count: usize| u64::try_from(count).unwrap_or(u64::MAX);
        let (readings, given) = (sample.bases().len(), places.len());
        if readings != given {
            return Err(Undefined::Unequal {
                fewest: number(readings.min(given)),
                most: number(readings.max(given)),
            });
        }
        let mut pairs: Vec<(i64, i64)> = places
            .into_iter()
            .zip(sample.bases().iter().copied())
            .collect();
        pairs.sort_by_key(|(place, _)| *place); // Readings at the same place stay in their order.
        let bases: Vec<i64> = pairs.iter().map(|(_, base)| *base).collect();
        Ok(Self {
            sample: sample.part(&bases)?,
            places: pairs.into_iter().map(|(place, _)| place).collect(),
            limits,
            per: 1,
        })
    }

    /// Gives slopes per `per` places: for places in microseconds, the number of microseconds in a day.
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

    /// The distance over which the trend is easy to read: the smallest power of ten over which it reaches the
    /// resolution of the readings.
    pub fn per_of<'p>(&self, unit: PlaceUnit<'p>) -> Per<'p> {
        let step = self.sample.summary().step().unwrap_or(0.001);
        let slope = self.slope().map_or(step, f64::abs);
        let mut times = 1;
        while times < MOST_PER && slope * f64::from(times) < step {
            times *= 10;
        }
        Per { unit, times }
    }

    /// The trend in words.
    pub fn sentence(&self, digits: Digits<'_>) -> String {
        let (trend, p) = match (self.slope(), self.trend().and_then(|trend| trend.slope_p())) {
            (Ok(trend), Ok(p)) => (trend, p),
            (Err(reason), _) | (_, Err(reason)) => {
                return format!("the trend has no value: {reason}");
            }
        };
        if p >= 0.05 {
            return format!("no significant trend (p = {})", fixed(p, 2));
        }
        if self.is_no_line() {
            return "a straight line does not describe these readings: their distances from it are autocorrelated, as after a step or in a wandering process, so no trend is claimed and no limit predicted; see tallyjaw study chart".to_owned();
        }
        let way = if trend > 0.0 { "rising" } else { "falling" };
        let over = self.over_all(trend);
        format!(
            "{way} by {}{} (p = {})",
            digits.text(FigureKind::Slope, trend.abs()),
            over.map_or(String::new(), |over| format!(
                ", and by {} from the first reading to the last",
                digits.text(FigureKind::Reading, over)
            )),
            chance(p)
        )
    }

    /// Whether the distances from the line show that it is none: neighbours lie on the same side of it. Where they are
    /// smaller than 0.4 steps they are those of rounding, which makes stairs of a line.
    pub(super) fn is_no_line(&self) -> bool {
        let Ok(trend) = self.trend() else {
            return false;
        };
        let step = self.sample.summary().step();
        if step.is_ok_and(|step| trend.residual_sd < STAIRS * step) {
            return false;
        }
        let off = self
            .sample
            .part(&trend.residuals(&self.sample, &self.places));
        off.and_then(|off| wanders(&off)).is_ok_and(|is_so| is_so)
    }

    /// How far the fitted line rises or falls from the first reading to the last, by its slope.
    fn over_all(&self, slope: f64) -> Option<f64> {
        let (first, last) = self.places.first().zip(self.places.last())?;
        let places = float(last.saturating_sub(*first).into()) / float(self.per.into());
        Some((slope * places).abs())
    }

    /// The straight line through the readings.
    pub fn trend(&self) -> Result<Trend, Undefined> {
        Trend::new(&self.sample, &self.places)
    }

    /// The limit that the line approaches.
    fn limit_ahead(&self) -> Result<f64, Undefined> {
        let all = self.sample.summary();
        if self.trend()?.slope > 0.0 {
            self.limits.upper_of(all)
        } else {
            self.limits.lower_of(all)
        }
    }

    /// The place where the line reaches the limit that it approaches.
    pub fn forecast(&self) -> Result<Forecast, Undefined> {
        self.trend()?.reaches(self.limit_ahead()?, CONFIDENCE)
    }

    /// The place from which more than one piece in 20 is beyond the limit that the line approaches.
    pub fn single_forecast(&self) -> Result<f64, Undefined> {
        self.trend()?
            .single_reaches(self.limit_ahead()?, CONFIDENCE)
    }

    fn last_place(&self) -> Result<f64, Undefined> {
        let last = self
            .places
            .last()
            .ok_or(Undefined::TooFew { got: 0, want: 1 })?;
        Ok(float((*last).into()))
    }

    /// Sentences about reaching the limits; `place_text` formats a place, and `place` is written before it: `made = `.
    pub fn outlook(&self, place: &str, place_text: impl Fn(f64) -> String) -> Vec<String> {
        let (all, mut said) = (self.sample.summary(), Vec::new());
        if let Ok(outside @ 1..) = proportion::outside(all, &self.limits) {
            let count = self.sample.count();
            said.push(format!(
                "{outside} of {count} readings are outside the limits already"
            ));
        }
        let Ok((trend, last)) = self
            .trend()
            .and_then(|trend| Ok((trend, self.last_place()?)))
        else {
            return said;
        };
        if self.is_no_line() {
            return said;
        }
        let line = trend.at(last);
        let past_upper = self.limits.upper_of(all).is_ok_and(|upper| line > upper);
        let past_lower = self.limits.lower_of(all).is_ok_and(|lower| line < lower);
        if past_upper || past_lower {
            let limit = if past_upper { "upper" } else { "lower" };
            let since = match self.forecast() {
                Ok(forecast) if forecast.at <= last && past_upper == (trend.slope > 0.0) => {
                    format!(
                        ", since {place}{} (95 % confidence interval: {} to {})",
                        place_text(forecast.at),
                        place_text(forecast.soonest),
                        place_text(forecast.latest)
                    )
                }
                Ok(_) | Err(_) => String::new(),
            };
            said.push(format!(
                "the fitted line is beyond the {limit} limit already{since}"
            ));
            return said;
        }
        let ahead = if trend.slope > 0.0 { "upper" } else { "lower" };
        if let Ok(forecast) = self.forecast() {
            said.push(format!(
                "if the trend continues, the fitted line reaches the {ahead} limit at {place}{} (95 % confidence interval: {} to {})",
                place_text(forecast.at),
                place_text(forecast.soonest),
                place_text(forecast.latest)
            ));
        }
        match self.single_forecast() {
            Ok(at) if at <= last => {
                said.push("more than 1 piece in 20 may be beyond the limit already".to_owned());
            }
            Ok(at) => said.push(format!(
                "from {place}{}, more than 1 piece in 20 may be beyond that limit",
                place_text(at)
            )),
            Err(_) => {}
        }
        said
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

/// The figures of `study drift`. Slopes are in units of the readings per place (or per what [`Drift::per`] gives).
/// Places count from the same zero as the given ones.
pub const FIGURES: &[Figure<Drift>] = &[
    row("n", "readings", FigureKind::Count, |of| {
        Ok(of.sample.summary().n())
    }),
    row("slope", "trend", FigureKind::Slope, Drift::slope),
    row(
        "slope_low",
        "trend, lower confidence bound (95 %)",
        FigureKind::Slope,
        |of| Ok(of.slope_bounds()?.0),
    ),
    row(
        "slope_high",
        "trend, upper confidence bound (95 %)",
        FigureKind::Slope,
        |of| Ok(of.slope_bounds()?.1),
    ),
    row("slope_p", "p of the trend", FigureKind::Probability, |of| {
        of.trend()?.slope_p()
    }),
    row(
        "residual_sd",
        "standard deviation about the fitted line",
        FigureKind::Reading,
        |of| Ok(of.trend()?.residual_sd),
    ),
    row(
        "mann_kendall_s",
        "Mann-Kendall's S",
        FigureKind::Whole,
        |of| Ok(of.mann_kendall()?.s),
    ),
    row(
        "mann_kendall_tau",
        "Kendall's tau (-1 falling, 1 rising)",
        FigureKind::Ratio,
        |of| of.mann_kendall()?.tau(),
    ),
    row(
        "mann_kendall_p",
        "p of Mann-Kendall's test",
        FigureKind::Probability,
        |of| of.mann_kendall()?.p(),
    ),
    row(
        "limit_at",
        "where the fitted line reaches the limit",
        FigureKind::Position,
        |of| Ok(of.forecast()?.at),
    ),
    row(
        "limit_at_low",
        "where the fitted line reaches the limit, lower confidence bound (95 %)",
        FigureKind::Position,
        |of| Ok(of.forecast()?.soonest),
    ),
    row(
        "limit_at_high",
        "where the fitted line reaches the limit, upper confidence bound (95 %)",
        FigureKind::Position,
        |of| Ok(of.forecast()?.latest),
    ),
    row(
        "single_limit_at",
        "where 1 piece in 20 may be beyond the limit",
        FigureKind::Position,
        Drift::single_forecast,
    ),
    row(
        "line_at_last",
        "fitted line at the last reading",
        FigureKind::Reading,
        |of| Ok(of.trend()?.at(of.last_place()?)),
    ),
    row(
        "line_at_last_low",
        "fitted line at the last reading, lower confidence bound (95 %)",
        FigureKind::Reading,
        |of| Ok(of.trend()?.line_bounds(of.last_place()?, CONFIDENCE)?.0),
    ),
    row(
        "line_at_last_high",
        "fitted line at the last reading, upper confidence bound (95 %)",
        FigureKind::Reading,
        |of| Ok(of.trend()?.line_bounds(of.last_place()?, CONFIDENCE)?.1),
    ),
    row(
        "single_at_last_low",
        "prediction interval of the next reading (95 %), lower end",
        FigureKind::Reading,
        |of| Ok(of.trend()?.single_bounds(of.last_place()?, CONFIDENCE)?.0),
    ),
    row(
        "single_at_last_high",
        "prediction interval of the next reading (95 %), upper end",
        FigureKind::Reading,
        |of| Ok(of.trend()?.single_bounds(of.last_place()?, CONFIDENCE)?.1),
    ),
];
