//! Chart of individual readings and moving ranges.
//!
//! ```text
//! individuals:   mean ± 3 sigma,  sigma = mean moving range / d2(2)
//! moving range:  D3 sigma d2 .. D4 sigma d2  about  sigma d2
//! ```
//!
//! Source: NIST/SEMATECH e-Handbook 6.3.2.2 (which uses d2 = 1.128; ours is exact).

use super::points::{baseline_of_singles, moving_ranges};
use super::{Baseline, Chart, ChartKind, Input, Panel};
use crate::stats::Undefined;
use crate::stats::constants::Constants;
use crate::stats::sample::{Scale, base_in, float};

pub(super) const CHART: ChartKind = ChartKind {
    name: "individuals",
    words: "single readings and moving ranges",
    of_subgroups: false,
    panels,
    of_bases: Some(of_bases),
};

fn panels(input: &Input<'_>) -> Result<Chart, Undefined> {
    if input.groups.size()? != 1 {
        return Err(Undefined::NotApplicable {
            why: "the readings are in subgroups",
        });
    }
    let all = input.groups.singles()?;
    of_bases(all.bases(), all.scale(), input.baseline, input.kept)
}

/// The chart of bare readings in base units. Its limits are computed from the first `taken` readings, or are stored
/// ones.
fn of_bases(
    bases: &[i64],
    scale: Scale,
    taken: Option<usize>,
    kept: Option<Baseline>,
) -> Result<Chart, Undefined> {
    let baseline = match kept {
        Some(kept) => kept,
        None => baseline_of_singles(
            taken.and_then(|taken| bases.get(..taken)).unwrap_or(bases),
            scale,
        )?,
    };
    let of_two = Constants::new(2)?;
    let (lower, upper) = of_two.d3_d4();
    let (reach, range) = (3.0 * baseline.sigma, baseline.sigma * of_two.d2);
    let center = baseline.center;
    let in_unit = |base: i64| base_in(scale, float(base.into()));
    let singles = Panel::level(
        "individuals",
        "single readings",
        bases.iter().map(|base| in_unit(*base)),
        (center - reach, center, center + reach),
    );
    let ranges = Panel::level(
        "moving_range",
        "moving ranges",
        moving_ranges(bases).map(in_unit),
        (lower * range, range, upper * range),
    );
    Ok(Chart::new(
        baseline,
        vec![singles.of_independent_points(), ranges.beginning_at(2)],
    ))
}
