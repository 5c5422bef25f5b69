//! `tallyjaw study pull`.

use super::select::{Select, index};
use super::show::{self, Digits};
use crate::cli::{Context, Exit, Failure};
use crate::stats::capability::{Capability, PULL_FIGURES, USUAL_ASKED};
use crate::stats::describe;
use crate::stats::picture::Histogram;
use serde_json::json;
use std::io::Write;
use std::path::PathBuf;

/// Pull tests: the minimum of the forces against the lower limit
#[derive(Debug, clap::Args)]
pub(super) struct Pull {
    #[command(flatten)]
    select: Select,
    /// The Ppk that is required
    #[arg(long, value_name = "INDEX", default_value_t = USUAL_ASKED, value_parser = index)]
    asked: f64,
    /// Exit with 1 if a force is below the lower limit
    #[arg(long)]
    gate: bool,
    /// Draw the histogram into this file
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

impl Pull {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let readings = self.select.readings(context, &[])?;
        readings.of_one_nominal()?;
        let limits = readings.limits_needed()?;
        let sample = readings.sample()?;
        let all = sample.summary();
        let (Ok(minimum), Ok(lowest)) = (limits.lower_of(all), describe::min(all)) else {
            return Err(Failure::usage("a pull test needs a lower limit")
                .with_remedy("give it: --spec \">= 135 N\""));
        };
        let of = Capability::of_singles(&sample, limits).asking(self.asked);
        let histogram = Histogram::new(all, &limits);
        show::histogram_file(self.svg.as_deref(), histogram.as_ref(), &readings)?;
        let figures = show::all(PULL_FIGURES, &of);
        let claim = of.claim();
        let kept = lowest >= minimum;
        let sentence = format!(
            "the minimum of {} pieces is {lowest} {unit}: {} the lower limit of {minimum} {unit}",
            sample.count(),
            if kept { "not below" } else { "BELOW" },
            unit = readings.unit()
        );
        let exit = if self.gate && !kept {
            Exit::No
        } else {
            Exit::Yes
        };
        let object = || {
            let mut object = show::head("pull", &readings);
            show::object(&mut object, &figures);
            object.insert("kept".to_owned(), json!(kept));
            object.insert(
                "sentence".to_owned(),
                json!(format!("{sentence}; {}", claim.sentence)),
            );
            object.insert("shown".to_owned(), json!(claim.shown));
            object.insert("grounds".to_owned(), show::grounds_json(&claim));
            object
        };
        if show::as_json(context, out, object)? {
            return Ok(exit);
        }
        show::heading(out, &readings)?;
        show::histogram(out, histogram.as_ref())?;
        writeln!(out, "\n{sentence}\n{}\n", claim.sentence)?;
        show::grounds(out, &claim)?;
        show::table(out, &figures, Digits::of(all))?;
        Ok(exit)
    }
}
