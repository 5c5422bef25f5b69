//! `tallyjaw wire`: exit 0 if the size was found, 1 if a make-up may not be of the printed size, 2 if the size does not
//! exist.

mod crimped;
mod made_up;

use super::columns::Columns;
use super::{Context, Exit, Failure};
use crate::quantity::{Area, Decimal};
use crate::spec::pull_table::{PULL_TABLES, PullRow, PullTable};
use crate::spec::wire::{
    self, Gauge, Strands, WireError, nearest_awg, resolve, table, three_digits,
};
use crate::spec::{Sizes, SizingSystem, WireRequest, WireSize};
use serde_json::{Value, json};
use std::io::Write;

const SOURCES: &str = "\
sae_metric  metric designation of automotive low-voltage cable (SAE J1128 practice; seen second-hand)
awg_area    d = 0.127 mm · 92^((36-n)/39) (ASTM B258, from memory), as an area
ISO-size    what a vehicle maker's wiring manual lists (seen second-hand); no sizing system, give the mm²
Tables pair gauges with mm² in other ways too. The print on the wire decides.";

const NOMINAL: &str =
    "The size of a wire is nominal: with its make-up (19x0.37) the area is that of its strands.";

const PULL_NOTE: &str = "If the maker's sheet has no pull force, a plan can name a table: pull_force_table. A value of the sheet is always preferred.";

/// Resolve a wire size, or list every gauge with its sizes
///
/// A gauge is a different size in each system, so the system is named and never assumed. A gauge is shown with
/// the minimum pull forces of published tables.
///
/// With the dimensions of a crimp, or areas that were measured in its cross-section: how much of the conductor's area is
/// left in it. The crimp height of the maker's sheet decides, not this figure.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw wire                            list every gauge\n  tallyjaw wire 16 ga                      its size in both systems\n  tallyjaw wire 16 ga --sizing sae_metric  its size in one\n  tallyjaw wire 2.0 mm²                    the nearest gauges\n  tallyjaw wire 19x0.37                    strands and their diameter in mm: area, and sizes near it\n  tallyjaw wire 19x0.37 --printed \"2.0 mm²\"                        is it that size?\n  tallyjaw wire 19x0.37 --crimp 1.62x2.40 --form-factor 0.85 --barrel \"1.6 mm²\""
)]
pub(super) struct Wire {
    /// A size: 16 ga, 2/0 AWG, 2.0 mm²; or a make-up: 19x0.37
    size: Vec<String>,
    /// The system of a gauge: `sae_metric` or `awg_area`
    #[arg(long, value_name = "SYSTEM", value_parser = sizing)]
    sizing: Option<SizingSystem>,
    /// The size that is printed on the wire, to check a make-up against
    #[arg(long, value_name = "SIZE")]
    printed: Option<String>,
    #[command(flatten)]
    crimp: crimped::CrimpOptions,
}

/// The sizing system with this name.
pub(super) fn sizing(name: &str) -> Result<SizingSystem, String> {
    SizingSystem::from_name(name).ok_or_else(|| {
        let names = SizingSystem::ALL.map(SizingSystem::name);
        format!("want {}", names.join(", "))
    })
}

fn no_size(error: &WireError) -> Failure {
    Failure::usage(error.to_string()).with_remedy(error.remedy())
}

impl Wire {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let crimp = self.crimp.crimp()?;
        if self.size.is_empty() && (crimp.is_some() || self.printed.is_some()) {
            return Err(Failure::usage("no wire was named")
                .with_remedy("name its size or its make-up first: tallyjaw wire 19x0.37"));
        }
        if self.size.is_empty() {
            return list(context, self.sizing, out);
        }
        let said = self.size.join(" ");
        if said.contains(['x', 'X', '×', '*']) {
            let strands = said.parse::<Strands>();
            let strands = strands.map_err(|error| Failure::usage(error.to_string()))?;
            let printed = self.printed.map(|text| WireRequest {
                text,
                sizing: self.sizing,
            });
            let printed = printed.as_ref().map(resolve).transpose();
            let printed = printed.map_err(|error| no_size(&error))?;
            let exit = made_up::show(strands, printed.as_ref(), context, out)?;
            if let Some(crimp) = crimp {
                crimp.show(strands.area(), context, out)?;
            }
            return Ok(exit);
        }
        if self.printed.is_some() {
            return Err(Failure::usage("--printed is checked against a make-up")
                .with_remedy("name the strands and their diameter: tallyjaw wire 19x0.37 --printed \"2.0 mm²\""));
        }
        let request = |sizing| WireRequest {
            text: said.clone(),
            sizing,
        };
        let found = match resolve(&request(self.sizing)) {
            Ok(wire) => vec![wire],
            Err(WireError::SizingMissing { .. }) if crimp.is_none() => {
                [SizingSystem::SaeMetric, SizingSystem::AwgArea]
                    .into_iter()
                    .filter_map(|sizing| resolve(&request(Some(sizing))).ok())
                    .collect()
            }
            Err(error) => return Err(no_size(&error)),
        };
        for wire in &found {
            if context.json {
                writeln!(out, "{}", wire_json(wire))?;
            } else if wire.gauge.is_some() {
                writeln!(out, "{wire}, sizing = {:?}", wire.sizing.name())?;
            } else {
                writeln!(out, "{}", near(wire.area))?;
            }
        }
        let gauge = found.first().and_then(|wire| wire.gauge.as_deref());
        if let Some(gauge) = gauge.and_then(wire::gauge)
            && !context.json
        {
            beside(gauge, out)?;
        }
        if let (Some(crimp), Some(wire)) = (crimp, found.first()) {
            crimp.show(wire.area, context, out)?;
            if !context.json {
                writeln!(out, "{NOMINAL}")?;
            }
        }
        Ok(Exit::Yes)
    }
}

/// Writes more about a gauge: sizes in other tables, and published pull forces.
fn beside(gauge: &Gauge, out: &mut dyn Write) -> Result<(), Failure> {
    if let Some(iso) = gauge.iso_pairing {
        let name = gauge.name;
        writeln!(
            out,
            "{name} ga of ISO-size cable is listed as {iso}; if that is meant, write wire = \"{iso}\""
        )?;
    }
    let mut columns = Columns::new(&["pull force", "at least", "in N", "source"]);
    let mut is_listed = false;
    for (table, row) in pull_rows(gauge) {
        is_listed = true;
        let newtons = row.force().map(|force| force.to_string());
        columns.row(vec![
            format!("{}, AWG {}", table.name, row.gauge),
            format!("{} {}", row.printed, row.unit),
            newtons.unwrap_or_default(),
            format!("{}: {}", table.title, table.note),
        ]);
    }
    if is_listed {
        writeln!(out)?;
        columns.write(out)?;
        writeln!(out, "{PULL_NOTE}")?;
    }
    Ok(())
}

fn pull_rows(gauge: &Gauge) -> impl Iterator<Item = (&'static PullTable, &'static PullRow)> {
    let name = gauge.name;
    PULL_TABLES.iter().filter_map(move |table| {
        let row = table.rows.iter().find(|row| row.gauge == name)?;
        Some((table, row))
    })
}

fn list(
    context: &Context,
    sizing: Option<SizingSystem>,
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    let listed = table()
        .iter()
        .filter(|gauge| sizing.is_none_or(|sizing| gauge.area(sizing).is_some()));
    if context.json {
        for gauge in listed {
            writeln!(out, "{}", gauge_json(gauge))?;
        }
        return Ok(Exit::Yes);
    }
    let mut columns = Columns::new(&["gauge", "sae_metric", "awg_area", "ISO-size"]);
    for gauge in listed {
        let metric = gauge.sae_metric.map(|area| area.to_string());
        columns.row(vec![
            format!("{} ga", gauge.name),
            metric.unwrap_or_default(),
            format!("{} mm²", three_digits(gauge.awg_area)),
            gauge
                .iso_pairing
                .map(|area| area.to_string())
                .unwrap_or_default(),
        ]);
    }
    columns.write(out)?;
    writeln!(out, "\n{SOURCES}")?;
    Ok(Exit::Yes)
}

/// The gauges that an area corresponds to, in words.
pub(super) fn near(area: Area) -> String {
    let named = |size: fn(&Gauge) -> Option<Area>| {
        let gauge = table().iter().find(|gauge| size(gauge) == Some(area))?;
        Some(format!("{} ga", gauge.name))
    };
    let mut parts = match named(|gauge| gauge.sae_metric) {
        Some(gauge) => vec![format!("the SAE metric size of {gauge}")],
        None => vec!["no SAE metric size".to_owned()],
    };
    let iso = named(|gauge| gauge.iso_pairing);
    parts.extend(iso.map(|gauge| format!("listed as {gauge} of ISO-size cable")));
    parts.extend(nearest_awg(area).map(|gauge| {
        let awg = three_digits(gauge.awg_area);
        format!(
            "the nearest AWG area is that of {} ga, {awg} mm²",
            gauge.name
        )
    }));
    format!("{area}: {}", parts.join("; "))
}

/// Adds the largest size of a row that is for a range.
pub(super) fn add_up_to(line: &mut Value, sizes: Sizes) {
    if let (true, Some(object)) = (sizes.is_range(), line.as_object_mut()) {
        object.insert("up_to_mm2".to_owned(), number(sizes.largest().mm2()));
    }
}

/// A decimal as a JSON number, with its digits.
pub(super) fn number(decimal: Decimal) -> Value {
    serde_json::from_str(&decimal.to_string()).unwrap_or(Value::Null)
}

fn wire_json(wire: &WireSize) -> Value {
    let mut line = json!({
        "kind": "wire",
        "mm2": number(wire.area.mm2()),
        "sizing": wire.sizing.name(),
        "text": wire.to_string(),
    });
    if let (Some(gauge), Some(object)) = (&wire.gauge, line.as_object_mut()) {
        object.insert("gauge".to_owned(), json!(gauge));
    }
    line
}

fn gauge_json(gauge: &Gauge) -> Value {
    let mut line = json!({
        "kind": "gauge",
        "gauge": gauge.name,
        "awg_area_mm2": number(gauge.awg_area.mm2()),
    });
    if let (Some(metric), Some(object)) = (gauge.sae_metric, line.as_object_mut()) {
        object.insert("sae_metric_mm2".to_owned(), number(metric.mm2()));
    }
    if let (Some(iso), Some(object)) = (gauge.iso_pairing, line.as_object_mut()) {
        object.insert("iso_size_mm2".to_owned(), number(iso.mm2()));
    }
    let forces: Vec<_> = pull_rows(gauge)
        .filter_map(|(table, row)| {
            let lower = row.force()?.base();
            let printed = format!("{} {}", row.printed, row.unit);
            Some(json!({"table": table.name, "printed": printed, "lower_mn": lower}))
        })
        .collect();
    if let (false, Some(object)) = (forces.is_empty(), line.as_object_mut()) {
        object.insert("pull_force".to_owned(), json!(forces));
    }
    line
}
