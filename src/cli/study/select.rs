//! The options that choose the readings of a study.

use super::journal::Take;
use super::readings::{Reading, Readings, SourcePosition, StepFrom};
use super::{data_set, file, journal};
use crate::cli::query::Query;
use crate::cli::{Context, Failure};
use crate::quantity::{Measured, Quantity, Unit};
use crate::spec::Limits;
use crate::stats::outlier::Ends;
use crate::stats::packed::Packed;
use crate::stats::sample::Scale;
use crate::stats::stream::Stream;
use crate::stats::{Sample, Summary, figures};
use clap::builder::{NonEmptyStringValueParser, PossibleValue, PossibleValuesParser};
use std::collections::HashMap;
use std::path::PathBuf;

/// The most readings that are kept with their cells: half a gigabyte.
const MOST_KEPT: usize = 2_000_000;
/// The most values that are kept without anything else, some of them several times: a gigabyte.
const MOST_VALUES: usize = 20_000_000;

/// The source of the readings.
#[derive(Debug, Clone, clap::Args)]
pub(super) struct Select {
    #[command(flatten)]
    pub(super) query: Query,
    /// Include these as well
    #[arg(long, value_delimiter = ',', value_parser = left_out(), help_heading = "From the journal")]
    pub(super) include: Vec<String>,
    /// Study the deviation of each reading from its nominal, so that readings of different nominals can be studied
    /// together
    #[arg(long, help_heading = "From the journal")]
    pub(super) deviation: bool,
    /// Readings from a data set instead of the journal: a folder of Parquet or CSV exports, of one bench or many, or one
    /// such file
    #[arg(
        long,
        value_name = "FOLDER",
        conflicts_with = "from",
        help_heading = "From the journal"
    )]
    pub(super) data_set: Option<PathBuf>,
    /// Readings from this CSV file instead of the journal (`-` is standard input)
    #[arg(long, value_name = "FILE", requires_all = ["column", "unit"], conflicts_with_all = Query::arguments().chain(["include", "deviation"]), help_heading = "From a file")]
    pub(super) from: Option<PathBuf>,
    /// The column of the readings
    #[arg(
        long,
        value_name = "NAME",
        value_parser = NonEmptyStringValueParser::new(),
        requires = "from",
        help_heading = "From a file"
    )]
    pub(super) column: Option<String>,
    /// Study the deviation of each reading from its nominal, which is in this column
    #[arg(
        long,
        value_name = "COLUMN",
        value_parser = NonEmptyStringValueParser::new(),
        requires = "from",
        help_heading = "From a file"
    )]
    pub(super) nominal: Option<String>,
    /// The unit of the column
    #[arg(long, value_parser = unit, requires = "from", help_heading = "From a file")]
    pub(super) unit: Option<Unit>,
    /// Limits, instead of those that the readings were judged by: "1.62 ±0.05 mm", ">= 135 N"
    #[arg(long, value_name = "LIMITS", value_parser = limits)]
    pub(super) spec: Option<Limits>,
    /// The resolution of the instrument, where it is not the last digit of the readings: "0.01 mm"
    #[arg(long, value_name = "STEP", value_parser = quantity)]
    pub(super) resolution: Option<Quantity>,
}

/// The readings that are left out unless included.
fn left_out() -> PossibleValuesParser {
    let value = |name, help| PossibleValue::new(name).help(help);
    PossibleValuesParser::new([
        value("doubted", "Doubted because of a zero"),
        value("retracted", "Retracted"),
        value("not-counted", "Never counted"),
    ])
}

/// Values in their order, with their statistics.
#[derive(Debug, Default)]
pub(super) struct InOrder {
    pub(super) bases: Packed,
    stream: Option<Stream>,
}

impl InOrder {
    fn push(&mut self, reading: &Reading, scale: Scale) -> Result<(), Failure> {
        self.bases.push(reading.base);
        let stream = self.stream.get_or_insert_with(|| Stream::new(scale));
        stream
            .push(reading.base)
            .map_err(|reason| Failure::usage(reason.to_string()))
    }

    /// Sums and counts of the values.
    pub(super) fn summary(&self, of: &Readings) -> Result<Summary, Failure> {
        let none = || Stream::new(of.scale).summary(of.step);
        let summary = self
            .stream
            .as_ref()
            .map_or_else(none, |stream| stream.summary(of.step));
        summary.map_err(|reason| Failure::usage(reason.to_string()))
    }
}

/// The values of one group.
#[derive(Debug, Default)]
pub(super) struct Group {
    pub(super) name: String,
    pub(super) bases: Vec<i64>,
}

impl Select {
    /// The readings of the journal that count and match.
    pub(super) fn of_journal(query: Query) -> Self {
        Self {
            query,
            include: Vec::new(),
            deviation: false,
            data_set: None,
            from: None,
            column: None,
            nominal: None,
            unit: None,
            spec: None,
            resolution: None,
        }
    }

    /// Whether a reading takes part in the study, by the word for its disposition.
    pub(super) fn takes(&self, standing: &str) -> bool {
        let is_it = |name: &String| name.replace('-', "_") == standing;
        standing == "counted" || self.include.iter().any(is_it)
    }

    /// Gives the readings to `take` one by one, each with its values for `keys` (columns of the file, or properties in
    /// the journal). Returns the description of all of them, without rows.
    pub(super) fn each(
        &self,
        context: &Context,
        keys: &[&str],
        take: &mut Take<'_>,
    ) -> Result<Readings, Failure> {
        let mut readings = match &self.from {
            Some(path) => file::read(self, path, keys, take)?,
            None => match &self.data_set {
                Some(path) => data_set::read(self, path, keys, take)?.finish()?,
                None => journal::read(self, context, keys, take)?.finish()?,
            },
        };
        if let Some(spec) = &self.spec {
            if spec.dimension() != readings.unit().dimension() {
                return Err(Failure::usage(format!(
                    "the limits {spec} are of a {}, the readings of a {}",
                    spec.dimension(),
                    readings.unit().dimension()
                )));
            }
            readings.limits = Ok(Some(spec.clone()));
        }
        if let Some(step) = self.resolution {
            if step.dimension() != readings.unit().dimension() {
                return Err(Failure::usage(format!(
                    "the resolution is of a {}, the readings of a {}",
                    step.dimension(),
                    readings.unit().dimension()
                )));
            }
            readings.step = readings.scale.whole(step);
            readings.step_from = StepFrom::Given;
        }
        Ok(readings)
    }

    /// All readings, with their values for `keys`.
    pub(super) fn readings(&self, context: &Context, keys: &[&str]) -> Result<Readings, Failure> {
        let mut rows = Vec::new();
        let readings = self.each(context, keys, &mut |reading, _| keep(&mut rows, reading))?;
        Ok(Readings { rows, ..readings })
    }

    /// The values of all readings in order, in base units of their scale, and the statistics of them. A reading takes about
    /// a byte, see [`Packed`].
    pub(super) fn in_order(&self, context: &Context) -> Result<(Readings, InOrder), Failure> {
        let mut order = InOrder::default();
        let readings = self.each(context, &[], &mut |reading, scale| {
            order.push(&reading, scale)
        })?;
        Ok((readings, order))
    }

    /// A sample of all readings in order, and what they are.
    pub(super) fn sample(&self, context: &Context) -> Result<(Readings, Sample), Failure> {
        let mut bases = Vec::new();
        let readings = self.each(context, &[], &mut |reading, _| {
            has_room_for_values(bases.len())?;
            bases.push(reading.base);
            Ok(())
        })?;
        let sample = readings.sample_of_bases(bases)?;
        Ok((readings, sample))
    }

    /// As [`Select::in_order`], with the values of each group, in the order of first appearance. A group has one value of property `key`.
    pub(super) fn groups(
        &self,
        context: &Context,
        key: &str,
    ) -> Result<(Readings, InOrder, Vec<Group>), Failure> {
        let mut order = InOrder::default();
        let mut names: HashMap<String, usize> = HashMap::new();
        let mut groups: Vec<Group> = Vec::new();
        let mut count = 0;
        let readings = self.each(context, &[key], &mut |reading, scale| {
            has_room_for_values(count)?;
            count += 1;
            order.push(&reading, scale)?;
            let name = reading.cells.into_iter().next().unwrap_or_default();
            let at = *names.entry(name).or_insert(groups.len());
            if at == groups.len() {
                groups.push(Group::default());
            }
            if let Some(group) = groups.get_mut(at) {
                group.bases.push(reading.base);
            }
            Ok(())
        })?;
        for (name, at) in names {
            if let Some(group) = groups.get_mut(at) {
                group.name = name;
            }
        }
        Ok((readings, order, groups))
    }

    /// The statistics of the readings, in one pass with bounded memory.
    pub(super) fn stream(&self, context: &Context) -> Result<(Readings, Stream), Failure> {
        let (readings, stream, _) = self.stream_with_ends(context)?;
        Ok((readings, stream))
    }

    /// As [`Select::stream`], with the places of the lowest and highest readings.
    pub(super) fn stream_with_ends(
        &self,
        context: &Context,
    ) -> Result<(Readings, Stream, Ends<SourcePosition>), Failure> {
        let mut stream = None;
        let mut ends = Ends::default();
        let readings = self.each(context, &[], &mut |reading, scale| {
            let stream = stream.get_or_insert_with(|| Stream::new(scale));
            ends.push(reading.base, reading.place);
            stream
                .push(reading.base)
                .map_err(|reason| Failure::usage(reason.to_string()))
        })?;
        let stream = stream.unwrap_or_else(|| Stream::new(readings.scale));
        Ok((readings, stream, ends))
    }

    /// The same options for the readings of this axis.
    pub(super) fn of_axis(&self, axis: &str) -> Self {
        Self {
            query: self.query.with_axis(axis),
            ..self.clone()
        }
    }

    /// The same options for errors: deviations from nominal, of any number of axes together.
    pub(super) fn of_deviation(&self) -> Self {
        Self {
            deviation: true,
            ..self.clone()
        }
    }

    /// All readings of all axes that match, with their values for `keys`.
    pub(super) fn each_axis(&self, context: &Context, keys: &[&str]) -> Result<Readings, Failure> {
        let mut rows = Vec::new();
        let push = &mut |reading, _| keep(&mut rows, reading);
        let about = match &self.data_set {
            Some(path) => data_set::read(self, path, keys, push)?,
            None => journal::read(self, context, keys, push)?,
        };
        let readings = about.finish_together()?;
        Ok(Readings { rows, ..readings })
    }

    /// The property `given`, or the default for the journal.
    pub(super) fn key<'k>(
        &self,
        given: Option<&'k str>,
        of_journal: &'k str,
        option: &str,
    ) -> Result<&'k str, Failure> {
        match given {
            Some(key) => Ok(key),
            None if self.from.is_none() => Ok(of_journal),
            None => Err(Failure::usage(format!("no {option}"))
                .with_remedy(format!("name the column of the file: {option} NAME"))),
        }
    }
}

/// Keeps a reading with its cells, for a study that looks at them more than once.
fn keep(rows: &mut Vec<Reading>, reading: Reading) -> Result<(), Failure> {
    has_room(rows.len(), "readings")?;
    rows.push(reading);
    Ok(())
}

/// Refuses one more of what a study keeps in memory with its cells, of which it has this many.
pub(super) fn has_room(kept: usize, what: &str) -> Result<(), Failure> {
    at_most(kept, MOST_KEPT, what)
}

/// The same of values alone.
pub(super) fn has_room_for_values(kept: usize) -> Result<(), Failure> {
    at_most(kept, MOST_VALUES, "values")
}

fn at_most(kept: usize, most: usize, what: &str) -> Result<(), Failure> {
    if kept < most {
        return Ok(());
    }
    Err(Failure::usage(format!(
        "this study keeps its {what} in memory, and takes at most {most}"
    ))
    .with_remedy("choose fewer, such as with --since and --until; docs/scale.md says which studies take any number"))
}

pub(super) fn unit(symbol: &str) -> Result<Unit, String> {
    Unit::from_symbol(symbol)
        .ok_or_else(|| format!("want {}", Unit::ALL.map(Unit::name).join(", ")))
}

fn limits(text: &str) -> Result<Limits, String> {
    text.parse::<Limits>().map_err(|error| error.to_string())
}

/// An index that can be required: a finite number above zero.
pub(super) fn index(text: &str) -> Result<f64, String> {
    let index: Result<f64, _> = text.parse();
    match index {
        Ok(index) if index.is_finite() && index > 0.0 => Ok(index),
        Ok(_) | Err(_) => Err("want a number above 0, such as 1.33".to_owned()),
    }
}

/// A percentage between 0 and 100, as a share between 0 and 1.
pub(super) fn percent(text: &str) -> Result<f64, String> {
    let percent = text.trim_end_matches('%').trim_end().parse();
    let share = percent.ok().and_then(figures::share);
    share.ok_or_else(|| "want a percentage between 0 and 100, such as 95".to_owned())
}

/// Any quantity.
pub(super) fn value(text: &str) -> Result<Quantity, String> {
    let measured: Measured = text.parse().map_err(|error| format!("{error}"))?;
    Ok(measured.quantity())
}

/// A quantity above zero.
pub(super) fn quantity(text: &str) -> Result<Quantity, String> {
    let measured: Measured = text.parse().map_err(|error| format!("{error}"))?;
    let quantity = measured.quantity();
    if quantity.base() <= 0 {
        return Err("want more than 0".to_owned());
    }
    Ok(quantity)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_study_that_keeps_readings_refuses_more_than_fit_into_memory() {
        assert!(has_room(MOST_KEPT - 1, "readings").is_ok());
        assert!(has_room(MOST_KEPT, "readings").is_err());
        assert!(has_room_for_values(MOST_KEPT).is_ok());
        assert!(has_room_for_values(MOST_VALUES).is_err());
    }
}
