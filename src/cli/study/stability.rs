//! `tallyjaw study stability`.

use super::pairs;
use super::readings::{Reading, Readings};
use super::select::Select;
use super::show::{self, Digits};
use crate::cli::{Context, Exit, Failure};
use crate::clock;
use crate::quantity::WallMicros;
use crate::stats::FigureKind;
use crate::stats::picture::stability_svg;
use crate::stats::stability::{FIGURES, Mark, Month, Stability as Errors};
use crate::stats::text::PlaceUnit;
use serde_json::{Map, Value, json};
use std::collections::BTreeSet;
use std::io::Write;
use std::path::PathBuf;

/// Stability of an instrument: its errors at gauge blocks, month by month, and their drift
///
/// The readings are those of verification series. Each series counts once, by the mean error at the sizes that all of them
/// have. Months are local.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw study stability --instrument caliper-1
  tallyjaw study stability --instrument caliper-1 --since 2026-01-01 --svg stability.svg")]
pub(super) struct Stability {
    #[command(flatten)]
    select: Select,
    /// Draw the mean errors over time into this file
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

impl Stability {
    pub(super) fn run(mut self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        if self.select.from.is_some() {
            return Err(Failure::usage("a file has no times of its own").with_remedy(
                "take the journal or a data set; for a file: tallyjaw study drift --place COLUMN",
            ));
        }
        self.select.query = self.select.query.of_verifications();
        let keys = ["nominal", "series", "instrument", "at"];
        let (readings, sizes) = pairs::of_blocks(&self.select, context, &keys)?;
        of_one_instrument(&readings)?;
        let errors = readings.sample()?;
        let marks = marks(&readings.rows, sizes.bases());
        let study = Errors::new(&errors, &marks, readings.limits_if_any());
        let study = study.map_err(|reason| {
            Failure::usage(format!(
                "no stability of these readings: {}",
                reason.alone()
            ))
            .with_remedy("choose one size: --axis gauge_block_25.00_mm")
        })?;
        let mut digits = Digits::of(errors.summary());
        digits.per.unit = PlaceUnit::Month;
        show::picture(self.svg.as_deref(), || {
            stability_svg(&readings.heading(), &study)
        })?;
        let figures = show::all(FIGURES, &study);
        let sentences = study.sentences(digits);
        let object = || {
            let mut object = show::head("stability", &readings);
            show::object(&mut object, &figures);
            object.insert("per".to_owned(), json!("month"));
            let months = study.months();
            object.insert("months".to_owned(), months.iter().map(month_json).collect());
            object.insert("sentence".to_owned(), json!(sentences.join("; ")));
            object
        };
        if show::as_json(context, out, object)? {
            return Ok(Exit::Yes);
        }
        show::heading(out, &readings)?;
        show::statements(out, sentences.iter().map(String::as_str))?;
        writeln!(out)?;
        for month in study.months() {
            writeln!(out, "  {}", month_line(&month, digits))?;
        }
        writeln!(out)?;
        show::table(out, &figures, digits)?;
        Ok(Exit::Yes)
    }
}

/// Refuses readings of several instruments: their differences would look like a drift.
fn of_one_instrument(readings: &Readings) -> Result<(), Failure> {
    let names = readings.rows.iter().filter_map(|row| row.cells.get(2));
    let names: BTreeSet<&str> = names.map(String::as_str).collect();
    if names.len() < 2 {
        return Ok(());
    }
    let names: Vec<&str> = names.into_iter().collect();
    Err(
        Failure::usage(format!("these readings are of {} instruments", names.len())).with_remedy(
            format!("choose one: --instrument {}", names.join(", --instrument ")),
        ),
    )
}

fn marks(rows: &[Reading], sizes: &[i64]) -> Vec<Mark> {
    let zone = clock::zone();
    let marks = rows.iter().zip(sizes).map(|(row, size)| {
        let day = WallMicros(row.at).local_day(&zone);
        Mark {
            check: row.cells.get(1).cloned().unwrap_or_default(),
            size: *size,
            at: row.at,
            month: day.get(..7).unwrap_or(&day).to_owned(),
        }
    });
    marks.collect()
}

/// `2026-11: 4 series, 24 readings, mean error 0.0021 mm (-0.0005 to 0.0047), from -0.0100 to 0.0100 mm`.
fn month_line(month: &Month, digits: Digits<'_>) -> String {
    let text = |value: f64| digits.text(FigureKind::Reading, value);
    let mean = month.mean.map_or_else(|_| "–".to_owned(), text);
    let bounds = match month.bounds {
        Ok((low, high)) => format!("{} to {}", text(low), text(high)),
        Err(reason) => format!("no interval: {}", reason.alone()),
    };
    let outside = match month.outside {
        0 => String::new(),
        count => format!(", {count} outside the limits"),
    };
    format!(
        "{}: {} series, {} readings, mean error {mean} ({bounds}), from {} to {}{outside}",
        month.name,
        month.checks,
        month.readings,
        text(month.lowest),
        text(month.highest)
    )
}

fn month_json(month: &Month) -> Value {
    let mut one = Map::new();
    let mut put = |name: &str, value: Value| one.insert(name.to_owned(), value);
    put("month", json!(month.name));
    put("checks", json!(month.checks));
    put("n", json!(month.readings));
    put("min", json!(month.lowest));
    put("max", json!(month.highest));
    put("outside", json!(month.outside));
    if let Ok(mean) = month.mean {
        put("mean", json!(mean));
    }
    match month.bounds {
        Ok((low, high)) => {
            put("mean_low", json!(low));
            put("mean_high", json!(high));
        }
        Err(reason) => {
            put("undefined", json!({"mean_low": reason.to_string()}));
        }
    }
    Value::Object(one)
}
