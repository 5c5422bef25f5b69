//! The table of figures about limits.

use super::Capability;
use crate::stats::describe::{lag1, max, mean, min, sd};
use crate::stats::distribution::{above, below};
use crate::stats::figures::row;
use crate::stats::sample::float;
use crate::stats::{Figure, FigureKind, Undefined, normality, rounding};

/// The figures of `study capability`; bounds are two-sided at 95 %.
///
/// - `cp`, `pp` need both limits ([`Undefined::OneSided`]); their bounds are exact ([`super::index::potential_bounds`]).
/// - `cpk`, `ppk` need one limit; their bounds are Bissell's ([`super::index::centered_bounds`]), `ppk_least` is
///   the exact one-sided bound ([`super::index::least`]).
/// - `ppm_…`: of a normal distribution with mean and spread of all readings, beyond the limit.
/// - All need a spread ([`Undefined::NoSpread`]).
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
        "the same without the rounding to the step",
        FigureKind::Reading,
        |of| rounding::sd_corrected(&of.all),
    ),
    row(
        "sigma_within",
        "standard deviation within a short time",
        FigureKind::Reading,
        |of| Ok(of.within?.sigma),
    ),
    row(
        "cp",
        "Cp, if it were centred and stayed",
        FigureKind::Ratio,
        |of| of.potential(of.within?),
    ),
    row("cp_low", "Cp, lower bound", FigureKind::Ratio, |of| {
        Ok(of.potential_bounds(of.within?)?.0)
    }),
    row("cp_high", "Cp, upper bound", FigureKind::Ratio, |of| {
        Ok(of.potential_bounds(of.within?)?.1)
    }),
    row("cpk", "Cpk, if it stayed", FigureKind::Ratio, |of| {
        of.centered(of.within?)
    }),
    row("cpk_low", "Cpk, lower bound", FigureKind::Ratio, |of| {
        Ok(of.centered_bounds(of.within?)?.0)
    }),
    row("cpk_high", "Cpk, upper bound", FigureKind::Ratio, |of| {
        Ok(of.centered_bounds(of.within?)?.1)
    }),
    row("pp", "Pp, if it were centred", FigureKind::Ratio, |of| {
        of.potential(of.overall()?)
    }),
    row("pp_low", "Pp, lower bound", FigureKind::Ratio, |of| {
        Ok(of.potential_bounds(of.overall()?)?.0)
    }),
    row("pp_high", "Pp, upper bound", FigureKind::Ratio, |of| {
        Ok(of.potential_bounds(of.overall()?)?.1)
    }),
    row("ppk", "Ppk, as it was", FigureKind::Ratio, |of| {
        of.centered(of.overall()?)
    }),
    PPK_LOW,
    PPK_HIGH,
    PPK_LEAST,
    PIECES_NEEDED,
    row(
        "ppm_below",
        "in a million below the lower limit",
        FigureKind::PartsPerMillion,
        |of| {
            let (normal, lower) = (of.normal()?, of.limits.lower_of(&of.all)?);
            Ok(1e6 * below((lower - normal.mean) / normal.sd))
        },
    ),
    row(
        "ppm_above",
        "in a million above the upper limit",
        FigureKind::PartsPerMillion,
        |of| {
            let (normal, upper) = (of.normal()?, of.limits.upper_of(&of.all)?);
            Ok(1e6 * above((upper - normal.mean) / normal.sd))
        },
    ),
    row(
        "tolerance_k",
        "factor of the interval that holds 99 % of pieces (confidence 95 %)",
        FigureKind::Ratio,
        |of| Ok(of.tolerance()?.factor),
    ),
    row(
        "tolerance_low",
        "its lower end",
        FigureKind::Reading,
        |of| of.tolerance()?.low.ok_or(Undefined::NoLowerLimit),
    ),
    row(
        "tolerance_high",
        "its upper end",
        FigureKind::Reading,
        |of| of.tolerance()?.high.ok_or(Undefined::NoUpperLimit),
    ),
    row(
        "counts_in_tolerance",
        "steps of the instrument in the tolerance",
        FigureKind::Ratio,
        |of| rounding::counts_in_tolerance(&of.all, &of.limits),
    ),
    row(
        "counts_in_spread",
        "steps of the instrument in six standard deviations",
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
    row("min", "lowest", FigureKind::Reading, |of| min(&of.all)),
    row("mean", "mean", FigureKind::Reading, |of| mean(&of.all)),
    row("max", "highest", FigureKind::Reading, |of| max(&of.all)),
    row("sd", "standard deviation", FigureKind::Reading, |of| {
        sd(&of.all)
    }),
    row("ppk", "Ppk against the minimum", FigureKind::Ratio, |of| {
        of.centered(of.overall()?)
    }),
    PPK_LOW,
    PPK_HIGH,
    PPK_LEAST,
    PIECES_NEEDED,
    row(
        "ppm_below",
        "in a million below the minimum",
        FigureKind::PartsPerMillion,
        |of| {
            let (normal, lower) = (of.normal()?, of.limits.lower_of(&of.all)?);
            Ok(1e6 * below((lower - normal.mean) / normal.sd))
        },
    ),
    row(
        "tolerance_k",
        "factor of the bound that 99 % of pieces keep (confidence 95 %)",
        FigureKind::Ratio,
        |of| Ok(of.tolerance()?.factor),
    ),
    row("tolerance_low", "that bound", FigureKind::Reading, |of| {
        of.tolerance()?.low.ok_or(Undefined::NoLowerLimit)
    }),
    OUTSIDE,
    OUTSIDE_PERCENT_MOST,
    LAG1,
    NORMALITY_P,
];

// Rows of both tables.

const PPK_LOW: Figure<Capability> = row("ppk_low", "Ppk, lower bound", FigureKind::Ratio, |of| {
    Ok(of.centered_bounds(of.overall()?)?.0)
});
const PPK_HIGH: Figure<Capability> = row("ppk_high", "Ppk, upper bound", FigureKind::Ratio, |of| {
    Ok(of.centered_bounds(of.overall()?)?.1)
});
const PPK_LEAST: Figure<Capability> = row(
    "ppk_least",
    "Ppk, lower confidence bound (95 %, one-sided)",
    FigureKind::Ratio,
    Capability::ppk_least,
);
const PIECES_NEEDED: Figure<Capability> = row(
    "pieces_needed",
    "pieces to show the index asked for",
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
    "share outside, of any shape, upper confidence bound (95 %)",
    FigureKind::Percent,
    Capability::outside_percent,
);
const LAG1: Figure<Capability> = row("lag1", "lag-1 autocorrelation", FigureKind::Ratio, |of| {
    lag1(&of.all)
});
const NORMALITY_P: Figure<Capability> = row(
    "normality_p",
    "chance of a shape like this if normal, rounded to the step",
    FigureKind::Probability,
    |of| normality::normality_p(&of.all),
);
