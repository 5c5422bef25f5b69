//! `tallyjaw study tolerance`.

use super::select::{Select, percent};
use super::show::{self, Digits};
use crate::cli::{Context, Exit, Failure};
use crate::stats::picture::Histogram;
use crate::stats::rounding::{self, Warning};
use crate::stats::tolerance::Side;
use crate::stats::tolerance::study::{FIGURES, Intervals, Method, Required};
use serde_json::json;
use std::io::Write;
use std::path::PathBuf;

/// Tolerance and prediction intervals: between which limits all pieces lie, or the next ones
///
/// A tolerance interval contains a share of all pieces, a prediction interval all of the next ones. Both are of normal
/// pieces; where the normality test rejects that, or with --method any, of pieces of any distribution, between readings.
#[derive(Debug, clap::Args)]
pub(super) struct Tolerance {
    #[command(flatten)]
    select: Select,
    /// The share of all pieces in the tolerance interval
    #[arg(long, value_name = "PERCENT", default_value = "99", value_parser = percent)]
    content: f64,
    /// The confidence of both intervals
    #[arg(long, value_name = "PERCENT", default_value = "95", value_parser = percent)]
    confidence: f64,
    /// The ends: both, lower, upper [default: those that the limits have]
    #[arg(long, value_name = "END", value_parser = side)]
    side: Option<Side>,
    /// Number of next pieces that the prediction interval contains
    #[arg(long, value_name = "N", default_value_t = 1)]
    next: u64,
    /// normal, any (distribution) [default: normal, unless the test rejects that]
    #[arg(long, value_name = "METHOD", value_parser = method)]
    method: Option<Method>,
    /// Exit with 1 unless the tolerance interval lies within the limits, and the preconditions hold
    #[arg(long)]
    gate: bool,
    /// Draw the histogram into this file
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

fn side(name: &str) -> Result<Side, String> {
    Side::from_name(name).ok_or_else(|| format!("want {}", Side::ALL.map(Side::name).join(", ")))
}

fn method(name: &str) -> Result<Method, String> {
    let names = Method::ALL.map(Method::name);
    Method::from_name(name).ok_or_else(|| format!("want {}", names.join(", ")))
}

impl Tolerance {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let (readings, stream) = self.select.stream(context)?;
        readings.of_one_nominal()?;
        let limits = if self.gate {
            readings.limits_needed()?
        } else {
            readings.limits_if_any()
        };
        let all = stream
            .summary(readings.step)
            .map_err(|reason| Failure::usage(reason.to_string()))?;
        let usual = Required::usual(&limits);
        let required = Required {
            content: self.content,
            confidence: self.confidence,
            side: self.side.unwrap_or(usual.side),
            next: self.next,
            method: self.method,
        };
        let digits = Digits::of(&all);
        let histogram = Histogram::new(&all, &limits);
        show::histogram_file(self.svg.as_deref(), histogram.as_ref(), &readings)?;
        let mut warnings = rounding::warnings(&all, &limits);
        let of = Intervals::new(all.clone(), stream.order(readings.step), limits, required);
        warnings.extend(readings.guessed_step());
        warnings.extend(of.is_of_resolution().then_some(OF_RESOLUTION));
        let figures = show::all(FIGURES, &of);
        let said = of.claim(digits.places);
        let exit = show::gate(self.gate, || said.shown);
        let object = || {
            let mut object = show::head("tolerance", &readings);
            show::object(&mut object, &figures);
            object.insert("side".to_owned(), json!(required.side.name()));
            object.insert("method".to_owned(), json!(of.method().name()));
            object.insert("shown".to_owned(), json!(said.shown));
            object.insert("grounds".to_owned(), show::grounds_json(&said.grounds));
            object.insert("sentence".to_owned(), json!(said.sentence));
            object.insert("warnings".to_owned(), show::warnings_json(&warnings));
            object
        };
        if show::as_json(context, out, object)? {
            return Ok(exit);
        }
        show::heading(out, &readings)?;
        show::histogram(out, histogram.as_ref())?;
        writeln!(out)?;
        show::statements(out, said.sentence.split("; "))?;
        writeln!(out)?;
        show::grounds(out, said.worth_stating())?;
        show::table(out, &figures, digits)?;
        show::warnings(out, &warnings)?;
        Ok(exit)
    }
}

const OF_RESOLUTION: Warning = Warning {
    name: "sd_of_resolution",
    words: "the standard deviation is under that of the resolution alone (a step over √12), which the intervals use instead",
};
