//! `tallyjaw study capability`.

use super::distribution::{self, Asked, Distribution};
use super::readings::Readings;
use super::select::{Select, index, value};
use super::show::{self, Digits};
use crate::cli::{Context, Exit, Failure};
use crate::quantity::Quantity;
use crate::stats::capability::{self, FIGURES, USUAL_ASKED};
use crate::stats::picture::Histogram;
use crate::stats::rounding;
use serde_json::json;
use std::io::Write;
use std::path::PathBuf;

/// Capability: readings against their limits (Cp, Cpk, Pp, Ppk)
#[derive(Debug, clap::Args)]
pub(super) struct Capability {
    #[command(flatten)]
    select: Select,
    /// The Ppk that is required
    #[arg(long, value_name = "INDEX", default_value_t = USUAL_ASKED, value_parser = index)]
    asked: f64,
    /// Subgroups are the values of this column of the file, or of a column of the journal, such as `series`
    #[arg(long, value_name = "COLUMN", conflicts_with = "size")]
    subgroup: Option<String>,
    /// Subgroups are N readings in a row
    #[arg(long, value_name = "N")]
    size: Option<usize>,
    /// The distribution of the readings, where it is not normal: its indices are by quantiles (ISO 22514-2)
    #[arg(long, value_enum, value_name = "NAME", default_value = "normal")]
    distribution: Distribution,
    /// Where that distribution begins, such as a stop or a nominal: "1.50 mm" [default: 0]
    #[arg(long, value_name = "VALUE", value_parser = value, allow_hyphen_values = true)]
    origin: Option<Quantity>,
    /// Exit with 1 unless the required index is demonstrated: its lower confidence bound reaches it, and the
    /// preconditions hold (normal, stable, independent)
    #[arg(long)]
    gate: bool,
    /// Draw the histogram into this file
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

impl Capability {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        if !self.distribution.is_normal() {
            return self.fitted(context, out);
        }
        if self.origin.is_some() {
            return Err(
                Failure::usage("--origin has no effect with a normal distribution")
                    .with_remedy("choose another: --distribution lognormal"),
            );
        }
        let (readings, of) = self.readings(context)?;
        readings.of_one_nominal()?;
        let limits = *of.limits();
        let of = of.asking(self.asked);
        let all = of.summary();
        let histogram = Histogram::new(all, &limits);
        show::histogram_file(self.svg.as_deref(), histogram.as_ref(), &readings)?;
        let figures = show::all(FIGURES, &of);
        let warnings = rounding::warnings(all, &limits);
        let claim = of.claim();
        let exit = show::gate(self.gate, || claim.shown);
        let object = || {
            let mut object = show::head("capability", &readings);
            show::object(&mut object, &figures);
            object.insert("asked".to_owned(), json!(self.asked));
            object.insert("shown".to_owned(), json!(claim.shown));
            object.insert("grounds".to_owned(), show::grounds_json(&claim.grounds));
            if let Ok(within) = of.within() {
                object.insert("sigma_within_from".to_owned(), json!(within.how));
            }
            object.insert("sentence".to_owned(), json!(claim.sentence));
            object.insert("warnings".to_owned(), show::warnings_json(&warnings));
            object
        };
        if show::as_json(context, out, object)? {
            return Ok(exit);
        }
        show::heading(out, &readings)?;
        show::histogram(out, histogram.as_ref())?;
        writeln!(out, "\n{}\n", claim.sentence)?;
        show::grounds(out, claim.worth_stating())?;
        show::table(out, &figures, Digits::of(all))?;
        if let Ok(within) = of.within() {
            writeln!(out, "\nshort-term standard deviation: from {}", within.how)?;
        }
        show::warnings(out, &warnings)?;
        Ok(exit)
    }

    fn fitted(&self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        if self.subgroup.is_some() || self.size.is_some_and(|size| size > 1) {
            return Err(
                Failure::usage("subgroups have no effect with this distribution")
                    .with_remedy("leave --subgroup and --size out, or --distribution"),
            );
        }
        let asked = Asked {
            distribution: self.distribution,
            origin: self.origin,
            index: self.asked,
            gate: self.gate,
            svg: self.svg.as_deref(),
        };
        let (readings, sample) = self.select.sample(context)?;
        distribution::run(&readings, &sample, &asked, context, out)
    }

    /// Reads in one pass with bounded memory, unless subgroups must be kept.
    fn readings(&self, context: &Context) -> Result<(Readings, capability::Capability), Failure> {
        if self.subgroup.is_none() && self.size.is_none_or(|size| size < 2) {
            let (readings, stream) = self.select.stream(context)?;
            let limits = readings.limits_needed()?;
            let all = stream
                .summary(readings.step)
                .map_err(|reason| Failure::usage(reason.to_string()))?;
            let of = capability::Capability::of_summary(all, stream.within(), limits)
                .in_order(stream.order(readings.step));
            return Ok((readings, of));
        }
        let Some(key) = &self.subgroup else {
            let (readings, all) = self.select.in_order(context)?;
            let limits = readings.limits_needed()?;
            let all: Vec<i64> = all.bases.iter().collect();
            let size = self.size.unwrap_or(1);
            let groups = readings.samples(all.chunks_exact(size))?;
            let all = readings.sample_of_bases(all)?;
            let of = capability::Capability::of_groups(&all, &groups, limits);
            return Ok((readings, of));
        };
        let (readings, all, groups) = self.select.groups(context, key)?;
        let limits = readings.limits_needed()?;
        let groups = readings.samples(groups.iter().map(|group| &group.bases[..]))?;
        let all = readings.sample_of_bases(all.bases.iter().collect())?;
        let of = capability::Capability::of_groups(&all, &groups, limits);
        Ok((readings, of))
    }
}
