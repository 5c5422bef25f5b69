//! From a plan to the armed specification, or a refusal that says what to do.

mod axis;
mod blocks;
mod care;
mod instruments;
mod pull;
mod tool;

pub(super) use tool::{check_tool, nest_named, tool_named};

use super::{Refusal, by_value};
use crate::entry::ToolInHand;
use crate::quantity::Quantity;
use crate::spec::{
    ArmedAxis, ArmedSpec, ArmedSubject, ArmedTool, Catalog, Crimp, Instrument, Limits, Plan,
    Purpose, Row, Subject, Terminal, WireRequest, WireSize, wire,
};

pub(super) use care::{note_care, note_care_again};

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

/// The parts of a specification in which crimps and gauge blocks differ.
struct Parts<'a> {
    subject: ArmedSubject,
    tool: Option<ArmedTool>,
    axes: Vec<ArmedAxis>,
    /// Those whose values may count.
    instruments: Vec<&'a Instrument>,
    warnings: Vec<String>,
}

/// The specification that `plan` asks `station` to measure by.
pub(super) fn arm(
    catalog: &Catalog,
    station: &str,
    plan: &Plan,
    operator: Option<String>,
    in_hand: Option<&ToolInHand>,
) -> Result<ArmedSpec, Refusal> {
    if !(1..=MOST_PIECES).contains(&plan.pieces) {
        let message = format!("got {} pieces, want 1 to {MOST_PIECES}", plan.pieces);
        return Err(refuse(message, "change `pieces` of the plan"));
    }
    let Parts {
        subject,
        tool,
        axes,
        instruments,
        mut warnings,
    } = match &plan.subject {
        Subject::Crimps { terminal, wire } => {
            crimps(catalog, station, plan, (terminal, wire), in_hand)?
        }
        Subject::Blocks { instrument, blocks } => {
            blocks::parts(catalog, station, plan, instrument, blocks)?
        }
    };
    by_value::refuse_meeting(plan.order, &axes)?;
    let instruments = instruments::armed_instruments(plan, &instruments, &axes);
    instruments::warn_of_zero(plan, &instruments, &mut warnings);
    Ok(ArmedSpec {
        station: station.to_owned(),
        plan: plan.id.clone(),
        operator,
        subject,
        purpose: plan.purpose,
        tool,
        axes,
        order: plan.order,
        pieces: plan.pieces,
        decision: plan.decision,
        zero: plan.zero,
        repeat: plan.repeat,
        opening_zeros: Vec::new(),
        alerts: plan.alerts.clone(),
        instruments,
        warnings,
    })
}

/// What a plan for crimps measures, and with what.
fn crimps<'a>(
    catalog: &'a Catalog,
    station: &str,
    plan: &'a Plan,
    (terminal, wire): (&str, &WireRequest),
    in_hand: Option<&ToolInHand>,
) -> Result<Parts<'a>, Refusal> {
    if plan.purpose == Purpose::Verification {
        return Err(refuse(
            "a verification of crimps, want one of gauge blocks",
            "name `instrument` and `blocks` instead of terminal and wire, or another purpose",
        ));
    }
    let found = find(catalog, station, plan, terminal, wire)?;
    let mut warnings = Vec::new();
    pull::check(plan, &mut warnings)?;
    let tool = tool::tool(catalog, &found, in_hand, &mut warnings)?;
    let axes = found
        .plan
        .axes
        .iter()
        .map(|axis| axis::armed_axis(catalog, &found, axis, &mut warnings))
        .collect::<Result<Vec<_>, _>>()?;
    if axes.is_empty() {
        return Err(refuse(
            "the plan names no axis",
            "name what is measured: `axes = [\"core_crimp_height\"]`",
        ));
    }
    let crimp = Crimp {
        terminal: found.terminal.id.clone(),
        wire: found.wire,
    };
    let source = found.terminal.source.clone();
    Ok(Parts {
        subject: ArmedSubject::Crimps { crimp, source },
        tool,
        axes,
        instruments: found.instruments,
        warnings,
    })
}

fn find<'a>(
    catalog: &'a Catalog,
    station: &str,
    plan: &'a Plan,
    terminal: &str,
    wire: &WireRequest,
) -> Result<Found<'a>, Refusal> {
    let terminal = catalog.terminal(terminal).ok_or_else(|| {
        let known = list(catalog.terminals.iter().map(|terminal| terminal.id.clone()));
        let message = format!("no terminal {terminal:?} in any sheet, want one of {known}");
        refuse(
            message,
            "correct the plan, or add the terminal's sheet to `sheets`",
        )
    })?;
    let wire = wire::resolve(wire).map_err(|error| Refusal {
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
/// Whether `quantity` has the dimension of `limits`.
pub(super) fn fits(quantity: Quantity, limits: &Limits) -> bool {
    quantity.dimension() == limits.dimension()
}
