//! Gauge study by two-way analysis of variance, with parts and appraisers as random factors.
//!
//! ```text
//! ev² = MSE
//! av² = max(0, (MSA - MSAP)/(parts · trials)) + max(0, (MSAP - MSE)/trials)
//! pv² = max(0, (MSP - MSAP)/(appraisers · trials))
//! ```
//!
//! An interaction with a p-value above 25 % is pooled with the error first. Source: as for the range method; checked
//! against an independent computation to ten digits.

use super::bounds::{Term, difference_bounds, sum_bounds};
use super::{Bounds, Plan, Study};
use crate::stats::distribution::FisherF;
use crate::stats::sample::{base_in, float, float_of};
use crate::stats::{CONFIDENCE, Sample, Undefined};

/// An interaction with a larger p-value is pooled with the error.
const POOLED_OVER: f64 = 0.25;

/// A mean square.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Square {
    /// Its degrees of freedom.
    pub freedom: f64,
    /// Sum of squares over degrees of freedom, in the squared unit of the readings.
    pub mean: f64,
}

impl Square {
    /// The sum of squares, in the squared unit of the readings.
    pub fn sum(&self) -> f64 {
        self.mean * self.freedom
    }
}

/// A line of the table of the analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Name for programs, which never changes.
    pub name: &'static str,
    /// Degrees of freedom and mean square.
    pub square: Square,
    /// F and its p-value.
    pub tested: Option<(f64, f64)>,
}

/// The table of the analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Table {
    /// Variation between parts.
    pub parts: Square,
    /// Variation between appraisers.
    pub appraisers: Square,
    /// Variation between cells that parts and appraisers do not explain.
    pub interaction: Square,
    /// Variation within cells.
    pub error: Square,
    /// The p-value of the interaction.
    pub interaction_p: f64,
}

impl Table {
    /// Computes the table. Sums are exact integers up to the last division of each.
    ///
    /// # Errors
    ///
    /// [`Undefined::NoSpread`] if the readings of each cell are equal.
    pub fn new(plan: &Plan) -> Result<Self, Undefined> {
        let count = plan.all().count();
        let total = plan.all().summary().moments().total();
        let pivot = total / i128::from(count);
        let squares = |groups: &[Sample]| {
            let terms = groups.iter().map(|group| {
                let n = i128::from(group.count());
                let sum = float(group.summary().moments().total() - pivot * n);
                sum * sum / float(n)
            });
            terms.sum::<f64>()
        };
        let cells: Vec<Sample> = plan.cells().iter().flatten().cloned().collect();
        let rest = float(total - pivot * i128::from(count));
        let middle = rest * rest / float(count.into());
        let (of_parts, of_appraisers) = (
            squares(&plan.by_part()?) - middle,
            squares(&plan.by_appraiser()?) - middle,
        );
        let of_cells = squares(&cells) - middle;
        let mut within = 0.0;
        for cell in &cells {
            within += cell.summary().moments().squared_deviations()?;
        }
        if within <= 0.0 {
            return Err(Undefined::NoSpread { count });
        }
        let scale = plan.all().scale();
        let square = |sum: f64, freedom: f64| Square {
            freedom,
            mean: base_in(scale, base_in(scale, sum.max(0.0))) / freedom,
        };
        let (p, a) = (float_of(plan.parts()), float_of(plan.appraisers().len()));
        let r = float_of(plan.trials());
        let interaction = square(of_cells - of_parts - of_appraisers, (p - 1.0) * (a - 1.0));
        let error = square(within, p * a * (r - 1.0));
        let f = FisherF::new(interaction.freedom, error.freedom)?;
        Ok(Self {
            parts: square(of_parts, p - 1.0),
            appraisers: square(of_appraisers, a - 1.0),
            interaction,
            error,
            interaction_p: f.above(interaction.mean / error.mean),
        })
    }

    /// One line for each source, as textbooks print it: name, degrees of freedom, mean square, F and p-value. Parts and
    /// appraisers are tested against the interaction, or if that is pooled, against the pooled error.
    pub fn lines(&self, pooled: bool) -> Vec<Line> {
        let beside = if pooled {
            self.pooled()
        } else {
            self.interaction
        };
        let tested = |name: &'static str, square: Square, against: Square| {
            let f = square.mean / against.mean;
            let chance = FisherF::new(square.freedom, against.freedom);
            let chance = chance.ok().filter(|_| f.is_finite()).map(|of| of.above(f));
            Line {
                name,
                square,
                tested: chance.map(|chance| (f, chance)),
            }
        };
        let alone = |name: &'static str, square: Square| Line {
            name,
            square,
            tested: None,
        };
        let mut lines = vec![
            tested("parts", self.parts, beside),
            tested("appraisers", self.appraisers, beside),
            tested("interaction", self.interaction, self.error),
            alone("error", self.error),
        ];
        if pooled {
            lines.push(alone("pooled_error", self.pooled()));
        }
        lines
    }

    /// Interaction and error pooled.
    fn pooled(&self) -> Square {
        let freedom = self.interaction.freedom + self.error.freedom;
        let sum = self.interaction.sum() + self.error.sum();
        Square {
            freedom,
            mean: sum / freedom,
        }
    }
}

/// The study by analysis of variance. The interaction is pooled with the error if its p-value is above 25 %, unless
/// `pool` decides it.
///
/// # Errors
///
/// As [`Table::new`].
pub fn by_anova(plan: &Plan, pool: Option<bool>) -> Result<(Table, Study), Undefined> {
    let table = Table::new(plan)?;
    let pooled = pool.unwrap_or(table.interaction_p > POOLED_OVER);
    let error = if pooled { table.pooled() } else { table.error };
    let beside = if pooled { error } else { table.interaction };
    let per_appraiser = float_of(plan.parts()) * float_of(plan.trials());
    let per_part = float_of(plan.appraisers().len()) * float_of(plan.trials());
    let r = float_of(plan.trials());
    let between = ((table.appraisers.mean - beside.mean) / per_appraiser).max(0.0);
    let crossed = if pooled {
        0.0
    } else {
        ((table.interaction.mean - error.mean) / r).max(0.0)
    };
    let parts = ((table.parts.mean - beside.mean) / per_part).max(0.0);
    let (ev, av, pv) = (error.mean.sqrt(), (between + crossed).sqrt(), parts.sqrt());
    let grr = ev.hypot(av);
    // This number of bounds holds jointly at the required confidence (Bonferroni).
    let joint = |together: f64| {
        let confidence = 1.0 - (1.0 - CONFIDENCE) / together;
        bounds(&table, (error, beside, pooled), plan, confidence)
    };
    let study = Study {
        method: "anova",
        ev,
        av,
        grr,
        pv,
        tv: grr.hypot(pv),
        bounds: Some(joint(1.0)?),
        bounds_of_two: Some(joint(2.0)?),
        bounds_of_three: Some(joint(3.0)?),
        pooled: Some(pooled),
        tolerance: Err(Undefined::NoLimits),
    };
    Ok((table, study))
}

fn bounds(
    table: &Table,
    (error, beside, pooled): (Square, Square, bool),
    plan: &Plan,
    confidence: f64,
) -> Result<Bounds, Undefined> {
    let (p, a) = (float_of(plan.parts()), float_of(plan.appraisers().len()));
    let r = float_of(plan.trials());
    let term = |square: Square, factor: f64| Term {
        mean: square.mean * factor,
        freedom: square.freedom,
    };
    let of_appraisers = term(table.appraisers, 1.0 / (p * r));
    let av = if pooled {
        difference_bounds(&[of_appraisers], &[term(beside, 1.0 / (p * r))], confidence)?
    } else {
        // (MSA - MSAP)/(pr) + (MSAP - MSE)/r
        let gained = term(table.interaction, (p - 1.0) / (p * r));
        difference_bounds(
            &[of_appraisers, gained],
            &[term(error, 1.0 / r)],
            confidence,
        )?
    };
    let grr = if pooled {
        sum_bounds(
            &[of_appraisers, term(error, 1.0 - 1.0 / (p * r))],
            confidence,
        )?
    } else {
        let gained = term(table.interaction, (p - 1.0) / (p * r));
        sum_bounds(
            &[of_appraisers, gained, term(error, 1.0 - 1.0 / r)],
            confidence,
        )?
    };
    let pv = difference_bounds(
        &[term(table.parts, 1.0 / (a * r))],
        &[term(beside, 1.0 / (a * r))],
        confidence,
    )?;
    let ev = sum_bounds(&[term(error, 1.0)], confidence)?;
    let root = |(low, high): (f64, f64)| (low.max(0.0).sqrt(), high.max(0.0).sqrt());
    Ok(Bounds {
        ev: root(ev),
        av: root(av),
        grr: root(grr),
        pv: root(pv),
    })
}
