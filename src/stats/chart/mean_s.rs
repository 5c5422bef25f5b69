//! Chart of means and standard deviations of subgroups.
//!
//! ```text
//! means:                grand mean ± A3 · mean sd    = ± 3 sigma / √n,  sigma = mean sd / c4
//! standard deviations:  B3 · mean sd .. B4 · mean sd
//! ```
//!
//! Source: NIST/SEMATECH e-Handbook 6.3.2.1, from memory; constants checked against a table.

use super::points::{baseline, common_size};
use super::{Chart, ChartKind, Input, Panel};
use crate::stats::constants::Constants;
use crate::stats::{Undefined, describe};

pub(super) const CHART: ChartKind = ChartKind {
    name: "mean_s",
    words: "means and standard deviations of subgroups",
    of_subgroups: true,
    panels,
    of_bases: None,
};

fn panels(input: &Input<'_>) -> Result<Chart, Undefined> {
    let groups = input.groups.subgroups()?;
    let constants = Constants::new(common_size(groups)?)?;
    let baseline = baseline(input)?;
    let (center, sd) = (baseline.center, baseline.sigma * constants.c4);
    let reach = constants.a3() * sd;
    let (lower, upper) = constants.b3_b4();
    let sds = groups
        .iter()
        .map(|group| describe::sd(group.summary()))
        .collect::<Result<Vec<f64>, _>>()?;
    Ok(Chart::new(
        baseline,
        vec![
            Panel::level(
                "mean",
                "means of subgroups",
                input.groups.means()?,
                (center - reach, center, center + reach),
            )
            .of_independent_points(),
            Panel::level(
                "s",
                "standard deviations of subgroups",
                sds,
                (lower * sd, sd, upper * sd),
            ),
        ],
    ))
}
