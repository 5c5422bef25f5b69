//! Checks references: every name that is used must be defined, and must fit.
//!
//! In: the contents of all files, each read by itself. Out: the faults between them. Plans are checked by [`resolve`],
//! so that a plan without faults can be armed. A reference to a part that could not be read is not reported, because
//! its target may exist.

use super::PortConfig;
use super::faults::{At, Fault, Faults, Place, Role, quoted};
use super::instrument::RawInstrument;
use super::jobs::{self, RawJob};
use super::plan::RawPlan;
use super::production_run::{self, RawRun};
use super::row::RawRow;
use super::sheet::RawTerminal;
use super::study::{self, RawStudy};
use super::tool::RawTool;
use super::uncertainty::RawBudgets;
use super::value::unique;
use crate::quantity::did_you_mean;
use crate::spec::resolve::{Reasons, resolve};
use crate::spec::{
    Axis, AxisName, Catalog, GaugeBlock, Limits, Plan, Purpose, QualificationRule, SheetRow,
    Subject, Terminal, Unarmable, wire,
};

/// The contents of all files, before references are checked.
#[derive(Debug)]
pub(super) struct Raw {
    pub(super) operators: Vec<String>,
    pub(super) stations: Vec<At<String>>,
    pub(super) axes: Vec<Axis>,
    pub(super) budgets: RawBudgets,
    pub(super) instruments: Vec<RawInstrument>,
    pub(super) terminals: Vec<RawTerminal>,
    pub(super) tools: Vec<RawTool>,
    pub(super) plans: Vec<RawPlan>,
    pub(super) jobs: Vec<RawJob>,
    pub(super) runs: Vec<RawRun>,
    pub(super) studies: Vec<RawStudy>,
    pub(super) qualification: Option<QualificationRule>,
}

/// Reports names that are defined twice and names that are not defined.
pub(super) fn references(raw: &Raw, faults: &mut Faults) {
    each_once(raw, faults);
    for instrument in &raw.instruments {
        station_exists(instrument, &raw.stations, faults);
    }
    each_port_once(&raw.instruments, faults);
    no_port_by_number(&raw.instruments, faults);
    jobs::references(&raw.jobs, &raw.plans, faults);
    production_run::references(&raw.runs, &raw.plans, faults);
    study::references(&raw.studies, &raw.plans, faults);
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
    // If there is no station at all, that was reported already.
    if !names.is_empty() && !names.contains(&station.value.as_str()) {
        let got = format!("no station {}", quoted(&station.value));
        let fault = Fault::new(got, "want the name of a [[station]]");
        let help = did_you_mean(&station.value, &names);
        faults.add(&station.place, fault.help(help));
    }
}

/// Refuses ports such as /dev/ttyUSB0: the kernel numbers adapters in the order in which it finds them.
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

/// Checks that each plan can be armed at some station. If it cannot, every reason is reported.
pub(super) fn plans(raw: &Raw, catalog: &Catalog, faults: &mut Faults) {
    for raw_plan in &raw.plans {
        let Some(plan) = &raw_plan.plan else {
            continue; // The subject could not be read, which was reported.
        };
        warn_of_strands(raw_plan, plan, faults);
        warn_of_no_sheet(raw_plan, plan, catalog, faults);
        for why in refused(catalog, plan) {
            if may_follow_from_another_fault(&why, raw, catalog, faults) {
                continue;
            }
            let (place, may_come) = (place_of(raw_plan, &why), why.may_come());
            let row = row_of(&why, raw).map(|row| faults.line_of(&row.place));
            let mut fault = Fault::from(why);
            if let (Some(help), Some(at)) = (&fault.help, row) {
                fault.help = Some(format!("{help}; the row is at {at}"));
            }
            if may_come {
                faults.warn(place, fault);
            } else {
                faults.add(place, fault);
            }
        }
    }
}

/// Warns of factory pieces of a terminal that no sheet has: it may be meant, or its id may be mistyped.
fn warn_of_no_sheet(raw: &RawPlan, plan: &Plan, catalog: &Catalog, faults: &mut Faults) {
    let Subject::Crimps { terminal, .. } = &plan.subject else {
        return;
    };
    let is_without = plan.purpose == Purpose::Reference && catalog.terminal(terminal).is_none();
    if !is_without || faults.is_incomplete(Role::Sheets) {
        return;
    }
    let mut places = raw.places.iter();
    let place = places.find(|(key, ..)| key == "terminal");
    let place = place.map_or(&raw.id.place, |(.., place)| place);
    let got = format!("no sheet has {terminal}: its pieces are measured without verdict");
    let known: Vec<&str> = catalog
        .terminals
        .iter()
        .map(|known| known.id.as_str())
        .collect();
    let fault = Fault::new(
        got,
        "want the id of a [[terminal]] in a sheet, if there is one",
    );
    let help = crate::quantity::meant(terminal, known.iter().copied());
    let usual = "once they are measured, tallyjaw sheet propose makes a row of them";
    faults.warn(place, fault.help(help.unwrap_or_else(|| usual.to_owned())));
}

/// Warns if the make-up of a plan's wire belongs to another size, or to another size as well.
fn warn_of_strands(raw: &RawPlan, plan: &Plan, faults: &mut Faults) {
    let Subject::Crimps { wire, .. } = &plan.subject else {
        return;
    };
    let wire = wire::resolve(wire).ok(); // a faulty size is reported elsewhere
    let doubt = plan.strands.zip(wire);
    let Some(doubt) = doubt.and_then(|(strands, wire)| strands.doubt(&wire)) else {
        return;
    };
    let mut places = raw.places.iter();
    let place = places.find(|(key, ..)| key == "strands");
    let place = place.map_or(&raw.id.place, |(.., place)| place);
    let fault = Fault::new(doubt.to_string(), "want strands and size of the same wire");
    faults.warn(place, fault.help(doubt.remedy()));
}

/// Why a plan cannot be armed, at the station with the fewest reasons; empty if it can.
fn refused(catalog: &Catalog, plan: &Plan) -> Vec<Unarmable> {
    let nowhere = [String::new()]; // The lack of a station was reported.
    let stations = match catalog.stations.as_slice() {
        [] => nowhere.as_slice(),
        stations => stations,
    };
    let at = |station: &String| {
        resolve(catalog, station, plan, None)
            .err()
            .map_or(Vec::new(), Reasons::into_vec)
    };
    let weight = |refused: &Vec<Unarmable>| {
        let for_good = refused.iter().filter(|why| !why.may_come());
        (for_good.count(), refused.len())
    };
    stations
        .iter()
        .map(at)
        .min_by_key(weight)
        .unwrap_or_default()
}

/// Whether the reason may only follow from another fault that was reported.
fn may_follow_from_another_fault(
    why: &Unarmable,
    raw: &Raw,
    catalog: &Catalog,
    faults: &Faults,
) -> bool {
    let unsure_sheets = |id: Option<&String>| {
        let unsure = |known: &RawTerminal| id == Some(&known.id.value) && !known.is_whole;
        faults.is_incomplete(Role::Sheets) || raw.terminals.iter().any(unsure)
    };
    let unsure_tools = |id: Option<&String>| {
        let unsure = |known: &RawTool| id == Some(&known.id.value) && !known.is_whole;
        faults.is_incomplete(Role::Tools) || raw.tools.iter().any(unsure)
    };
    if let Unarmable::NoRow { terminal, .. } | Unarmable::NotLimited { terminal, .. } = why {
        unsure_sheets(Some(terminal))
    } else if let Unarmable::NoNest { tool, .. }
    | Unarmable::WrongNest { tool, .. }
    | Unarmable::NoNestForWire { tool, .. }
    | Unarmable::NestUnnamed { tool, .. } = why
    {
        unsure_tools(Some(tool))
    } else if let Unarmable::NoBudget { .. } | Unarmable::NoBudgetOf { .. } = why {
        !raw.budgets.are_whole
    } else if let Unarmable::NoSuchInstrument { got, .. } = why {
        let mut names = raw
            .instruments
            .iter()
            .filter_map(|known| known.name.as_ref());
        names.any(|name| name.value == *got)
    } else {
        // A configuration without instruments is reported once, at the station; an empty list was reported, too.
        let is_reported_elsewhere = matches!(why, Unarmable::Nothing { .. });
        let no_terminal = matches!(why, Unarmable::NoTerminal { .. });
        let no_tool = matches!(why, Unarmable::NoTool { .. });
        let none_measures = matches!(why, Unarmable::NoInstrument { .. });
        is_reported_elsewhere
            || no_terminal && unsure_sheets(None)
            || no_tool && unsure_tools(None)
            || none_measures && catalog.instruments.is_empty()
    }
}

/// The row that lacks limits, for a second place in the message.
fn row_of<'r>(why: &Unarmable, raw: &'r Raw) -> Option<&'r At<RawRow>> {
    let Unarmable::NotLimited { terminal, wire, .. } = why else {
        return None;
    };
    let mut terminals = raw.terminals.iter();
    let terminal = terminals.find(|known| known.id.value == *terminal)?;
    let mut rows = terminal.rows.iter();
    rows.find(|row| row.value.sizes() == *wire)
}

/// The place in the plan that the reason is about.
fn place_of<'p>(plan: &'p RawPlan, why: &Unarmable) -> &'p Place {
    let item = why.item();
    let same = |text: &str, item: &str| {
        let block = text.parse::<GaugeBlock>();
        text == item || block.is_ok_and(|block| block.size.to_string() == item)
    };
    let of_key = || plan.places.iter().filter(|(key, ..)| key == why.key());
    let of_item = of_key().find(|(_, text, _)| {
        text.as_ref()
            .zip(item.as_ref())
            .is_some_and(|(text, item)| same(text, item))
    });
    let found = of_item.or_else(|| of_key().find(|(_, text, _)| text.is_none()));
    found.map_or(&plan.id.place, |(.., place)| place)
}

impl Raw {
    /// The ports. Call it only for a configuration without faults.
    pub(super) fn ports(&self) -> Vec<PortConfig> {
        let port = |raw: &RawInstrument| {
            Some(PortConfig {
                instrument: raw.name.as_ref()?.value.clone(),
                station: raw.station.as_ref()?.value.clone(),
                selector: raw.port.as_ref()?.value.clone(),
                line: raw.line,
                dtr: raw.dtr,
                rts: raw.rts,
                contact: raw.contact,
            })
        };
        self.instruments.iter().filter_map(port).collect()
    }

    /// The plans, sheets, tools and instruments, as far as they could be read.
    pub(super) fn catalog(&self) -> Catalog {
        let instruments = || self.instruments.iter();
        Catalog {
            stations: self
                .stations
                .iter()
                .map(|name| name.value.clone())
                .collect(),
            axes: self.axes.clone(),
            terminals: self.terminals.iter().map(terminal).collect(),
            plans: self
                .plans
                .iter()
                .filter_map(|raw| raw.plan.clone())
                .collect(),
            tools: self.tools.iter().map(|raw| raw.tool.clone()).collect(),
            operators: self.operators.clone(),
            instruments: instruments()
                .filter_map(|raw| raw.instrument.clone())
                .collect(),
            budgets: self.budgets.budgets.clone(),
            jobs: (!self.jobs.is_empty())
                .then(|| self.jobs.iter().map(|raw| raw.job.clone()).collect()),
            runs: self.runs.iter().map(|raw| raw.run.clone()).collect(),
            qualification: self.qualification,
            signals: instruments().filter_map(|raw| raw.signal.clone()).collect(),
        }
    }
}

fn terminal(raw: &RawTerminal) -> Terminal {
    let with_limits =
        |(name, limits): &(AxisName, Option<Limits>)| Some((name.clone(), limits.clone()?));
    let row = |row: &At<RawRow>| SheetRow {
        sizes: row.value.sizes(),
        limits: row.value.limits.iter().filter_map(with_limits).collect(),
    };
    Terminal {
        id: raw.id.value.clone(),
        name: raw.name.clone(),
        source: raw.source.clone(),
        repair_needs: raw.repair_needs.clone(),
        rows: raw.rows.iter().map(row).collect(),
    }
}
