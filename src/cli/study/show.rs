//! Figures as a table for people and as an object for programs.

use super::readings::Readings;
use crate::cli::{Context, Failure};
use crate::quantity::{Unit, WallMicros};
use crate::stats::rounding::Warning;
use crate::stats::{Figure, Kind, Summary, Undefined, figures};
use serde_json::{Map, Value, json};
use std::io::Write;
use std::path::Path;

/// A figure with its value, or why it has none.
pub(super) struct Shown {
    pub(super) name: &'static str,
    words: &'static str,
    kind: Kind,
    value: Result<f64, Undefined>,
}

/// Every figure of a table.
pub(super) fn all<S>(rows: &'static [Figure<S>], of: &S) -> Vec<Shown> {
    rows.iter()
        .map(|row| Shown {
            name: row.name,
            words: row.words,
            kind: row.kind,
            value: (row.of)(of),
        })
        .collect()
}

/// How numbers are told.
#[derive(Debug, Clone, Copy)]
pub(super) struct Digits {
    unit: Unit,
    /// Digits of a figure in the unit of the readings.
    pub(super) places: usize,
    /// Places are times of the journal.
    pub(super) times: bool,
}

impl Digits {
    /// Two digits more than the readings have.
    pub(super) fn of(all: &Summary) -> Self {
        let step = all.step().unwrap_or(0.001);
        Self {
            unit: all.unit(),
            places: figures::decimals(step) + 2,
            times: false,
        }
    }

    pub(super) fn told(self, kind: Kind, value: f64) -> String {
        let places = self.places;
        match kind {
            Kind::Reading => format!("{value:.places$} {}", self.unit),
            Kind::Ratio => format!("{value:.3}"),
            Kind::Probability if value < 0.0001 => "under 0.0001".to_owned(),
            Kind::Probability => format!("{value:.4}"),
            Kind::PartsPerMillion if value < 0.1 => "under 0.1".to_owned(),
            Kind::PartsPerMillion => format!("{value:.1}"),
            Kind::Percent => format!("{value:.1} %"),
            Kind::Slope => format!("{value:.3e} {}", self.unit),
            Kind::Place if self.times => {
                let time = WallMicros(figures::whole(value)).to_string();
                time.get(..16).unwrap_or(&time).replace('T', " ")
            }
            Kind::Count | Kind::Place => format!("{value:.0}"),
        }
    }
}

/// A line a figure; bounds stand behind what they bound, figures without a value behind a dash.
pub(super) fn table(out: &mut dyn Write, shown: &[Shown], digits: Digits) -> Result<(), Failure> {
    let named = |name: &str| shown.iter().find(|figure| figure.name == name);
    let is_bound = |figure: &Shown| {
        let base = figure
            .name
            .strip_suffix("_low")
            .or_else(|| figure.name.strip_suffix("_high"));
        base.is_some_and(|base| named(base).is_some())
    };
    let rows: Vec<&Shown> = shown.iter().filter(|figure| !is_bound(figure)).collect();
    let width = rows
        .iter()
        .map(|row| row.words.chars().count())
        .max()
        .unwrap_or(0);
    for row in rows {
        let told = match row.value {
            Ok(value) => digits.told(row.kind, value),
            Err(reason) => format!("–  ({reason})"),
        };
        let bound = |end: &str| named(&format!("{}_{end}", row.name)).map(|figure| figure.value);
        let bounds = match (bound("low"), bound("high")) {
            (Some(Ok(low)), Some(Ok(high))) => {
                format!(
                    "  ({} to {})",
                    digits.told(row.kind, low),
                    digits.told(row.kind, high)
                )
            }
            _ => String::new(),
        };
        writeln!(out, "  {:<width$}  {told}{bounds}", row.words)?;
    }
    Ok(())
}

/// Puts figures under their names, and the reasons of those without a value under `undefined`.
pub(super) fn object(into: &mut Map<String, Value>, shown: &[Shown]) {
    let mut undefined = Map::new();
    for figure in shown {
        match figure.value {
            Ok(value) if figure.kind == Kind::Count => {
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

/// What every study's object begins with.
pub(super) fn head(study: &str, readings: &Readings) -> Map<String, Value> {
    let mut object = Map::new();
    object.insert("kind".to_owned(), json!("study"));
    object.insert("study".to_owned(), json!(study));
    object.insert("of".to_owned(), json!(readings.title));
    object.insert("unit".to_owned(), json!(readings.unit.symbol()));
    if let Ok(Some(limits)) = &readings.limits {
        object.insert("limits".to_owned(), json!(limits.to_string()));
    }
    object.insert("left_out".to_owned(), readings.left_out.json());
    object
}

/// The heading for people, and what was left out.
pub(super) fn heading(out: &mut dyn Write, readings: &Readings) -> Result<(), Failure> {
    writeln!(out, "{}", readings.heading())?;
    if let Some(left_out) = readings.left_out.words() {
        writeln!(out, "{left_out}")?;
    }
    writeln!(out)?;
    Ok(())
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

/// The object as a line, if JSON was asked for; whether it was.
pub(super) fn as_json(
    context: &Context,
    out: &mut dyn Write,
    object: impl FnOnce() -> Map<String, Value>,
) -> Result<bool, Failure> {
    if context.json {
        writeln!(out, "{}", Value::Object(object()))?;
    }
    Ok(context.json)
}

/// Writes the picture, if one was asked for.
pub(super) fn picture(path: Option<&Path>, svg: impl FnOnce() -> String) -> Result<(), Failure> {
    let Some(path) = path else {
        return Ok(());
    };
    std::fs::write(path, svg()).map_err(|error| {
        Failure::io(format!("{} cannot be written", path.display())).because(&error)
    })
}
