//! `tallyjaw study linearity`.

use super::pairs;
use super::readings::Readings;
use super::regression::title;
use super::select::Select;
use super::show::{self, Digits};
use crate::cli::{Context, Exit, Failure};
use crate::quantity::Unit;
use crate::stats::figures::decimals;
use crate::stats::linearity::{FIGURES, Linearity as Errors};
use crate::stats::picture::regression_svg;
use crate::stats::text::{Per, PlaceUnit, chance};
use crate::stats::{FigureKind, Sample, describe};
use serde_json::{Map, Value, json};
use std::io::Write;
use std::path::PathBuf;

/// Errors of an instrument over its range: bias at each size, and whether it changes with the size
///
/// In the journal: verification series, whose readings are of gauge blocks. In a file: a column of readings and one with
/// the size of what was measured.
#[derive(Debug, clap::Args)]
pub(super) struct Linearity {
    #[command(flatten)]
    select: Select,
    /// The column of the size of what was measured, in the unit of the readings
    #[arg(long, value_name = "COLUMN", requires = "from")]
    size: Option<String>,
    /// Draw the errors with the line through them into this file
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

impl Linearity {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let (readings, x) = self.errors(context)?;
        let errors = readings.sample()?;
        let mut digits = Digits::of(errors.summary());
        digits.per = Per {
            unit: PlaceUnit::Across(x.unit(), x.summary().step().map_or(3, decimals)),
            times: 100,
        };
        let study = Errors::new(x, errors).map_err(|reason| {
            Failure::usage(format!("no linearity of these readings: {reason}")).with_remedy(
                "measure two or more gauge blocks of different size, each at least twice",
            )
        })?;
        show::picture(self.svg.as_deref(), || {
            regression_svg(&readings.heading(), study.line())
        })?;
        let figures = show::all(FIGURES, &study);
        let sentences = study.sentences(digits);
        let object = || {
            let mut object = show::head("linearity", &readings);
            show::object(&mut object, &figures);
            object.insert("sizes".to_owned(), sizes_json(&study));
            object.insert("sentence".to_owned(), json!(sentences.join("; ")));
            object
        };
        if show::as_json(context, out, object)? {
            return Ok(Exit::Yes);
        }
        show::heading(out, &readings)?;
        show::statements(out, sentences.iter().map(String::as_str))?;
        writeln!(out)?;
        list_sizes(out, &study, digits)?;
        writeln!(out)?;
        show::table(out, &figures, digits)?;
        Ok(Exit::Yes)
    }

    /// The errors, and the size of each.
    fn errors(&self, context: &Context) -> Result<(Readings, Sample), Failure> {
        match (&self.select.from, &self.size) {
            (Some(_), Some(column)) => {
                let of = self.select.unit.unwrap_or(Unit::Millimetre);
                let pairs = pairs::of_file(&self.select, context, column, Some(of))?;
                pairs.less_x()
            }
            (Some(_), None) => Err(Failure::usage("no --size")
                .with_remedy("name the column with the size of what was measured: --size block")),
            (None, _) => {
                let (mut readings, sizes) = pairs::of_blocks(&self.select, context, &["nominal"])?;
                title(&mut readings, "size");
                Ok((readings, sizes))
            }
        }
    }
}

/// A line for each size: number, mean error with its interval, p.
fn list_sizes(out: &mut dyn Write, study: &Errors, digits: Digits<'_>) -> Result<(), Failure> {
    let text = |value: f64| digits.text(FigureKind::Reading, value);
    for (size, errors) in study.sizes() {
        let all = errors.summary();
        let size = digits.text(FigureKind::Position, size);
        let mean = describe::mean(all).map_or_else(|_| "–".to_owned(), text);
        let n = all.count();
        match study.bias_at(&errors) {
            Ok((low, high, p)) => writeln!(
                out,
                "  {size}: {n} readings, mean error {mean} ({} to {}), p of no bias {}",
                text(low),
                text(high),
                chance(p)
            )?,
            Err(reason) => writeln!(out, "  {size}: {n} readings, mean error {mean}  ({reason})")?,
        }
    }
    Ok(())
}

fn sizes_json(study: &Errors) -> Value {
    let sizes = study.sizes();
    let list = sizes.iter().map(|(size, errors)| {
        let mut one = Map::new();
        one.insert("size".to_owned(), json!(size));
        one.insert("n".to_owned(), json!(errors.count()));
        if let Ok(mean) = describe::mean(errors.summary()) {
            one.insert("bias".to_owned(), json!(mean));
        }
        match study.bias_at(errors) {
            Ok((low, high, p)) => {
                one.insert("bias_low".to_owned(), json!(low));
                one.insert("bias_high".to_owned(), json!(high));
                one.insert("bias_p".to_owned(), json!(p));
            }
            Err(reason) => {
                let why = json!({"bias_low": reason.to_string()});
                one.insert("undefined".to_owned(), why);
            }
        }
        Value::Object(one)
    });
    Value::Array(list.collect())
}
