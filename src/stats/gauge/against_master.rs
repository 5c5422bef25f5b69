//! Type 1 gauge study: one appraiser measures one master of known size many times.

use crate::quantity::Quantity;
use crate::stats::describe::{mean, sd};
use crate::stats::distribution::StudentT;
use crate::stats::figures::row;
use crate::stats::{CONFIDENCE, Figure, FigureKind, Limits, Sample, Undefined};

/// The share of the tolerance that six standard deviations of the measurement may take (common practice, no source).
const SHARE: f64 = 0.2;

/// Readings of a master.
#[derive(Debug, Clone)]
pub struct Master {
    sample: Sample,
    size: Quantity,
    limits: Limits,
}

impl Master {
    /// Readings of a master of `size`, on an axis with `limits`.
    pub fn new(sample: Sample, size: Quantity, limits: Limits) -> Self {
        Self {
            sample,
            size,
            limits,
        }
    }

    /// Mean minus size of the master.
    pub fn bias(&self) -> Result<f64, Undefined> {
        let all = self.sample.summary();
        Ok(mean(all)? - all.quantity_in_unit(self.size)?)
    }

    fn bias_reach(&self) -> Result<f64, Undefined> {
        let all = self.sample.summary();
        let t = StudentT::new(all.n() - 1.0)?.quantile(0.5 + CONFIDENCE / 2.0)?;
        Ok(t * self.spread()? / all.n().sqrt())
    }

    /// The standard deviation, if it can be divided by.
    fn spread(&self) -> Result<f64, Undefined> {
        crate::stats::describe::positive_sd(self.sample.summary())
    }

    fn width(&self) -> Result<f64, Undefined> {
        self.limits.width_of(self.sample.summary())
    }

    /// `Cg = 0.2 (upper - lower) / (6 sd)`.
    pub fn cg(&self) -> Result<f64, Undefined> {
        Ok(SHARE * self.width()? / (6.0 * self.spread()?))
    }

    /// `Cgk = (0.1 (upper - lower) - |bias|) / (3 sd)`.
    pub fn cgk(&self) -> Result<f64, Undefined> {
        Ok((SHARE / 2.0 * self.width()? - self.bias()?.abs()) / (3.0 * self.spread()?))
    }

    /// The p-value of the bias.
    pub fn bias_p(&self) -> Result<f64, Undefined> {
        let all = self.sample.summary();
        let t = self.bias()? * all.n().sqrt() / self.spread()?;
        Ok(StudentT::new(all.n() - 1.0)?.two_sided(t))
    }
}

/// The figures of `study gauge` with a master. `cg` and `cgk` are from memory, common practice; 1.33 is usually
/// required.
pub const FIGURES: &[Figure<Master>] = &[
    row("n", "readings", FigureKind::Count, |of| {
        Ok(of.sample.summary().n())
    }),
    row("mean", "mean", FigureKind::Reading, |of| {
        mean(of.sample.summary())
    }),
    row("sd", "standard deviation", FigureKind::Reading, |of| {
        sd(of.sample.summary())
    }),
    row(
        "bias",
        "bias (mean minus the size of the master)",
        FigureKind::Reading,
        Master::bias,
    ),
    row(
        "bias_low",
        "bias, lower confidence bound (95 %)",
        FigureKind::Reading,
        |of| Ok(of.bias()? - of.bias_reach()?),
    ),
    row(
        "bias_high",
        "bias, upper confidence bound (95 %)",
        FigureKind::Reading,
        |of| Ok(of.bias()? + of.bias_reach()?),
    ),
    row(
        "bias_p",
        "p of the bias",
        FigureKind::Probability,
        Master::bias_p,
    ),
    row("cg", "Cg (spread)", FigureKind::Ratio, Master::cg),
    row(
        "cgk",
        "Cgk (spread and bias)",
        FigureKind::Ratio,
        Master::cgk,
    ),
];
