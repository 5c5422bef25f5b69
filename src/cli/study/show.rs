//! Shows figures as a table for people and as an object for programs.

use super::readings::Readings;
use crate::cli::{Context, Exit, Failure};
use crate::stats::capability::Ground;
use crate::stats::picture::Histogram;
use crate::stats::rounding::Warning;
use crate::stats::text;
use crate::stats::{FigureKind, figures};
use serde_json::{Map, Value, json};
use std::io::Write;
use std::path::Path;

pub(super) use crate::stats::text::{Digits, Shown, all};

/// A line for each figure with its confidence interval. A figure without a value is a dash with the reason.
pub(super) fn table(
    out: &mut dyn Write,
    shown: &[Shown],
    digits: Digits<'_>,
) -> Result<(), Failure> {
    let lines = text::lines(shown, digits);
    let width = lines
        .iter()
        .map(|line| line.words.chars().count())
        .max()
        .unwrap_or(0);
    let has_bounds = lines.iter().any(|line| line.bounds.is_some());
    for line in lines {
        let written = match line.value {
            Ok(written) => written,
            Err(reason) => format!("–  ({reason})"),
        };
        let bounds = line
            .bounds
            .map(|(low, high)| format!("  ({low} to {high})"))
            .unwrap_or_default();
        writeln!(out, "  {:<width$}  {written}{bounds}", line.words)?;
    }
    if has_bounds {
        writeln!(out, "  in parentheses: 95 % confidence intervals")?;
    }
    Ok(())
}

/// Adds figures by name, and under `undefined` the reasons of those without a value.
pub(super) fn object(into: &mut Map<String, Value>, shown: &[Shown]) {
    let mut undefined = Map::new();
    for figure in shown {
        match figure.value {
            Ok(value) if figure.kind == FigureKind::Count => {
                into.insert(figure.name.to_owned(), json!(figures::whole(value)));
            }
            Ok(value) => {
                into.insert(figure.name.to_owned(), json!(value));
            }
            Err(reason) => {
                undefined.insert(figure.name.to_owned(), json!(reason.to_string()));
            }
        }
    }
    if !undefined.is_empty() {
        into.insert("undefined".to_owned(), Value::Object(undefined));
    }
}

/// The fields at the beginning of every study's object.
pub(super) fn head(study: &str, readings: &Readings) -> Map<String, Value> {
    let mut object = Map::new();
    object.insert("kind".to_owned(), json!("study"));
    object.insert("study".to_owned(), json!(study));
    object.insert("of".to_owned(), json!(readings.title));
    object.insert("unit".to_owned(), json!(readings.unit().name()));
    if let Ok(Some(limits)) = &readings.limits {
        object.insert("limits".to_owned(), json!(limits.to_string()));
    }
    object.insert("left_out".to_owned(), readings.left_out.json());
    if let Some(step) = readings.step {
        let step = readings.scale.in_unit(step);
        object.insert(
            "resolution".to_owned(),
            json!({"value": step, "from": readings.step_from.name()}),
        );
    }
    object
}

/// Writes the heading, and the numbers of readings left out.
pub(super) fn heading(out: &mut dyn Write, readings: &Readings) -> Result<(), Failure> {
    writeln!(out, "{}", readings.heading())?;
    if let Some(left_out) = readings.left_out.words() {
        writeln!(out, "{left_out}")?;
    }
    writeln!(out)?;
    Ok(())
}

/// Writes statements one on each line, because together they are too long to be read.
pub(super) fn statements<'s>(
    out: &mut dyn Write,
    statements: impl Iterator<Item = &'s str>,
) -> Result<(), Failure> {
    for (nth, statement) in statements.enumerate() {
        let indent = if nth == 0 { "" } else { "  " };
        writeln!(out, "{indent}{statement}")?;
    }
    Ok(())
}

/// The answer of a study: no where `--gate` is given and the gate does not pass. `passes` is asked only then.
pub(super) fn gate(is_given: bool, passes: impl FnOnce() -> bool) -> Exit {
    if is_given && !passes() {
        Exit::No
    } else {
        Exit::Yes
    }
}

/// Writes the preconditions of a claim, one on each line.
pub(super) fn grounds<'g>(
    out: &mut dyn Write,
    grounds: impl Iterator<Item = &'g Ground>,
) -> Result<(), Failure> {
    writeln!(out, "preconditions:")?;
    for ground in grounds {
        let holds = if ground.holds { "holds" } else { "FAILS" };
        writeln!(out, "  {holds}  {}", ground.finding)?;
    }
    writeln!(out)?;
    Ok(())
}

pub(super) fn grounds_json(grounds: &[Ground]) -> Value {
    let list = grounds.iter().map(|ground| {
        let mut written =
            json!({"name": ground.name, "holds": ground.holds, "text": ground.finding});
        if let (false, Some(written)) = (ground.holds, written.as_object_mut()) {
            written.insert("remedy".to_owned(), json!(ground.remedy));
        }
        written
    });
    Value::Array(list.collect())
}

pub(super) fn warnings(out: &mut dyn Write, warnings: &[Warning]) -> Result<(), Failure> {
    for warning in warnings {
        writeln!(out, "note: {}", warning.words)?;
    }
    Ok(())
}

pub(super) fn warnings_json(warnings: &[Warning]) -> Value {
    let list = warnings
        .iter()
        .map(|warning| json!({"name": warning.name, "text": warning.words}));
    Value::Array(list.collect())
}

/// Writes the object as a line, if JSON was requested. Returns whether it was.
pub(super) fn as_json(
    context: &Context,
    out: &mut dyn Write,
    object: impl FnOnce() -> Map<String, Value>,
) -> Result<bool, Failure> {
    for_programs(context, out, |out| {
        Ok(writeln!(out, "{}", Value::Object(object()))?)
    })
}

/// As [`as_json`], for what writes its object itself.
pub(super) fn for_programs(
    context: &Context,
    out: &mut dyn Write,
    write: impl FnOnce(&mut dyn Write) -> Result<(), Failure>,
) -> Result<bool, Failure> {
    if let Some(aside) = &context.aside {
        write(&mut *aside.bytes())?;
        return Ok(false);
    }
    if context.json {
        write(out)?;
    }
    Ok(context.json)
}

/// Writes the picture, if one was requested.
pub(super) fn picture(path: Option<&Path>, svg: impl FnOnce() -> String) -> Result<(), Failure> {
    let Some(path) = path else {
        return Ok(());
    };
    std::fs::write(path, svg()).map_err(|error| {
        Failure::io(format!("{} cannot be written", path.display())).because(&error)
    })
}

/// Writes the histogram as a picture, if one was requested. The file is empty if there is none to draw.
pub(super) fn histogram_file(
    path: Option<&Path>,
    histogram: Option<&Histogram>,
    readings: &Readings,
) -> Result<(), Failure> {
    let svg = |histogram: &Histogram| histogram.svg(&readings.heading());
    picture(path, || histogram.map(svg).unwrap_or_default())
}

/// Writes the histogram in characters.
pub(super) fn histogram(out: &mut dyn Write, histogram: Option<&Histogram>) -> Result<(), Failure> {
    for line in histogram.into_iter().flat_map(Histogram::text) {
        writeln!(out, "  {line}")?;
    }
    Ok(())
}
