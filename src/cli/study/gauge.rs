//! `tallyjaw study gauge`.

use super::readings::Readings;
use super::select::{Select, quantity};
use super::show::{self, Digits, Shown};
use crate::cli::{Context, Exit, Failure};
use crate::quantity::Quantity;
use crate::stats::Undefined;
use crate::stats::gauge::{
    FIGURES, MASTER_FIGURES, Master, Plan, Study, Trial, by_anova, by_range,
};
use serde_json::json;
use std::io::Write;

/// How a study is computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Method {
    /// By analysis of variance, with bounds
    Anova,
    /// By ranges, as on paper
    Range,
}

/// How much of the spread is the measuring
///
/// Several people measure the same parts several times each; or one measures a master of known size.
#[derive(Debug, clap::Args)]
pub(super) struct Gauge {
    #[command(flatten)]
    select: Select,
    /// What tells the parts apart: a column of the file [default in the journal: piece]
    #[arg(long, value_name = "COLUMN")]
    part: Option<String>,
    /// What tells apart who measured: a column of the file [default in the journal: operator]
    #[arg(long, value_name = "COLUMN")]
    appraiser: Option<String>,
    /// The method
    #[arg(long, value_enum, default_value = "anova")]
    method: Method,
    /// All readings are of one master of this size: "2.50 mm"
    #[arg(long, value_name = "SIZE", value_parser = quantity, conflicts_with_all = ["part", "appraiser"])]
    master: Option<Quantity>,
}

impl Gauge {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        if let Some(size) = self.master {
            let readings = self.select.readings(context, &[])?;
            let sample = readings.sample()?;
            let digits = Digits::of(sample.summary());
            let master = Master::new(sample, size, readings.limits_if_any());
            let figures = show::all(MASTER_FIGURES, &master);
            return tell(context, out, &readings, digits, "master", &figures, None);
        }
        let part = self.select.key(self.part.as_deref(), "piece", "--part")?;
        let appraiser = self
            .select
            .key(self.appraiser.as_deref(), "operator", "--appraiser")?;
        let readings = self.select.readings(context, &[part, appraiser])?;
        let study = self.study(&readings).map_err(|reason| {
            Failure::usage(format!("no gauge study of these readings: {reason}")).with_remedy(
                "each person measures each part the same number of times, at least twice",
            )
        })?;
        let digits = Digits::of(readings.sample()?.summary());
        let figures = show::all(FIGURES, &study);
        tell(
            context,
            out,
            &readings,
            digits,
            study.method,
            &figures,
            Some(&study.sentence()),
        )
    }

    fn study(&self, readings: &Readings) -> Result<Study, Undefined> {
        let trials: Vec<Trial> = readings
            .rows
            .iter()
            .map(|row| {
                let cell = |at: usize| row.cells.get(at).cloned().unwrap_or_default();
                Trial {
                    part: cell(0),
                    appraiser: cell(1),
                    base: row.base,
                }
            })
            .collect();
        let plan = Plan::new(&trials, readings.unit)?;
        let study = match self.method {
            Method::Anova => by_anova(&plan, None)?.1,
            Method::Range => by_range(&plan)?,
        };
        Ok(study.within(&plan, &readings.limits_if_any()))
    }
}

fn tell(
    context: &Context,
    out: &mut dyn Write,
    readings: &Readings,
    digits: Digits,
    method: &str,
    figures: &[Shown],
    sentence: Option<&str>,
) -> Result<Exit, Failure> {
    let object = || {
        let mut object = show::head("gauge", readings);
        object.insert("method".to_owned(), json!(method));
        show::object(&mut object, figures);
        if let Some(sentence) = sentence {
            object.insert("sentence".to_owned(), json!(sentence));
        }
        object
    };
    if show::as_json(context, out, object)? {
        return Ok(Exit::Yes);
    }
    show::heading(out, readings)?;
    if let Some(sentence) = sentence {
        writeln!(out, "{sentence}\n")?;
    }
    show::table(out, figures, digits)?;
    Ok(Exit::Yes)
}
