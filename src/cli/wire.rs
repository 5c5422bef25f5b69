//! `tallyjaw wire`: exit 0 if the size was found, 2 if there is no such size.

use super::columns::Columns;
use super::{Context, Exit, Failure};
use crate::quantity::{Area, Decimal};
use crate::spec::wire::{Gauge, WireError, resolve, table, three_digits};
use crate::spec::{SizingSystem, WireRequest, WireSize};
use serde_json::{Value, json};
use std::io::Write;

const SOURCES: &str = "\
sae_metric  metric designation of automotive low-voltage cable (SAE J1128 practice; seen second-hand)
awg_area    d = 0.127 mm · 92^((36-n)/39) (ASTM B258, from memory), as an area
Tables pair gauges with mm² in other ways too. What is printed on the wire comes first.";

/// Resolve a wire size, or list every gauge with its sizes
///
/// A gauge is not one size: it is resolved in a named system, and never converted silently.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw wire                            every gauge\n  tallyjaw wire 12 ga                      in both systems\n  tallyjaw wire 12 ga --sizing sae_metric  in one\n  tallyjaw wire 2.0 mm²                    which gauges come near"
)]
pub(super) struct Wire {
    /// A size: 12 ga, 2/0 AWG, 2.0 mm²
    size: Vec<String>,
    /// The system: `sae_metric` or `awg_area`
    #[arg(long, value_name = "SYSTEM", value_parser = sizing)]
    sizing: Option<SizingSystem>,
}

/// The sizing system of an argument.
pub(super) fn sizing(name: &str) -> Result<SizingSystem, String> {
    SizingSystem::from_name(name).ok_or_else(|| {
        let names = SizingSystem::ALL.map(SizingSystem::name);
        format!("want {}", names.join(", "))
    })
}

/// A size from the words of a command line.
pub(super) fn size(words: &[String], sizing: Option<SizingSystem>) -> Result<WireSize, Failure> {
    let request = WireRequest {
        text: words.join(" "),
        sizing,
    };
    resolve(&request).map_err(|error| no_size(&error))
}

fn no_size(error: &WireError) -> Failure {
    Failure::usage(error.to_string()).with_remedy(error.remedy())
}

impl Wire {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        if self.size.is_empty() {
            return list(context, self.sizing, out);
        }
        let request = |sizing| WireRequest {
            text: self.size.join(" "),
            sizing,
        };
        let found = match resolve(&request(self.sizing)) {
            Ok(wire) => vec![wire],
            Err(WireError::SizingMissing { .. }) => {
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
        Ok(Exit::Yes)
    }
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
    let mut columns = Columns::new(&["gauge", "sae_metric", "awg_area"]);
    for gauge in listed {
        let metric = gauge.sae_metric.map(|area| area.to_string());
        columns.row(vec![
            format!("{} ga", gauge.name),
            metric.unwrap_or_default(),
            format!("{} mm²", three_digits(gauge.awg_area)),
        ]);
    }
    columns.write(out)?;
    writeln!(out, "\n{SOURCES}")?;
    Ok(Exit::Yes)
}

/// What an area is as a gauge, in words.
fn near(area: Area) -> String {
    let exact = table().iter().find(|gauge| gauge.sae_metric == Some(area));
    let metric = match exact {
        Some(gauge) => format!("the SAE metric size of {} ga", gauge.name),
        None => "no SAE metric size".to_owned(),
    };
    let distance = |gauge: &&Gauge| {
        let (one, other) = (
            gauge.awg_area.square_micrometres(),
            area.square_micrometres(),
        );
        one.abs_diff(other)
    };
    match table().iter().min_by_key(distance) {
        Some(gauge) => format!(
            "{area}: {metric}; the nearest AWG area is that of {} ga, {} mm²",
            gauge.name,
            three_digits(gauge.awg_area)
        ),
        None => format!("{area}: {metric}"),
    }
}

/// A decimal as a JSON number with its digits.
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
    line
}
