//! `tallyjaw study drift`.

use super::readings::Reading;
use super::select::{Select, has_room_for_values};
use super::show::{self, Digits};
use crate::cli::{Context, Exit, Failure};
use crate::clock;
use crate::stats::FigureKind;
use crate::stats::drift::{self, FIGURES};
use crate::stats::text::PlaceUnit;
use serde_json::json;
use std::io::Write;

/// Microseconds in a day.
const DAY: i64 = 86_400_000_000;

/// The variable of the trend.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Against {
    /// The number of the reading
    Order,
    /// The time of the reading; only in the journal
    Time,
}

/// Trend over number or time, and when it reaches a limit
#[derive(Debug, clap::Args)]
pub(super) struct Drift {
    #[command(flatten)]
    select: Select,
    /// What the trend is against
    #[arg(long, value_enum, default_value = "order")]
    against: Against,
    /// Take the trend against this column of whole numbers, such as crimps made; readings are sorted by it
    #[arg(long, value_name = "COLUMN", requires = "from")]
    place: Option<String>,
}

impl Drift {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let times = self.against == Against::Time;
        if times && self.select.from.is_some() {
            return Err(Failure::usage("a file has no times of its own")
                .with_remedy("name a column of whole numbers instead: --place COLUMN"));
        }
        let keys: Vec<&str> = match &self.place {
            Some(column) => vec![column],
            None if times => vec!["at"],
            None => Vec::new(),
        };
        let (mut bases, mut places) = (Vec::new(), Vec::new());
        let readings = self.select.each(context, &keys, &mut |reading, _| {
            has_room_for_values(bases.len())?;
            bases.push(reading.base);
            places.push(match self.against {
                _ if self.place.is_some() => self.place_in(&reading)?,
                Against::Time => reading.at,
                Against::Order => i64::try_from(bases.len()).unwrap_or(i64::MAX),
            });
            Ok(())
        })?;
        readings.of_one_nominal()?;
        let (per, unit, place) = match &self.place {
            Some(column) => (1, PlaceUnit::Column(column), format!("{column} = ")),
            None if times => (DAY, PlaceUnit::Day, String::new()),
            None => (1, PlaceUnit::Reading, "reading ".to_owned()),
        };
        let zone = clock::zone();
        let sample = readings.sample_of_bases(bases)?;
        let mut digits = Digits::of(sample.summary());
        digits.zone = times.then_some(&zone);
        let drift = drift::Drift::new(&sample, places, readings.limits_if_any())
            .map_err(|reason| Failure::usage(reason.to_string()))?
            .per(per);
        digits.per = drift.per_of(unit);
        let figures = show::all(FIGURES, &drift);
        let outlook = drift.outlook(&place, |place| digits.text(FigureKind::Position, place));
        let said = [vec![drift.sentence(digits)], outlook].concat();
        let object = || {
            let mut object = show::head("drift", &readings);
            let per = match unit {
                PlaceUnit::Reading => "reading",
                PlaceUnit::Day => "day",
                PlaceUnit::Month => "month",
                PlaceUnit::Column(name) => name,
                PlaceUnit::Across(unit, _) => unit.name(),
            };
            object.insert("per".to_owned(), json!(per));
            show::object(&mut object, &figures);
            object.insert("sentence".to_owned(), json!(said.join("; ")));
            object
        };
        if show::as_json(context, out, object)? {
            return Ok(Exit::Yes);
        }
        show::heading(out, &readings)?;
        show::statements(out, said.iter().map(String::as_str))?;
        writeln!(out)?;
        show::table(out, &figures, digits)?;
        Ok(Exit::Yes)
    }

    /// The place of a reading by its column.
    fn place_in(&self, reading: &Reading) -> Result<i64, Failure> {
        let cell = reading.cells.first().map_or("", String::as_str);
        cell.parse().map_err(|_| {
            let column = self.place.as_deref().unwrap_or_default();
            Failure::usage(format!(
                "column {column:?}: got {cell:?}, want a whole number"
            ))
        })
    }
}
