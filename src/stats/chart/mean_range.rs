//! Chart of means and ranges of subgroups.
//!
//! ```text
//! means:   grand mean ± A2 · mean range       = ± 3 sigma / √n,  sigma = mean range / d2
//! ranges:  D3 · mean range .. D4 · mean range
//! ```
//!
//! Source: NIST/SEMATECH e-Handbook 6.3.2.1, from memory; constants checked against a table.

use super::points::{common_size, first_of, grand_mean, mean_of, positive, range_of};
use super::{Baseline, Chart, ChartKind, Input, Panel};
use crate::stats::constants::Constants;
use crate::stats::{Sample, Undefined};

pub(super) const CHART: ChartKind = ChartKind {
    name: "mean_range",
    words: "means and ranges of subgroups",
    of_subgroups: true,
    panels,
    of_bases: None,
};

fn ranges(groups: &[Sample]) -> Result<Vec<i64>, Undefined> {
    groups.iter().map(range_of).collect()
}

fn panels(input: &Input<'_>) -> Result<Chart, Undefined> {
    let groups = input.groups.subgroups()?;
    let size = common_size(groups)?;
    let constants = Constants::new(size)?;
    let like = groups
        .first()
        .ok_or(Undefined::TooFewGroups { got: 0, want: 1 })?;
    let baseline = if let Some(kept) = input.kept {
        kept
    } else {
        let first = first_of(input, groups);
        let mean_range = mean_of(&ranges(first)?, like)?;
        Baseline {
            center: grand_mean(first)?,
            sigma: positive(mean_range, first)? / constants.d2,
            size,
            points: first.len(),
        }
    };
    let (center, range) = (baseline.center, baseline.sigma * constants.d2);
    let reach = constants.a2() * range;
    let (lower, upper) = constants.d3_d4();
    let in_unit = |range: i64| like.summary().in_unit(range);
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
                "range",
                "ranges of subgroups",
                ranges(groups)?.into_iter().map(in_unit),
                (lower * range, range, upper * range),
            ),
        ],
    ))
}
