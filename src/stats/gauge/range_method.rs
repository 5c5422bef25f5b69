//! Gauge study by the range method, which is used on paper forms.
//!
//! ```text
//! ev = K1 · mean range of the cells
//! av = √( max(0, (K2 · range of the appraisers' means)² - ev²/(parts · trials)) )
//! pv = K3 · range of the parts' means
//! K1 = 1/d2(trials), or 1/d2*(trials, cells) up to 15 cells;  K2 = 1/d2*(appraisers, 1);  K3 = 1/d2*(parts, 1)
//! ```
//!
//! Source: the measurement-systems-analysis manual of the automotive industry (4th edition; quoted elsewhere, and from
//! memory). The manual rounds K1 to K3 to four digits, so its results differ from ours in the fourth digit.

use super::{Plan, Study};
use crate::stats::constants::{Constants, d2_star};
use crate::stats::sample::float_of;
use crate::stats::{Sample, Undefined, describe};

/// With more cells the mean range is as good as its expectation.
const FEW_CELLS: usize = 15;

/// The study by ranges.
///
/// # Errors
///
/// [`Undefined::OutOfRange`] for more than 100 parts, appraisers or trials.
pub fn by_range(plan: &Plan) -> Result<Study, Undefined> {
    let cells = plan.cells().iter().flatten();
    let ranges = cells.map(range).collect::<Result<Vec<f64>, _>>()?;
    let count = ranges.len();
    let mean_range = ranges.iter().sum::<f64>() / float_of(count);
    let divisor = if count > FEW_CELLS {
        Constants::new(plan.trials())?.d2
    } else {
        d2_star(plan.trials(), count)?.0
    };
    let ev = mean_range / divisor;
    let reproduced =
        range_of_means(&plan.by_appraiser()?)? / d2_star(plan.appraisers().len(), 1)?.0;
    let error = ev * ev / (float_of(plan.parts()) * float_of(plan.trials()));
    let av = (reproduced * reproduced - error).max(0.0).sqrt();
    let pv = range_of_means(&plan.by_part()?)? / d2_star(plan.parts(), 1)?.0;
    let grr = ev.hypot(av);
    Ok(Study {
        method: "range",
        ev,
        av,
        grr,
        pv,
        tv: grr.hypot(pv),
        bounds: None,
        bounds_of_two: None,
        bounds_of_three: None,
        pooled: None,
        tolerance: Err(Undefined::NoLimits),
    })
}

fn range(cell: &Sample) -> Result<f64, Undefined> {
    Ok(describe::max(cell.summary())? - describe::min(cell.summary())?)
}

fn range_of_means(groups: &[Sample]) -> Result<f64, Undefined> {
    let means = groups
        .iter()
        .map(|group| describe::mean(group.summary()))
        .collect::<Result<Vec<f64>, _>>()?;
    let most = means.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let least = means.iter().copied().fold(f64::INFINITY, f64::min);
    Ok(most - least)
}
