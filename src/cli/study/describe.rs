//! `tallyjaw study describe`.

use super::select::Select;
use super::show::{self, Digits};
use crate::cli::{Context, Exit, Failure};
use crate::stats::picture::Histogram;
use crate::stats::text::{chance, fixed};
use crate::stats::{correlated, describe, normality, outlier, rounding};
use serde_json::{Value, json};
use std::io::Write;
use std::path::PathBuf;

/// Significance level of the normality test.
const ALPHA: f64 = 0.05;

/// Mean, spread, distribution and outliers of readings
#[derive(Debug, clap::Args)]
pub(super) struct Describe {
    #[command(flatten)]
    select: Select,
    /// Draw the histogram into this file
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

impl Describe {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let (readings, stream, ends) = self.select.stream_with_ends(context)?;
        readings.of_one_nominal()?;
        let all = stream
            .summary(readings.step)
            .map_err(|reason| Failure::usage(reason.to_string()))?;
        let (all, limits) = (&all, readings.limits_if_any());
        let histogram = Histogram::new(all, &limits);
        show::histogram_file(self.svg.as_deref(), histogram.as_ref(), &readings)?;
        let figures = [
            show::all(describe::FIGURES, all),
            show::all(correlated::FIGURES, all),
        ]
        .concat();
        let far = ends.places(&outlier::found(all).unwrap_or_default());
        let normal = normality::normality_p(all);
        let mut warnings = rounding::warnings(all, &limits);
        warnings.extend(correlated::warning(all));
        warnings.extend(readings.guessed_step());
        let object = || {
            let mut object = show::head("describe", &readings);
            show::object(&mut object, &figures);
            let counts = all.grid().counts().iter();
            let counts: Vec<_> = counts
                .map(|(base, times)| json!({"value": all.in_unit(*base), "count": times}))
                .collect();
            object.insert("counts".to_owned(), json!(counts));
            if let Ok(p) = normal {
                object.insert("normality_p".to_owned(), json!(p));
            }
            let outliers = far.iter().map(|(far, place)| {
                let mut object = json!({"value": all.in_unit(far.base), "distance": far.distance, "critical": far.critical});
                if let Some(place) = place {
                    place.put(&mut object);
                }
                object
            });
            object.insert("outliers".to_owned(), Value::Array(outliers.collect()));
            object.insert("warnings".to_owned(), show::warnings_json(&warnings));
            object
        };
        if show::as_json(context, out, object)? {
            return Ok(Exit::Yes);
        }
        show::heading(out, &readings)?;
        show::histogram(out, histogram.as_ref())?;
        writeln!(out)?;
        show::table(out, &figures, Digits::of(all))?;
        writeln!(out)?;
        let allowed = if all.step().is_ok() {
            "resolution allowed for"
        } else {
            "resolution not known"
        };
        match normal {
            Ok(p) if p < ALPHA => writeln!(
                out,
                "the distribution is not normal (p = {}, {allowed})",
                chance(p)
            )?,
            Ok(p) => writeln!(
                out,
                "normality is not rejected (p = {}, {allowed})",
                fixed(p, 2)
            )?,
            Err(reason) => writeln!(out, "normality cannot be tested: {reason}")?,
        }
        for (far, place) in &far {
            let stands = place.map(|place| format!(" ({place})")).unwrap_or_default();
            writeln!(
                out,
                "outlier: {} {}{stands} is {} standard deviations from the mean of the others (critical value {}): look at the piece",
                all.in_unit(far.base),
                readings.unit(),
                fixed(far.distance, 2),
                fixed(far.critical, 2)
            )?;
        }
        show::warnings(out, &warnings)?;
        Ok(Exit::Yes)
    }
}
