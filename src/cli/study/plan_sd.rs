//! The standard deviation of a plan: typed, or that of readings in the journal.

use super::select::{Select, quantity};
use crate::cli::query::Query;
use crate::cli::{Context, Failure};
use crate::quantity::{Quantity, Unit};
use crate::stats::planning::{Question, SdWithin, sd_within};
use crate::stats::text::Digits;
use crate::stats::{CONFIDENCE, FigureKind, Sample, Undefined};
use serde_json::{Value, json};

/// The standard deviation, or the series that it is taken from.
#[derive(Debug, clap::Args)]
pub(super) struct Sd {
    /// The standard deviation within a group: "0.015 mm"
    #[arg(
        long,
        value_name = "SIZE",
        value_parser = quantity,
        required_unless_present = "sd_of",
        conflicts_with = "sd_of"
    )]
    pub(super) sd: Option<Quantity>,
    /// The standard deviation of the readings of these series of the journal, within each series; with --axis where they
    /// have several
    #[arg(long, value_name = "SERIES", value_delimiter = ',')]
    sd_of: Vec<u64>,
}

/// What readings of the journal have shown.
pub(super) struct Shown {
    found: SdWithin,
    of: String,
    unit: Unit,
    digits: Digits<'static>,
}

/// A plan with the upper end of a standard deviation that readings have shown.
pub(super) struct Upper {
    shown: Shown,
    question: Box<dyn Question>,
}

impl Sd {
    /// The standard deviation in `unit`, and what it is from if it is that of readings.
    pub(super) fn find(
        &self,
        context: &Context,
        unit: Unit,
        axis: Option<&str>,
    ) -> Result<(f64, Option<Shown>), Failure> {
        if let Some(sd) = self.sd {
            return Ok((super::plan::in_unit(sd, unit), None));
        }
        let query = Query::of_series(self.sd_of.clone());
        let query = axis.map_or_else(|| query.clone(), |axis| query.with_axis(axis));
        let (readings, _, groups) = Select::of_journal(query).groups(context, "series")?;
        if readings.unit().dimension() != unit.dimension() {
            return Err(Failure::usage(format!(
                "the readings of --sd-of are of a {}, the plan is of a {}",
                readings.unit().dimension(),
                unit.dimension()
            )));
        }
        let undefined = |reason: Undefined| {
            Failure::usage(format!(
                "no standard deviation of these series: {}",
                reason.alone()
            ))
            .with_remedy("choose series with more readings, or give it: --sd \"0.015 mm\"")
        };
        let samples = groups.into_iter();
        let samples = samples.map(|group| Sample::from_bases(group.bases, unit));
        let samples = samples.collect::<Result<Vec<_>, _>>().map_err(undefined)?;
        let found = sd_within(&samples, CONFIDENCE).map_err(undefined)?;
        let shown = Shown {
            found,
            of: readings.heading(),
            unit,
            digits: Digits::of_size(unit, found.sd),
        };
        Ok((found.sd, Some(shown)))
    }
}

impl Shown {
    /// With the plan that supposes its upper end.
    pub(super) fn with(self, question: impl FnOnce(f64) -> Box<dyn Question>) -> Upper {
        Upper {
            question: question(self.found.high),
            shown: self,
        }
    }
}

impl Upper {
    /// The pieces of each group that the upper end takes; `None` if too many.
    fn pieces(&self, power: f64) -> Option<u64> {
        self.question.smallest(power).ok()
    }

    /// The standard deviation, what it is from, and how many pieces its upper end takes.
    pub(super) fn words(&self, power: f64) -> String {
        let Shown {
            found, of, digits, ..
        } = &self.shown;
        let text = |value: f64| digits.text(FigureKind::Reading, value);
        let pieces = self.pieces(power).map_or_else(
            || "more than a million pieces".to_owned(),
            |pieces| format!("{pieces} pieces of each group"),
        );
        format!(
            "the standard deviation is that within series: {} (95 % confidence interval: {} to {}), of {of}; its upper end takes {pieces}",
            text(found.sd),
            text(found.low),
            text(found.high)
        )
    }

    pub(super) fn json(&self, power: f64) -> Value {
        let Shown {
            found, of, unit, ..
        } = &self.shown;
        let mut object = json!({
            "of": of,
            "unit": unit.name(),
            "value": found.sd,
            "low": found.low,
            "high": found.high,
            "degrees_of_freedom": found.degrees_of_freedom,
        });
        if let (Some(pieces), Some(object)) = (self.pieces(power), object.as_object_mut()) {
            object.insert("pieces_of_each_at_high".to_owned(), json!(pieces));
        }
        object
    }
}
