//! The figures of `study regression`.

use super::Regression;
use crate::stats::figures::row;
use crate::stats::sample::float_of;
use crate::stats::{Figure, FigureKind};

/// The figures of `study regression`. x is the quantity across, y the one that depends on it.
pub const FIGURES: &[Figure<Regression>] = &[
    row("n", "pairs", FigureKind::Count, |of| Ok(of.trend.n)),
    row("levels", "different x", FigureKind::Count, |of| {
        Ok(float_of(of.levels().len()))
    }),
    row("slope", "slope", FigureKind::Slope, |of| Ok(of.slope())),
    row(
        "slope_low",
        "slope, lower confidence bound (95 %)",
        FigureKind::Slope,
        |of| Ok(of.slope_bounds()?.0),
    ),
    row(
        "slope_high",
        "slope, upper confidence bound (95 %)",
        FigureKind::Slope,
        |of| Ok(of.slope_bounds()?.1),
    ),
    row("slope_p", "p of the slope", FigureKind::Probability, |of| {
        of.slope_p()
    }),
    row(
        "intercept",
        "intercept, the line at x = 0",
        FigureKind::Reading,
        |of| Ok(of.at(0.0)),
    ),
    row(
        "intercept_low",
        "intercept, lower confidence bound (95 %)",
        FigureKind::Reading,
        |of| Ok(of.line_bounds(0.0)?.0),
    ),
    row(
        "intercept_high",
        "intercept, upper confidence bound (95 %)",
        FigureKind::Reading,
        |of| Ok(of.line_bounds(0.0)?.1),
    ),
    row(
        "residual_sd",
        "standard deviation about the fitted line",
        FigureKind::Reading,
        |of| Ok(of.residual_sd()),
    ),
    row(
        "r_squared",
        "R², share of the variation that the line explains",
        FigureKind::Ratio,
        Regression::r_squared,
    ),
    row(
        "lack_of_fit_f",
        "F of the lack of fit",
        FigureKind::Ratio,
        |of| Ok(of.lack_of_fit()?.f),
    ),
    row(
        "lack_of_fit_df",
        "degrees of freedom of the lack of fit",
        FigureKind::Whole,
        |of| Ok(of.lack_of_fit()?.freedom),
    ),
    row(
        "pure_error_df",
        "degrees of freedom of readings with the same x",
        FigureKind::Whole,
        |of| Ok(of.lack_of_fit()?.pure_freedom),
    ),
    row(
        "pure_error_sd",
        "standard deviation of readings with the same x",
        FigureKind::Reading,
        |of| Ok(of.lack_of_fit()?.pure_sd),
    ),
    row(
        "lack_of_fit_p",
        "p of the lack of fit",
        FigureKind::Probability,
        |of| Ok(of.lack_of_fit()?.p),
    ),
    row(
        "residuals_p",
        "p of a normal distribution about the line",
        FigureKind::Probability,
        Regression::residuals_p,
    ),
    row(
        "even_spread_p",
        "p of an even spread about the line",
        FigureKind::Probability,
        Regression::even_spread_p,
    ),
    row(
        "x_min",
        "lowest x that was measured",
        FigureKind::Position,
        |of| Ok(of.x.summary().in_unit(of.ends().0)),
    ),
    row(
        "x_max",
        "highest x that was measured",
        FigureKind::Position,
        |of| Ok(of.x.summary().in_unit(of.ends().1)),
    ),
    row(
        "keeps_from",
        "lowest x that keeps the lower limit",
        FigureKind::Position,
        |of| Ok(of.x.summary().in_unit(of.shown_range()?.from)),
    ),
    row(
        "keeps_to",
        "highest x that keeps the lower limit",
        FigureKind::Position,
        |of| Ok(of.x.summary().in_unit(of.shown_range()?.to)),
    ),
];
