//! What refers to what: every name that is used must be there, and fit.
//!
//! In: what the files say, each part read alone. Out: the faults between them. A reference into a
//! part that could not be read is not reported: it may only look missing.

use super::PortConfig;
use super::blocks;
use super::faults::{At, Fault, Faults, Role, quoted};
use super::instrument::RawInstrument;
use super::plan::RawPlan;
use super::sheet::{RawRow, RawTerminal};
use super::tool::RawTool;
use super::value::unique;
use crate::quantity::Area;
use crate::quantity::did_you_mean;
use crate::spec::pull_table::PULL_FORCE;
use crate::spec::{Axis, Catalog, Row, Terminal, WireSize};

/// All files, read.
#[derive(Debug)]
pub(super) struct Raw {
    pub(super) stations: Vec<At<String>>,
    pub(super) axes: Vec<Axis>,
    pub(super) instruments: Vec<RawInstrument>,
    pub(super) terminals: Vec<RawTerminal>,
    pub(super) tools: Vec<RawTool>,
    pub(super) plans: Vec<RawPlan>,
}

/// Finds what is there twice and what is not there at all.
pub(super) fn references(raw: &Raw, faults: &mut Faults) {
    each_once(raw, faults);
    for instrument in &raw.instruments {
        station_exists(instrument, &raw.stations, faults);
    }
    each_port_once(&raw.instruments, faults);
    no_port_by_number(&raw.instruments, faults);
    for plan in &raw.plans {
        plan_fits(plan, raw, faults);
    }
}

fn each_once(raw: &Raw, faults: &mut Faults) {
    let names = raw.instruments.iter();
    let names = names.filter_map(|instrument| instrument.name.clone());
    unique(faults, "instrument", names.collect(), |name| &name.value);
    let ids = raw.terminals.iter().map(|terminal| terminal.id.clone());
    unique(faults, "terminal", ids.collect(), |id| &id.value);
    let ids = raw.tools.iter().map(|tool| tool.id.clone());
    unique(faults, "tool", ids.collect(), |id| &id.value);
    let ids = raw.plans.iter().map(|plan| plan.id.clone());
    unique(faults, "plan", ids.collect(), |id| &id.value);
}

fn station_exists(instrument: &RawInstrument, stations: &[At<String>], faults: &mut Faults) {
    let Some(station) = &instrument.station else {
        return;
    };
    let names: Vec<_> = stations.iter().map(|name| name.value.as_str()).collect();
    // Without any station its lack has been reported.
    if !names.is_empty() && !names.contains(&station.value.as_str()) {
        let got = format!("no station {}", quoted(&station.value));
        let fault = Fault::new(got, "want the name of a [[station]]");
        let help = did_you_mean(&station.value, &names);
        faults.add(&station.place, fault.help(help));
    }
}

/// Such a number goes to whichever adapter is plugged in, or found at the start, first.
fn no_port_by_number(instruments: &[RawInstrument], faults: &mut Faults) {
    for port in instruments.iter().filter_map(|known| known.port.as_ref()) {
        if !port.value.is_by_order() {
            continue;
        }
        let got = format!("{} is whichever adapter was found first", port.value);
        let want = "want the adapter itself, by its serial number";
        let help = "`tallyjaw ports` says what to write, such as port = { usb_serial = \"A1\" }; where it has none, name its socket: /dev/serial/by-path/…";
        faults.warn(&port.place, Fault::new(got, want).help(help));
    }
}

fn each_port_once(instruments: &[RawInstrument], faults: &mut Faults) {
    let mut seen: Vec<(&RawInstrument, _)> = Vec::new();
    for instrument in instruments {
        let Some(port) = &instrument.port else {
            continue;
        };
        match seen.iter().find(|(_, earlier)| *earlier == &port.value) {
            Some((earlier, _)) => {
                let name = earlier.name.as_ref().map_or("another", |name| &name.value);
                let got = format!("{} is the port of {name} already", port.value);
                let fault = Fault::new(got, "want a port for each instrument");
                faults.add(&port.place, fault);
            }
            None => seen.push((instrument, &port.value)),
        }
    }
}

/// One plan against everything else.
fn plan_fits(plan: &RawPlan, raw: &Raw, faults: &mut Faults) {
    if let Some(instrument) = &plan.instrument {
        blocks::instrument_fits(instrument, &raw.instruments, faults);
    }
    axes_exist(plan, &raw.axes, faults);
    let terminal = terminal_of(plan, &raw.terminals, faults);
    let has_row = terminal.is_some_and(|terminal| row_fits(plan, terminal, &raw.axes, faults));
    if let Some(tool) = tool_of(plan, &raw.tools, faults) {
        // A wrong terminal or wire is told once, and not again by the tool that is not for it.
        if terminal.is_some() {
            is_for_terminal(plan, tool, faults);
        }
        if has_row {
            has_nest(plan, tool, faults);
        }
    }
}

fn axes_exist(plan: &RawPlan, axes: &[Axis], faults: &mut Faults) {
    let names: Vec<_> = axes.iter().map(|axis| axis.name.as_str()).collect();
    for axis in &plan.axes {
        if !names.contains(&axis.value.as_str()) {
            let got = format!("no axis {}", quoted(&axis.value));
            let fault = Fault::new(got, "want a built-in axis or one declared by [[axis]]");
            let help = did_you_mean(&axis.value, &names);
            faults.add(&axis.place, fault.help(help));
        }
    }
}

fn terminal_of<'r>(
    plan: &RawPlan,
    terminals: &'r [RawTerminal],
    faults: &mut Faults,
) -> Option<&'r RawTerminal> {
    let name = plan.terminal.as_ref()?;
    let found = terminals
        .iter()
        .find(|terminal| terminal.id.value == name.value);
    if found.is_none() && !faults.is_incomplete(Role::Sheets) {
        let ids: Vec<_> = terminals
            .iter()
            .map(|known| known.id.value.as_str())
            .collect();
        let got = format!("no terminal {}", quoted(&name.value));
        let fault = Fault::new(got, "want the id of a [[terminal]] in a sheet");
        faults.add(&name.place, fault.help(did_you_mean(&name.value, &ids)));
    }
    found
}

/// The terminal has a row for the plan's wire, and the row limits the plan's axes. True unless the
/// row is known to be missing.
fn row_fits(plan: &RawPlan, terminal: &RawTerminal, axes: &[Axis], faults: &mut Faults) -> bool {
    let Some(wire) = &plan.wire else {
        return true;
    };
    let row = terminal
        .rows
        .iter()
        .find(|row| row.value.wire.area == wire.value.area);
    let Some(row) = row else {
        let is_known = !terminal.rows_unknown && !faults.is_incomplete(Role::Sheets);
        if is_known {
            faults.add(&wire.place, no_row(&wire.value, terminal));
        }
        return !is_known;
    };
    if row.value.axes_unknown || faults.is_incomplete(Role::Sheets) {
        return true;
    }
    for axis in &plan.axes {
        let is_known = axes.iter().any(|known| known.name.as_str() == axis.value);
        let limits = &row.value.limits;
        let is_limited = limits.iter().any(|(name, _)| name.as_str() == axis.value);
        let fallback = plan.pull_force.as_ref();
        if let Some(fallback) = fallback.filter(|_| axis.value == PULL_FORCE && !is_limited) {
            if let Err(error) = fallback.value.minimum(&wire.value) {
                let fault = Fault::new(error.to_string(), "want a table with a row for this wire");
                faults.add(&fallback.place, fault.help(error.remedy()));
            }
            continue;
        }
        if is_known && !is_limited {
            let names: Vec<_> = limits.iter().map(|(name, _)| name.as_str()).collect();
            let got = format!(
                "the row of {} for {} does not limit {}",
                terminal.id.value, row.value.wire.area, axis.value
            );
            let want = format!("want one of {}", names.join(", "));
            let at = faults.line_of(&row.place);
            let help = format!("give its limits in the row at {at}, or leave it out here");
            faults.add(&axis.place, Fault::new(got, want).help(help));
        }
    }
    true
}

fn no_row(wire: &WireSize, terminal: &RawTerminal) -> Fault {
    let got = format!("{} has no row for {wire}", terminal.id.value);
    let mut sizes: Vec<Area> = terminal
        .rows
        .iter()
        .map(|row| row.value.wire.area)
        .collect();
    sizes.sort();
    let listed: Vec<_> = sizes.iter().map(Area::to_string).collect();
    let fault = Fault::new(got, format!("want one of its sizes: {}", listed.join(", ")));
    match sizes.iter().find(|size| is_near(wire.area, **size)) {
        Some(near) if wire.gauge.is_some() => fault.help(format!(
            "sizes are never rounded; if {near} is meant, say wire = \"{near}\" without sizing"
        )),
        Some(_) | None => fault,
    }
}

/// Within a twelfth of each other: the same wire under two systems, more likely than not.
fn is_near(one: Area, other: Area) -> bool {
    let (one, other) = (one.square_micrometres(), other.square_micrometres());
    one.abs_diff(other) <= one.max(other) / 12
}

fn tool_of<'r>(plan: &RawPlan, tools: &'r [RawTool], faults: &mut Faults) -> Option<&'r RawTool> {
    let name = plan.tool.as_ref()?;
    let found = tools.iter().find(|tool| tool.id.value == name.value);
    if found.is_none() && !faults.is_incomplete(Role::Tools) {
        let ids: Vec<_> = tools.iter().map(|tool| tool.id.value.as_str()).collect();
        let got = format!("no tool {}", quoted(&name.value));
        let fault = Fault::new(got, "want the id of a [[tool]]");
        faults.add(&name.place, fault.help(did_you_mean(&name.value, &ids)));
    }
    found
}

/// The tool is for the plan's terminal.
fn is_for_terminal(plan: &RawPlan, raw: &RawTool, faults: &mut Faults) {
    let tool = &raw.tool;
    if let (Some(name), Some(terminal)) = (&plan.tool, &plan.terminal)
        && !tool.terminals.is_empty()
        && !tool.terminals.contains(&terminal.value)
    {
        let got = format!("tool {} is not for terminal {}", tool.id, terminal.value);
        let want = format!(
            "want a tool for it; this one is for {}",
            tool.terminals.join(", ")
        );
        faults.add(&name.place, Fault::new(got, want));
    }
}

/// The nest, or some nest where none is named, is for the plan's wire.
fn has_nest(plan: &RawPlan, raw: &RawTool, faults: &mut Faults) {
    if raw.nests_unknown || faults.is_incomplete(Role::Tools) {
        return;
    }
    match &plan.nest {
        Some(nest) => nest_fits(plan, nest, raw, faults),
        None => some_nest_fits(plan, raw, faults),
    }
}

fn nest_fits(plan: &RawPlan, name: &At<String>, raw: &RawTool, faults: &mut Faults) {
    let tool = &raw.tool;
    let Some(nest) = tool.nests.iter().find(|nest| nest.id == name.value) else {
        let ids: Vec<_> = tool.nests.iter().map(|nest| nest.id.as_str()).collect();
        let got = format!("tool {} has no nest {}", tool.id, quoted(&name.value));
        let fault = Fault::new(got, "want the id of one of its nests");
        faults.add(&name.place, fault.help(did_you_mean(&name.value, &ids)));
        return;
    };
    let Some(wire) = &plan.wire else {
        return;
    };
    if nest.wires.contains(&wire.value.area) || raw.unsure_nests.contains(&nest.id) {
        return;
    }
    let sizes: Vec<_> = nest.wires.iter().map(Area::to_string).collect();
    let got = format!("nest {} of {} is not for {}", nest.id, tool.id, wire.value);
    let fault = Fault::new(
        got,
        format!("want a nest for it; this one is for {}", sizes.join(", ")),
    );
    let fitting = tool
        .nests
        .iter()
        .find(|nest| nest.wires.contains(&wire.value.area));
    let help = fitting.map(|nest| format!("nest {:?} of this tool is for it", nest.id));
    faults.add(&name.place, fault.help_of(help));
}

fn some_nest_fits(plan: &RawPlan, raw: &RawTool, faults: &mut Faults) {
    let tool = &raw.tool;
    let (Some(name), Some(wire)) = (&plan.tool, &plan.wire) else {
        return;
    };
    let fits = |area| tool.nests.iter().any(|nest| nest.wires.contains(&area));
    if tool.nests.is_empty() || !raw.unsure_nests.is_empty() || fits(wire.value.area) {
        return;
    }
    let mut sizes: Vec<Area> = tool
        .nests
        .iter()
        .flat_map(|nest| nest.wires.clone())
        .collect();
    sizes.sort();
    sizes.dedup();
    let listed: Vec<_> = sizes.iter().map(Area::to_string).collect();
    let got = format!("no nest of {} is for {}", tool.id, wire.value);
    let want = format!("want a tool for it; this one is for {}", listed.join(", "));
    faults.add(&name.place, Fault::new(got, want));
}

impl Raw {
    /// The ports and the catalog; only for a configuration without faults.
    pub(super) fn into_parts(self) -> (Vec<PortConfig>, Catalog) {
        let mut ports = Vec::new();
        let (mut instruments, mut signals) = (Vec::new(), Vec::new());
        for raw in self.instruments {
            let (Some(name), Some(station), Some(port)) = (raw.name, raw.station, raw.port) else {
                continue; // a faulty one has been reported
            };
            ports.push(PortConfig {
                instrument: name.value,
                station: station.value,
                selector: port.value,
                line: raw.line,
                dtr: raw.dtr,
                rts: raw.rts,
                contact: raw.contact,
            });
            instruments.extend(raw.instrument);
            signals.extend(raw.signal);
        }
        let catalog = Catalog {
            stations: self.stations.into_iter().map(|name| name.value).collect(),
            axes: self.axes,
            terminals: self.terminals.into_iter().map(terminal).collect(),
            plans: self.plans.into_iter().filter_map(|raw| raw.plan).collect(),
            tools: self.tools.into_iter().map(|raw| raw.tool).collect(),
            instruments,
            signals,
        };
        (ports, catalog)
    }
}

fn terminal(raw: RawTerminal) -> Terminal {
    Terminal {
        id: raw.id.value,
        source: raw.source,
        repair_needs: raw.repair_needs,
        rows: raw
            .rows
            .into_iter()
            .map(|row| self::row(row.value))
            .collect(),
    }
}

fn row(raw: RawRow) -> Row {
    let with_limits = |(name, limits): (_, Option<_>)| Some((name, limits?));
    Row {
        wire: raw.wire.area,
        limits: raw.limits.into_iter().filter_map(with_limits).collect(),
    }
}
