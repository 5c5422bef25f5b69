//! `tallyjaw study regression`.

use super::pairs::{self, Pairs};
use super::readings::Readings;
use super::select::{Select, percent, unit};
use super::show::{self, Digits};
use crate::cli::{Context, Exit, Failure};
use crate::quantity::Unit;
use crate::stats::Sample;
use crate::stats::figures::decimals;
use crate::stats::picture::regression_svg;
use crate::stats::regression::{FIGURES, Regression as Line};
use crate::stats::text::{Per, PlaceUnit};
use serde_json::json;
use std::io::Write;
use std::path::PathBuf;

/// A property of series by which pieces with the same number are one piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum PairBy {
    /// Both axes are of one series
    Series,
    /// The series of a job
    Job,
    /// The series of a harness, by its serial number
    Serial,
    /// The series with a lot of terminals
    TerminalLot,
    /// The series with a lot of wire
    WireLot,
}

/// A straight line of one quantity against another: pull force against crimp height
///
/// In the journal a pair is the two readings of one piece: of one series, or with --pair-by of the pieces with the same number
/// in all series of a job or lot. With a lower limit of the force it gives the heights that keep it.
#[derive(Debug, clap::Args)]
pub(super) struct Regression {
    #[command(flatten)]
    select: Select,
    /// What the readings are plotted against: a column of the file, or an axis [default in the journal:
    /// `core_crimp_height`; the readings are those of --axis, by default `pull_force`]
    #[arg(long, value_name = "COLUMN")]
    x: Option<String>,
    /// The unit of the column of --x
    #[arg(long, value_parser = unit, requires_all = ["from", "x"])]
    x_unit: Option<Unit>,
    /// The pieces with the same number in all series with the same job or lot are one piece
    #[arg(long, value_enum, default_value = "series", conflicts_with = "from")]
    pair_by: PairBy,
    /// The share of all pieces that has to keep the lower limit
    #[arg(long, value_name = "PERCENT", default_value = "99", value_parser = percent)]
    content: f64,
    /// The confidence of that
    #[arg(long, value_name = "PERCENT", default_value = "95", value_parser = percent)]
    confidence: f64,
    /// Exit with 1 if no x is shown to keep the lower limit
    #[arg(long)]
    gate: bool,
    /// Draw the pairs with line and bands into this file
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

impl Regression {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let Pairs {
            readings,
            x,
            names: [x_name, y_name],
            alone,
            ambiguous,
        } = match &self.x {
            Some(column) if self.select.from.is_some() => {
                pairs::of_file(&self.select, context, column, self.x_unit)?
            }
            None if self.select.from.is_some() => {
                return Err(Failure::usage("no --x").with_remedy(
                    "name the column to plot against, and its unit: --x height --x-unit mm",
                ));
            }
            x => pairs::of_journal(&self.select, context, x.as_deref(), self.pair_by)?,
        };
        let y = readings.sample()?;
        let mut digits = Digits::of(y.summary());
        digits.per = Per {
            unit: PlaceUnit::Across(x.unit(), places(&x)),
            times: 1,
        };
        let line = Line::new(x, y).map_err(|reason| {
            Failure::usage(format!("no line through these pairs: {reason}"))
                .with_remedy("measure and pull pieces of at least two heights")
        })?;
        let line = line
            .against(readings.limits_if_any())
            .assuring(self.content, self.confidence)
            .named(&x_name, &y_name);
        show::picture(self.svg.as_deref(), || {
            regression_svg(&readings.heading(), &line)
        })?;
        let (figures, claim) = (show::all(FIGURES, &line), line.claim(digits));
        let exit = show::gate(self.gate, || claim.shown);
        let left = left_alone(alone, ambiguous);
        let sentence = line.sentence(digits);
        let object = || {
            let mut object = show::head("regression", &readings);
            object.insert("x".to_owned(), json!(x_name));
            object.insert("x_unit".to_owned(), json!(line.x().unit().name()));
            object.insert("y".to_owned(), json!(y_name));
            object.insert("content".to_owned(), json!(self.content));
            object.insert("confidence".to_owned(), json!(self.confidence));
            object.insert("without_partner".to_owned(), json!(alone));
            object.insert("ambiguous".to_owned(), json!(ambiguous));
            show::object(&mut object, &figures);
            let said = format!("{sentence}; {}", claim.sentence);
            object.insert("sentence".to_owned(), json!(said));
            object.insert("shown".to_owned(), json!(claim.shown));
            object.insert("grounds".to_owned(), show::grounds_json(&claim.grounds));
            object
        };
        if show::as_json(context, out, object)? {
            return Ok(exit);
        }
        show::heading(out, &readings)?;
        for words in left {
            writeln!(out, "{words}")?;
        }
        writeln!(out, "{sentence}\n{}\n", claim.sentence)?;
        show::grounds(out, claim.worth_stating())?;
        show::table(out, &figures, digits)?;
        Ok(exit)
    }
}

/// Number of decimals of x.
fn places(x: &Sample) -> usize {
    x.summary().step().map_or(3, decimals)
}

/// What was left out, in words.
fn left_alone(alone: u64, ambiguous: u64) -> Vec<String> {
    let counts = [
        (alone, "without a reading on the other axis"),
        (ambiguous, "of pieces with several readings on an axis"),
    ];
    counts
        .into_iter()
        .filter(|(count, _)| *count > 0)
        .map(|(count, why)| {
            format!(
                "left out: {} {why}",
                crate::cli::columns::count(usize::try_from(count).unwrap_or(usize::MAX), "reading")
            )
        })
        .collect()
}

impl PairBy {
    /// The property of a reading that it pairs by.
    pub(super) fn key(self) -> &'static str {
        match self {
            Self::Series => "series",
            Self::Job => "job",
            Self::Serial => "serial",
            Self::TerminalLot => "terminal_lot",
            Self::WireLot => "wire_lot",
        }
    }
}

/// The heading of a study of pairs names both quantities.
pub(super) fn title(readings: &mut Readings, x: &str) {
    readings.title = format!("{} against {x}", readings.title);
}
