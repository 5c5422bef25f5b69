//! The options of acceptance sampling, and how plans are shown.

use super::plan::{CURVE, LINES, in_unit};
use super::select::{percent, quantity};
use super::show::{self, Digits};
use crate::cli::{Context, Exit, Failure};
use crate::quantity::{Quantity, Unit};
use crate::stats::picture::Curve;
use crate::stats::sampling::{FIGURES, Points, Scheme, Severity};
use serde_json::{Map, Value, json};
use std::io::Write;
use std::path::Path;

/// By what a lot is accepted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum By {
    /// By the number of nonconforming pieces
    Attributes,
    /// By mean and standard deviation
    Variables,
}

impl By {
    fn name(self) -> &'static str {
        match self {
            Self::Attributes => "attributes",
            Self::Variables => "variables",
        }
    }
}

/// The options.
#[derive(Debug, Clone, clap::Args)]
pub(super) struct Sampling {
    /// Acceptance quality limit: the share of nonconforming pieces at which lots are nearly always accepted
    #[arg(long, value_name = "PERCENT", value_parser = percent)]
    aql: f64,
    /// Limiting quality: the share at which lots are rarely accepted
    #[arg(long, value_name = "PERCENT", value_parser = percent)]
    limiting: f64,
    /// Producer's risk: how often a lot at the acceptance quality limit is not accepted
    #[arg(long = "producer-risk", value_name = "PERCENT", default_value = "5", value_parser = percent)]
    producer: f64,
    /// Consumer's risk: how often a lot at the limiting quality is accepted
    #[arg(long = "consumer-risk", value_name = "PERCENT", default_value = "10", value_parser = percent)]
    consumer: f64,
    /// By what lots are accepted
    #[arg(
        long = "kind",
        value_name = "NAME",
        value_enum,
        default_value = "attributes"
    )]
    by: By,
    /// By variables: the standard deviation, where it is known; otherwise that of each sample is used
    #[arg(long, value_name = "SIZE", value_parser = quantity)]
    sigma: Option<Quantity>,
    /// By variables, of two limits: judge the share beyond both together (combined control) instead of beyond each
    #[arg(long)]
    combined: bool,
    /// By attributes: number of pieces of a lot, where the sample is no small part of it
    #[arg(long = "lot-size", value_name = "N")]
    lot_size: Option<u64>,
}

impl Sampling {
    fn points(&self) -> Points {
        Points {
            aql: self.aql,
            producer: self.producer,
            limiting: self.limiting,
            consumer: self.consumer,
        }
    }

    /// The plans. The known standard deviation is in this unit.
    pub(super) fn scheme(&self, unit: Option<Unit>) -> Result<Scheme, Failure> {
        let points = self.points();
        let wrong = |given: &str, by: By| {
            let name = by.name();
            Failure::usage(format!("{given} is of plans by {name}"))
                .with_remedy(format!("add --kind {name}, or leave {given} out"))
        };
        let sigma = match (self.sigma, unit) {
            (Some(sigma), Some(unit)) if sigma.dimension() != unit.dimension() => {
                let (got, want) = (sigma.dimension(), unit.dimension());
                return Err(Failure::usage(format!(
                    "--sigma is a {got}, the readings are of a {want}"
                )));
            }
            // The plan itself does not depend on its size.
            (Some(sigma), unit) => Some(in_unit(sigma, unit.unwrap_or(Unit::Millimetre))),
            (None, _) => None,
        };
        let scheme = match self.by {
            By::Attributes if sigma.is_some() => return Err(wrong("--sigma", By::Variables)),
            By::Attributes if self.combined => return Err(wrong("--combined", By::Variables)),
            By::Variables if self.lot_size.is_some() => {
                return Err(wrong("--lot-size", By::Attributes));
            }
            By::Attributes => Scheme::by_attributes(&points, self.lot_size),
            By::Variables if self.combined => {
                Scheme::by_variables(&points, sigma).map(Scheme::combined)
            }
            By::Variables => Scheme::by_variables(&points, sigma),
        };
        scheme.map_err(|reason| {
            Failure::usage(format!("no sampling plan: {}", reason.alone())).with_remedy(
                "allow more risk, or a limiting quality further from the acceptance quality limit",
            )
        })
    }

    /// Shows the plans with the operating characteristic of the normal one.
    pub(super) fn tell(
        &self,
        svg: Option<&Path>,
        context: &Context,
        out: &mut dyn Write,
    ) -> Result<Exit, Failure> {
        let scheme = self.scheme(None)?;
        let lines = scheme.curve(LINES);
        show::picture(svg, || {
            let curve = scheme.curve(CURVE);
            let title = format!("operating characteristic: {}", scheme.normal.words());
            curve.map(|curve| curve.svg(&title)).unwrap_or_default()
        })?;
        let object = || {
            let mut object = Map::new();
            object.insert("kind".to_owned(), json!("study"));
            object.insert("study".to_owned(), json!("plan"));
            object.insert("claim".to_owned(), json!("sampling"));
            self.put(&mut object, &scheme);
            let points = lines.iter().flat_map(|curve| &curve.points);
            let points = points
                .map(|(share, probability)| json!({"truth": share, "probability": probability}));
            object.insert("operating_characteristic".to_owned(), points.collect());
            object
        };
        if show::as_json(context, out, object)? {
            return Ok(Exit::Yes);
        }
        write(&scheme, out)?;
        for line in lines.iter().flat_map(Curve::text) {
            writeln!(out, "  {line}")?;
        }
        Ok(Exit::Yes)
    }

    /// Adds the plans.
    pub(super) fn put(&self, object: &mut Map<String, Value>, scheme: &Scheme) {
        show::object(object, &show::all(FIGURES, scheme));
        object.insert("by".to_owned(), json!(self.by.name()));
        let plans: Map<String, Value> = plans(scheme)
            .map(|(name, words)| (name.to_owned(), json!(words)))
            .collect();
        object.insert("plans".to_owned(), Value::Object(plans));
        if scheme.is_combined() {
            object.insert("combined".to_owned(), json!(true));
        }
        object.insert("sentence".to_owned(), json!(COMPUTED));
    }
}

/// The plans in a table.
pub(super) fn write(scheme: &Scheme, out: &mut dyn Write) -> Result<(), Failure> {
    for (name, words) in plans(scheme) {
        writeln!(out, "{name}: {words}")?;
    }
    if scheme.is_combined() {
        writeln!(out, "{COMBINED}")?;
    }
    writeln!(out, "{COMPUTED}\n")?;
    let figures = show::all(FIGURES, scheme);
    // A plan is of one kind; the figures of the other one would say so line by line.
    let own: Vec<_> = figures
        .into_iter()
        .filter(|figure| figure.value.is_ok())
        .collect();
    show::table(out, &own, Digits::OF_NO_READINGS)
}

const COMBINED: &str = "of two limits the share beyond both together counts: at most what one limit at k is estimated to have beyond it";
const COMPUTED: &str = "the plans are computed from the two points; the master tables of ISO 2859-1 and ISO 3951-1 are not reproduced";

fn plans(scheme: &Scheme) -> impl Iterator<Item = (&'static str, String)> {
    let severities = Severity::ALL.into_iter();
    severities.filter_map(|severity| Some((severity.name(), scheme.plan(severity)?.words())))
}
