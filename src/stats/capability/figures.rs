//! The figures of a capability study.

use super::Capability;
use crate::stats::describe::{lag1, max, mean, min, sd};
use crate::stats::distribution::{above, below};
use crate::stats::figures::row;
use crate::stats::sample::float;
use crate::stats::{Figure, FigureKind, Undefined, normality, rounding};

/// The figures of `study capability`; confidence intervals are two-sided, 95 %.
///
/// - `cp`, `pp` need both limits ([`Undefined::OneSided`]). Their bounds are exact
///   ([`super::index::potential_bounds`]).
/// - `cpk`, `ppk` need one limit. Their bounds are Bissell's ([`super::index::centered_bounds`]); `ppk_least` is the
///   exact one-sided bound ([`super::index::lower_bound`]).
/// - `ppm_…` is the share beyond a limit of a normal distribution with mean and standard deviation of all readings.
/// - All need a standard deviation above 0 ([`Undefined::NoSpread`]).
pub const FIGURES: &[Figure<Capability>] = &[
    row("n", "readings", FigureKind::Count, |of| Ok(of.all.n())),
    row("mean", "mean", FigureKind::Reading, |of| mean(&of.all)),
    row(
        "sd",
        "standard deviation of all readings",
        FigureKind::Reading,
        |of| sd(&of.all),
    ),
    row(
        "sd_corrected",
        "standard deviation, corrected for resolution",
        FigureKind::Reading,
        |of| rounding::sd_corrected(&of.all),
    ),
    row(
        "sigma_within",
        "short-term standard deviation",
        FigureKind::Reading,
        |of| Ok(of.within?.sigma),
    ),
    row(
        "cp",
        "Cp (short term, if centred)",
        FigureKind::Ratio,
        |of| of.potential(of.within?),
    ),
    row(
        "cp_low",
        "Cp, lower confidence bound",
        FigureKind::Ratio,
        |of| Ok(of.potential_bounds(of.within?)?.0),
    ),
    row(
        "cp_high",
        "Cp, upper confidence bound",
        FigureKind::Ratio,
        |of| Ok(of.potential_bounds(of.within?)?.1),
    ),
    row("cpk", "Cpk (short term)", FigureKind::Ratio, |of| {
        of.centered(of.within?)
    }),
    row(
        "cpk_low",
        "Cpk, lower confidence bound",
        FigureKind::Ratio,
        |of| Ok(of.centered_bounds(of.within?)?.0),
    ),
    row(
        "cpk_high",
        "Cpk, upper confidence bound",
        FigureKind::Ratio,
        |of| Ok(of.centered_bounds(of.within?)?.1),
    ),
    row(
        "pp",
        "Pp (all readings, if centred)",
        FigureKind::Ratio,
        |of| of.potential(of.overall()?),
    ),
    row(
        "pp_low",
        "Pp, lower confidence bound",
        FigureKind::Ratio,
        |of| Ok(of.potential_bounds(of.overall()?)?.0),
    ),
    row(
        "pp_high",
        "Pp, upper confidence bound",
        FigureKind::Ratio,
        |of| Ok(of.potential_bounds(of.overall()?)?.1),
    ),
    row("ppk", "Ppk (all readings)", FigureKind::Ratio, |of| {
        of.centered(of.overall()?)
    }),
    PPK_LOW,
    PPK_HIGH,
    PPK_LEAST,
    PIECES_NEEDED,
    row(
        "ppm_below",
        "expected below the lower limit, per million",
        FigureKind::PartsPerMillion,
        |of| {
            let (normal, lower) = (of.normal()?, of.limits.lower_of(&of.all)?);
            Ok(1e6 * below((lower - normal.mean) / normal.sd))
        },
    ),
    row(
        "ppm_above",
        "expected above the upper limit, per million",
        FigureKind::PartsPerMillion,
        |of| {
            let (normal, upper) = (of.normal()?, of.limits.upper_of(&of.all)?);
            Ok(1e6 * above((upper - normal.mean) / normal.sd))
        },
    ),
    row(
        "tolerance_k",
        "tolerance interval (99 % of pieces, 95 % confidence), factor k",
        FigureKind::Ratio,
        |of| Ok(of.tolerance()?.factor),
    ),
    row(
        "tolerance_low",
        "tolerance interval, lower end",
        FigureKind::Reading,
        |of| of.tolerance()?.low.ok_or(Undefined::NoLowerLimit),
    ),
    row(
        "tolerance_high",
        "tolerance interval, upper end",
        FigureKind::Reading,
        |of| of.tolerance()?.high.ok_or(Undefined::NoUpperLimit),
    ),
    row(
        "counts_in_tolerance",
        "tolerance over resolution",
        FigureKind::Ratio,
        |of| rounding::counts_in_tolerance(&of.all, &of.limits),
    ),
    row(
        "counts_in_spread",
        "six standard deviations over resolution",
        FigureKind::Ratio,
        |of| rounding::counts_in_spread(&of.all),
    ),
    OUTSIDE,
    OUTSIDE_PERCENT_MOST,
    LAG1,
    NORMALITY_P,
];

/// The figures of `study pull`: those of `study capability` that a lower limit alone has.
pub const PULL_FIGURES: &[Figure<Capability>] = &[
    row("n", "pieces", FigureKind::Count, |of| Ok(of.all.n())),
    row("min", "minimum", FigureKind::Reading, |of| min(&of.all)),
    row("mean", "mean", FigureKind::Reading, |of| mean(&of.all)),
    row("max", "maximum", FigureKind::Reading, |of| max(&of.all)),
    row("sd", "standard deviation", FigureKind::Reading, |of| {
        sd(&of.all)
    }),
    row(
        "ppk",
        "Ppk against the lower limit",
        FigureKind::Ratio,
        |of| of.centered(of.overall()?),
    ),
    PPK_LOW,
    PPK_HIGH,
    PPK_LEAST,
    PIECES_NEEDED,
    row(
        "ppm_below",
        "expected below the lower limit, per million",
        FigureKind::PartsPerMillion,
        |of| {
            let (normal, lower) = (of.normal()?, of.limits.lower_of(&of.all)?);
            Ok(1e6 * below((lower - normal.mean) / normal.sd))
        },
    ),
    row(
        "tolerance_k",
        "tolerance bound (99 % of pieces, 95 % confidence), factor k",
        FigureKind::Ratio,
        |of| Ok(of.tolerance()?.factor),
    ),
    row(
        "tolerance_low",
        "tolerance bound, lower",
        FigureKind::Reading,
        |of| of.tolerance()?.low.ok_or(Undefined::NoLowerLimit),
    ),
    OUTSIDE,
    OUTSIDE_PERCENT_MOST,
    LAG1,
    NORMALITY_P,
];

// Rows that both tables have.

const PPK_LOW: Figure<Capability> = row(
    "ppk_low",
    "Ppk, lower confidence bound",
    FigureKind::Ratio,
    |of| Ok(of.centered_bounds(of.overall()?)?.0),
);
const PPK_HIGH: Figure<Capability> = row(
    "ppk_high",
    "Ppk, upper confidence bound",
    FigureKind::Ratio,
    |of| Ok(of.centered_bounds(of.overall()?)?.1),
);
const PPK_LEAST: Figure<Capability> = row(
    "ppk_least",
    "Ppk, lower confidence bound (95 %, one-sided)",
    FigureKind::Ratio,
    Capability::ppk_least,
);
const PIECES_NEEDED: Figure<Capability> = row(
    "pieces_needed",
    "pieces to demonstrate the required Ppk, by this bound alone",
    FigureKind::Count,
    |of| Ok(float(of.pieces_needed()?.into())),
);
const OUTSIDE: Figure<Capability> = row(
    "outside",
    "pieces outside the limits",
    FigureKind::Count,
    Capability::outside_count,
);
const OUTSIDE_PERCENT_MOST: Figure<Capability> = row(
    "outside_percent_most",
    "share outside, any distribution, upper confidence bound (95 %)",
    FigureKind::Percent,
    Capability::outside_percent,
);
const LAG1: Figure<Capability> = row("lag1", "lag-1 autocorrelation", FigureKind::Ratio, |of| {
    lag1(&of.all)
});
const NORMALITY_P: Figure<Capability> = row(
    "normality_p",
    "p of the normality test, resolution allowed for",
    FigureKind::Probability,
    |of| normality::normality_p(&of.all),
);
