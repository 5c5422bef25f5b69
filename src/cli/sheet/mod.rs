//! `tallyjaw sheet`: exit 0 if the terminal or row was found, 2 if not.

mod import;
mod propose;

use super::columns::Columns;
use super::{Context, Exit, Failure, wire};
use crate::quantity::Quantity;
use crate::quantity::did_you_mean;
use crate::spec::wire::{Gauge, WireError, gauge, resolve};
use crate::spec::{Catalog, Limits, SheetRow, SizingSystem, Terminal, WireRequest, WireSize};
use serde_json::{Map, Value, json};
use std::io::Write;

/// Show the limits of a terminal maker's sheet
///
/// Without arguments it lists the terminals; with a terminal its rows; with a wire size that row.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw sheet\n  tallyjaw sheet QF-250-F\n  tallyjaw sheet QF-250-F 2.0 mm²\n  tallyjaw sheet QF-250-F 14 ga --sizing sae_metric\n  tallyjaw sheet import maker.csv",
    args_conflicts_with_subcommands = true
)]
pub(super) struct Sheet {
    #[command(subcommand)]
    command: Option<Command>,
    /// The terminal
    terminal: Option<String>,
    /// The wire: 2.0 mm², 14 ga
    wire: Vec<String>,
    /// The system of a gauge: `sae_metric` or `awg_area`
    #[arg(long, value_name = "SYSTEM", value_parser = wire::sizing)]
    sizing: Option<SizingSystem>,
}

#[derive(Debug, clap::Subcommand)]
enum Command {
    Import(Box<import::Import>),
    Propose(propose::Propose),
}

impl Sheet {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        match self.command {
            Some(Command::Import(import)) => return import.run(context, out),
            Some(Command::Propose(propose)) => return propose.run(context, out),
            None => {}
        }
        let catalog = context.load()?.1.catalog;
        let Some(id) = &self.terminal else {
            return list(context, &catalog, out);
        };
        let terminal = find(&catalog, id)?;
        let rows: Vec<&SheetRow> = if self.wire.is_empty() {
            terminal.rows.iter().collect()
        } else {
            let wire = wire_asked(terminal, &self.wire, self.sizing)?;
            vec![row(terminal, &wire)?]
        };
        if context.json {
            for row in rows {
                writeln!(out, "{}", row_json(terminal, row))?;
            }
        } else {
            show(terminal, &rows, out)?;
        }
        Ok(Exit::Yes)
    }
}

fn find<'c>(catalog: &'c Catalog, id: &str) -> Result<&'c Terminal, Failure> {
    catalog.terminal(id).ok_or_else(|| {
        let terminals = catalog.terminals.iter();
        let ids: Vec<_> = terminals.map(|terminal| terminal.id.as_str()).collect();
        Failure::usage(format!("no terminal {id:?} in any sheet"))
            .with_remedy(did_you_mean(id, &ids))
    })
}

fn row<'t>(terminal: &'t Terminal, wire: &WireSize) -> Result<&'t SheetRow, Failure> {
    terminal.row(wire.area).ok_or_else(|| {
        let gauge = wire.gauge.as_deref().and_then(gauge);
        let meant = gauge.and_then(|gauge| meant(terminal, gauge));
        let has = format!("its rows are for {}", sizes(terminal));
        Failure::usage(format!(
            "the sheet of {} has no row for {wire}",
            terminal.id
        ))
        .with_remedy(match meant {
            Some(meant) => format!("{has}; {meant}"),
            None => has,
        })
    })
}

/// The wire on the command line. A gauge without a sizing system is refused, with the sizes that the sheet has for it.
fn wire_asked(
    terminal: &Terminal,
    words: &[String],
    sizing: Option<SizingSystem>,
) -> Result<WireSize, Failure> {
    let request = WireRequest {
        text: words.join(" "),
        sizing,
    };
    resolve(&request).map_err(|error| {
        let meant = match &error {
            WireError::SizingMissing { gauge } | WireError::NotInSystem { gauge, .. } => {
                meant(terminal, gauge)
            }
            WireError::NotASize { .. }
            | WireError::MakeUp { .. }
            | WireError::UnknownGauge { .. }
            | WireError::AreaWithGaugeSystem { .. } => None,
        };
        Failure::usage(error.to_string()).with_remedy(meant.unwrap_or_else(|| error.remedy()))
    })
}

/// The rows that a gauge may mean, with the words to choose each.
fn meant(terminal: &Terminal, gauge: &Gauge) -> Option<String> {
    let listed: Vec<_> = terminal
        .meanings(gauge)
        .into_iter()
        .map(|(area, sizing)| match sizing {
            Some(sizing) => format!("{area} with --sizing {}", sizing.name()),
            None => format!("{area} if it is ISO-size cable: write {area}"),
        })
        .collect();
    let name = gauge.name;
    (!listed.is_empty()).then(|| format!("for {name} ga the sheet has {}", listed.join(", or ")))
}

fn sizes(terminal: &Terminal) -> String {
    let sizes: Vec<_> = terminal
        .rows
        .iter()
        .map(|row| row.sizes.to_string())
        .collect();
    sizes.join(", ")
}

fn list(context: &Context, catalog: &Catalog, out: &mut dyn Write) -> Result<Exit, Failure> {
    if context.json {
        for terminal in &catalog.terminals {
            for row in &terminal.rows {
                writeln!(out, "{}", row_json(terminal, row))?;
            }
        }
        return Ok(Exit::Yes);
    }
    let mut columns = Columns::new(&["terminal", "name", "sizes", "source"]);
    for terminal in &catalog.terminals {
        let source = terminal.source.clone().unwrap_or_default();
        let name = terminal.name.clone().unwrap_or_default();
        columns.row(vec![terminal.id.clone(), name, sizes(terminal), source]);
    }
    columns.write(out)?;
    Ok(Exit::Yes)
}

fn show(terminal: &Terminal, rows: &[&SheetRow], out: &mut dyn Write) -> Result<(), Failure> {
    write!(out, "{}", terminal.id)?;
    if let Some(name) = &terminal.name {
        write!(out, ", {name}")?;
    }
    if let Some(source) = &terminal.source {
        write!(out, " ({source})")?;
    }
    writeln!(out, "\n")?;
    let mut columns = Columns::new(&["wire", "axis", "limits", "lower", "upper"]);
    for row in rows {
        for (axis, limits) in &row.limits {
            let end = |end: Option<Quantity>| end.map(|end| end.to_string()).unwrap_or_default();
            columns.row(vec![
                row.sizes.to_string(),
                axis.to_string(),
                limits.to_string(),
                end(limits.lower()),
                end(limits.upper()),
            ]);
        }
    }
    columns.write(out)?;
    Ok(())
}

fn row_json(terminal: &Terminal, row: &SheetRow) -> Value {
    let axes: Map<String, Value> = row
        .limits
        .iter()
        .map(|(axis, limits)| (axis.to_string(), limits_json(limits)))
        .collect();
    let mut line = json!({
        "kind": "row",
        "terminal": terminal.id,
        "wire_mm2": wire::number(row.sizes.smallest().mm2()),
        "axes": axes,
    });
    wire::add_up_to(&mut line, row.sizes);
    let said = [("name", &terminal.name), ("source", &terminal.source)];
    for (key, text) in said {
        if let (Some(text), Some(object)) = (text, line.as_object_mut()) {
            object.insert(key.to_owned(), json!(text));
        }
    }
    line
}

/// Limits as `{"text":…,"lower_nm":…}`; a missing limit is left out.
fn limits_json(limits: &Limits) -> Value {
    let unit = match limits.dimension() {
        crate::quantity::Dimension::Length => "nm",
        crate::quantity::Dimension::Force => "mn",
    };
    let mut object = Map::new();
    object.insert("text".to_owned(), json!(limits.to_string()));
    let parts = [
        ("nominal", limits.nominal()),
        ("lower", limits.lower()),
        ("upper", limits.upper()),
    ];
    for (name, part) in parts {
        if let Some(part) = part {
            object.insert(format!("{name}_{unit}"), json!(part.base()));
        }
    }
    Value::Object(object)
}
