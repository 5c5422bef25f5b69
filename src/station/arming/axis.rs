//! What is measured: the limits of an axis and how well each instrument can judge by them.

use super::{Found, list, refuse};
use crate::spec::pull_table::PULL_FORCE;
use crate::spec::uncertainty::Uncertainty;
use crate::spec::{ArmedAxis, AxisName, Catalog, Decision, Guard, Instrument, Limits};
use crate::station::{Refusal, plausible};

/// An instrument must resolve the tolerance into at least this many counts (common practice, no source).
const LEAST_COUNTS_IN_TOLERANCE: i64 = 5;
/// Under these test uncertainty ratios, in hundredths, the operator is warned.
const RATIO_WANTED: u32 = 400;
const RATIO_POOR: u32 = 200;

pub(super) fn armed_axis(
    catalog: &Catalog,
    found: &Found<'_>,
    name: &AxisName,
    warnings: &mut Vec<String>,
) -> Result<ArmedAxis, Refusal> {
    let (limits, limits_from) = limits_of(found, name, warnings)?;
    let limits = &limits;
    if found.plan.axes.iter().filter(|axis| *axis == name).count() > 1 {
        return Err(refuse(
            format!("the plan names {name} twice"),
            "name each axis once",
        ));
    }
    let axis = catalog
        .axis(name)
        .ok_or_else(|| refuse(format!("unknown axis {name}"), "declare it: [[axis]]"))?;
    let measuring: Vec<_> = found
        .instruments
        .iter()
        .filter(|instrument| instrument.kind.dimension() == Some(limits.dimension()))
        .collect();
    if measuring.is_empty() {
        let message = format!(
            "no instrument at this station measures a {}",
            limits.dimension()
        );
        return Err(refuse(
            message,
            format!("{name} needs one: add an [[instrument]] to this station"),
        ));
    }
    let guards = measuring
        .into_iter()
        .map(|instrument| guard(found.plan.decision, name, limits, instrument, warnings))
        .collect::<Result<Vec<_>, _>>()?;
    let plausible = plausible::window(limits, axis.plausible_percent);
    Ok(ArmedAxis {
        name: name.clone(),
        limits: limits.clone(),
        limits_from,
        plausible,
        guards,
    })
}

/// The maker's limits, or for a pull force without any those of the table that the plan names, and that.
fn limits_of(
    found: &Found<'_>,
    name: &AxisName,
    warnings: &mut Vec<String>,
) -> Result<(Limits, Option<String>), Refusal> {
    let fallback = found
        .plan
        .pull_force
        .filter(|_| name.as_str() == PULL_FORCE);
    if let Some(limits) = found.row.limits_of(name) {
        warnings.extend(fallback.map(|fallback| {
            let table = fallback.table.name;
            format!("the maker's sheet has a pull force: table {table} of the plan is not used")
        }));
        return Ok((limits.clone(), None));
    }
    let Some(fallback) = fallback else {
        let known = list(found.row.limits.iter().map(|(axis, _)| axis.to_string()));
        let message = format!(
            "the sheet of {} says nothing of {name} for {}, want one of {known}",
            found.terminal.id, found.row.wire
        );
        let remedy = "correct the plan's axes, or complete the sheet from the maker's own";
        return Err(refuse(message, remedy));
    };
    let minimum = fallback.minimum(&found.wire);
    let minimum = minimum.map_err(|error| refuse(error.to_string(), error.remedy()))?;
    let limits = minimum.row.limits();
    let limits = limits.ok_or_else(|| refuse("the table's row is faulty", "name another table"))?;
    warnings.push(format!(
        "the pull force {limits} is from {minimum}: the maker's own figure comes first"
    ));
    if let Some(caution) = minimum.table.caution {
        warnings.push(format!("table {} {caution}", minimum.table.name));
    }
    Ok((limits, Some(minimum.to_string())))
}

fn guard(
    decision: Decision,
    axis: &AxisName,
    limits: &Limits,
    instrument: &Instrument,
    warnings: &mut Vec<String>,
) -> Result<Guard, Refusal> {
    refuse_too_coarse(axis, limits, instrument)?;
    let uncertainty = instrument.max_error.map(|max_error| {
        Uncertainty::new(max_error, instrument.resolution, instrument.repeatability)
    });
    let ratio = uncertainty
        .zip(limits.width())
        .and_then(|(uncertainty, width)| uncertainty.test_uncertainty_ratio_hundredths(width));
    warnings.extend(ratio_warning(axis, limits, instrument, ratio));
    let width = match (decision, uncertainty) {
        (Decision::Simple, _) => 0,
        (Decision::Guarded { factor_milli }, Some(uncertainty)) => {
            uncertainty.guard_band(factor_milli)
        }
        (Decision::Guarded { .. }, None) => {
            let message = format!(
                "guarded judging needs max_error of {}, which is unknown",
                instrument.name
            );
            return Err(refuse(
                message,
                "write `max_error` from its calibration, or use `decision = \"simple\"`",
            ));
        }
    };
    if limits
        .width()
        .is_some_and(|tolerance| width.saturating_mul(2) > tolerance)
    {
        let message = format!(
            "no value of {axis} could pass: the guard band of {} is wider than half the tolerance of {limits}",
            instrument.name
        );
        return Err(refuse(message, "measure with a better instrument"));
    }
    let instrument = instrument.name.clone();
    Ok(Guard {
        instrument,
        width,
        test_uncertainty_ratio_hundredths: ratio,
    })
}

fn refuse_too_coarse(
    axis: &AxisName,
    limits: &Limits,
    instrument: &Instrument,
) -> Result<(), Refusal> {
    let Some(width) = limits.width() else {
        return Ok(());
    };
    let counts = width.checked_div(instrument.resolution.base()).unwrap_or(0);
    if counts >= LEAST_COUNTS_IN_TOLERANCE {
        return Ok(());
    }
    let message = format!(
        "{} is too coarse for {axis}: {counts} counts of {} in the tolerance of {limits}, want at least {LEAST_COUNTS_IN_TOLERANCE}",
        instrument.name, instrument.resolution
    );
    Err(refuse(
        message,
        "measure with an instrument of finer resolution",
    ))
}

fn ratio_warning(
    axis: &AxisName,
    limits: &Limits,
    instrument: &Instrument,
    ratio: Option<u32>,
) -> Option<String> {
    limits.width()?;
    let Some(ratio) = ratio else {
        return instrument.max_error.is_none().then(|| {
            format!("the error of {} is unknown: no test uncertainty ratio for {}; write `max_error` from its calibration", instrument.name, axis.words())
        });
    };
    if ratio >= RATIO_WANTED {
        return None;
    }
    let shown = format!("{}.{:02}", ratio / 100, ratio % 100);
    let (what, advice) = if ratio < RATIO_POOR {
        (
            "far too small",
            "a verdict near a limit means little; use a better instrument or the guarded rule",
        )
    } else {
        (
            "small",
            "a verdict near a limit may be wrong; consider the guarded rule",
        )
    };
    Some(format!(
        "the test uncertainty ratio of {} on {} ({limits}) is {what}: {shown}, want 4 or more; {advice}",
        instrument.name,
        axis.words()
    ))
}
