//! From a plan to the armed specification, or a refusal that says what to do.

use super::{Refusal, plausible};
use crate::quantity::{Dimension, Quantity};
use crate::spec::uncertainty::Uncertainty;
use crate::spec::{
    ArmedAxis, ArmedInstrument, ArmedSpec, ArmedTool, AxisName, Catalog, Decision, Guard,
    Instrument, Limits, Plan, Row, Terminal, Tool, ToolClass, WireSize, wire,
};

/// An instrument must resolve the tolerance into at least this many counts (common practice, no source).
const LEAST_COUNTS_IN_TOLERANCE: i64 = 5;
/// Under these test uncertainty ratios, in hundredths, the operator is warned.
const RATIO_WANTED: u32 = 400;
const RATIO_POOR: u32 = 200;
/// More pieces than anybody measures by hand in one series.
const MOST_PIECES: u32 = 10_000;

/// A refusal with its remedy.
pub(super) fn refuse(message: impl Into<String>, remedy: impl Into<String>) -> Refusal {
    Refusal {
        message: message.into(),
        remedy: Some(remedy.into()),
    }
}

/// Everything that a plan needs, found in the catalog.
struct Found<'a> {
    plan: &'a Plan,
    terminal: &'a Terminal,
    row: &'a Row,
    wire: WireSize,
    instruments: Vec<&'a Instrument>,
}

/// The specification that `plan` asks `station` to measure by.
pub(super) fn arm(
    catalog: &Catalog,
    station: &str,
    plan: &Plan,
    operator: Option<String>,
) -> Result<ArmedSpec, Refusal> {
    if !(1..=MOST_PIECES).contains(&plan.pieces) {
        let message = format!("got {} pieces, want 1 to {MOST_PIECES}", plan.pieces);
        return Err(refuse(message, "change `pieces` of the plan"));
    }
    let found = find(catalog, station, plan)?;
    let mut warnings = Vec::new();
    let tool = tool(catalog, &found, &mut warnings)?;
    let axes = found
        .plan
        .axes
        .iter()
        .map(|axis| armed_axis(catalog, &found, axis, &mut warnings))
        .collect::<Result<Vec<_>, _>>()?;
    if axes.is_empty() {
        return Err(refuse(
            "the plan names no axis",
            "name what is measured: `axes = [\"core_crimp_height\"]`",
        ));
    }
    let instruments = armed_instruments(&found, &axes);
    warn_of_zero(plan, &instruments, &mut warnings);
    Ok(ArmedSpec {
        station: station.to_owned(),
        plan: plan.id.clone(),
        operator,
        terminal: found.terminal.id.clone(),
        source: found.terminal.source.clone(),
        wire: found.wire,
        purpose: plan.purpose,
        tool,
        axes,
        order: plan.order,
        pieces: plan.pieces,
        decision: plan.decision,
        zero: plan.zero,
        repeat: plan.repeat,
        instruments,
        warnings,
    })
}

fn find<'a>(catalog: &'a Catalog, station: &str, plan: &'a Plan) -> Result<Found<'a>, Refusal> {
    let terminal = catalog.terminal(&plan.terminal).ok_or_else(|| {
        let known = list(catalog.terminals.iter().map(|terminal| terminal.id.clone()));
        let message = format!(
            "no terminal {:?} in any sheet, want one of {known}",
            plan.terminal
        );
        refuse(
            message,
            "correct the plan, or add the terminal's sheet to `sheets`",
        )
    })?;
    let wire = wire::resolve(&plan.wire).map_err(|error| Refusal {
        message: error.to_string(),
        remedy: Some(error.remedy()),
    })?;
    let row = terminal.row(wire.area).ok_or_else(|| {
        let known = list(terminal.rows.iter().map(|row| row.wire.to_string()));
        let message = format!("the sheet of {} has no row for {wire}, want one of {known}", terminal.id);
        refuse(message, "the terminal is not for this wire; take the terminal that is, or correct the sheet from the maker's own")
    })?;
    let instruments = catalog
        .instruments
        .iter()
        .filter(|instrument| instrument.station == station && instrument.kind.dimension().is_some())
        .collect();
    Ok(Found {
        plan,
        terminal,
        row,
        wire,
        instruments,
    })
}

fn list(names: impl Iterator<Item = String>) -> String {
    let names: Vec<_> = names.collect();
    if names.is_empty() {
        "(there is none)".to_owned()
    } else {
        names.join(", ")
    }
}

fn tool(
    catalog: &Catalog,
    found: &Found<'_>,
    warnings: &mut Vec<String>,
) -> Result<Option<ArmedTool>, Refusal> {
    let Some(id) = &found.plan.tool else {
        if found.plan.nest.is_some() {
            return Err(refuse(
                "the plan names a nest but no tool",
                "name the tool too",
            ));
        }
        return Ok(None);
    };
    let tool = catalog.tool(id).ok_or_else(|| {
        let known = list(catalog.tools.iter().map(|tool| tool.id.clone()));
        refuse(
            format!("no tool {id:?}, want one of {known}"),
            "correct the plan, or add it to tools.toml",
        )
    })?;
    if !tool.terminals.is_empty() && !tool.terminals.contains(&found.terminal.id) {
        let message = format!(
            "tool {id} is not for {}, only for {}",
            found.terminal.id,
            tool.terminals.join(", ")
        );
        return Err(refuse(
            message,
            "take the tool that the terminal's maker names",
        ));
    }
    if tool.class == ToolClass::Repair {
        warnings.push(format!(
            "{id} is a repair-class tool: the maker's sheet decides whether its crimps are good, and what else they need"
        ));
    }
    let nest = nest(tool, found)?;
    Ok(Some(ArmedTool {
        id: id.clone(),
        class: tool.class,
        nest,
    }))
}

fn nest(tool: &Tool, found: &Found<'_>) -> Result<Option<String>, Refusal> {
    let area = found.wire.area;
    let fitting = tool.nests.iter().find(|nest| nest.wires.contains(&area));
    let advice = match fitting {
        Some(nest) => format!("its nest for {area} is {}", nest.id),
        None => format!("it has no nest for {area}; take another tool"),
    };
    let Some(id) = &found.plan.nest else {
        return if tool.nests.is_empty() {
            Ok(None)
        } else {
            Err(refuse(
                format!("the plan names no nest of {}", tool.id),
                advice,
            ))
        };
    };
    let nest = tool
        .nests
        .iter()
        .find(|nest| nest.id == *id)
        .ok_or_else(|| {
            let known = list(tool.nests.iter().map(|nest| nest.id.clone()));
            refuse(
                format!("{} has no nest {id:?}, want one of {known}", tool.id),
                advice.clone(),
            )
        })?;
    if !nest.wires.contains(&area) {
        let made_for = list(nest.wires.iter().map(ToString::to_string));
        let message = format!(
            "wrong nest: {id} of {} is for {made_for}, not for {area}",
            tool.id
        );
        return Err(refuse(message, advice));
    }
    Ok(Some(id.clone()))
}

fn armed_axis(
    catalog: &Catalog,
    found: &Found<'_>,
    name: &AxisName,
    warnings: &mut Vec<String>,
) -> Result<ArmedAxis, Refusal> {
    let limits = found.row.limits_of(name).ok_or_else(|| {
        let known = list(found.row.limits.iter().map(|(axis, _)| axis.to_string()));
        let message = format!(
            "the sheet of {} says nothing of {name} for {}, want one of {known}",
            found.terminal.id, found.row.wire
        );
        refuse(
            message,
            "correct the plan's axes, or complete the sheet from the maker's own",
        )
    })?;
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
        plausible,
        guards,
    })
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

fn armed_instruments(found: &Found<'_>, axes: &[ArmedAxis]) -> Vec<ArmedInstrument> {
    let used = |instrument: &&&Instrument| {
        axes.iter()
            .any(|axis| axis.guard_of(&instrument.name).is_some())
    };
    found
        .instruments
        .iter()
        .filter(used)
        .map(|instrument| ArmedInstrument {
            name: instrument.name.clone(),
            unit: instrument.unit,
            resolution: instrument.resolution,
            max_error: instrument.max_error,
            repeatability: instrument.repeatability,
            range: instrument.range,
            zero_must_be_said: axes
                .iter()
                .filter(|axis| axis.guard_of(&instrument.name).is_some())
                .any(|axis| reads_near_zero(axis, instrument.counts(found.plan.zero.band_counts))),
        })
        .collect()
}

/// Whether a value of this axis may lie within the zero band.
fn reads_near_zero(axis: &ArmedAxis, band: i64) -> bool {
    match axis.plausible {
        Some((least, _)) => least.base() <= band,
        // A one-sided minimum of a force: at zero the piece has fallen out, and that is said by a note.
        None => {
            axis.limits.lower().is_none_or(|lower| lower.base() <= band)
                || axis.limits.dimension() == Dimension::Length
        }
    }
}

fn warn_of_zero(plan: &Plan, instruments: &[ArmedInstrument], warnings: &mut Vec<String>) {
    if !plan.zero.closing {
        warnings.push(
            "no closing zero: nothing will vouch for the readings after the last zero".to_owned(),
        );
    }
    for instrument in instruments
        .iter()
        .filter(|instrument| instrument.zero_must_be_said)
    {
        warnings.push(format!(
            "an axis of this plan can read near zero: say each zero of {} (command, card or pedal)",
            instrument.name
        ));
    }
}

/// Whether `quantity` has the dimension of `limits`.
pub(super) fn fits(quantity: Quantity, limits: &Limits) -> bool {
    quantity.dimension() == limits.dimension()
}
