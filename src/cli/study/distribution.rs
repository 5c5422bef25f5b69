//! `tallyjaw study capability --distribution`: capability by a distribution that is not normal.

use super::readings::Readings;
use super::show::{self, Digits};
use crate::cli::{Context, Exit, Failure};
use crate::quantity::Quantity;
use crate::stats::Sample;
use crate::stats::fitted::{Chosen, FIGURES, Family, Fitted};
use crate::stats::picture::Histogram;
use crate::stats::rounding;
use crate::stats::text::fixed;
use serde_json::{Map, Value, json};
use std::io::Write;
use std::path::Path;

/// The distribution of the readings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
#[value(rename_all = "snake_case")]
pub(super) enum Distribution {
    /// Normal
    Normal,
    /// The logarithm is normal
    Lognormal,
    /// Weibull, such as breaking forces
    Weibull,
    /// The amount of a normal value, such as an offset
    FoldedNormal,
    /// That of lognormal, Weibull and folded normal with the largest likelihood; nothing is demonstrated by it
    Likeliest,
    /// The percentiles of the readings, whatever their distribution; from 740 readings on
    Percentile,
}

impl Distribution {
    /// What was chosen; `None` is normal.
    fn chosen(self) -> Option<Chosen> {
        match self {
            Self::Normal => None,
            Self::Lognormal => Some(Chosen::Family(Family::Lognormal)),
            Self::Weibull => Some(Chosen::Family(Family::Weibull)),
            Self::FoldedNormal => Some(Chosen::Family(Family::FoldedNormal)),
            Self::Likeliest => Some(Chosen::Likeliest),
            Self::Percentile => Some(Chosen::Percentile),
        }
    }

    /// Whether it is the normal one.
    pub(super) fn is_normal(self) -> bool {
        self.chosen().is_none()
    }
}

/// What the study computes and shows.
pub(super) struct Asked<'a> {
    pub(super) distribution: Distribution,
    pub(super) origin: Option<Quantity>,
    pub(super) index: f64,
    pub(super) gate: bool,
    pub(super) svg: Option<&'a Path>,
}

/// Studies the readings, and writes figures and sentence.
pub(super) fn run(
    readings: &Readings,
    sample: &Sample,
    asked: &Asked<'_>,
    context: &Context,
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    readings.of_one_nominal()?;
    let limits = readings.limits_needed()?;
    let origin = asked
        .origin
        .map(|origin| sample.summary().quantity_in_unit(origin));
    let origin = origin
        .transpose()
        .map_err(|_| Failure::usage("the origin is of another dimension than the readings"))?;
    let chosen = asked.distribution.chosen().unwrap_or(Chosen::Likeliest);
    let of = Fitted::new(sample, limits, chosen, origin.unwrap_or(0.0), asked.index);
    let all = of.all();
    let histogram = Histogram::new(all, &limits);
    show::histogram_file(asked.svg, histogram.as_ref(), readings)?;
    let figures = show::all(FIGURES, &of);
    let warnings = rounding::warnings(all, &limits);
    let claim = of.claim();
    let exit = show::gate(asked.gate, || claim.shown);
    let object = || {
        let mut object = show::head("capability", readings);
        object.insert(
            "distribution".to_owned(),
            json!(of.name().replace(' ', "_")),
        );
        object.insert("chosen_by".to_owned(), json!(chosen_by(chosen)));
        put_fit(&mut object, &of);
        show::object(&mut object, &figures);
        object.insert("asked".to_owned(), json!(asked.index));
        object.insert("shown".to_owned(), json!(claim.shown));
        object.insert("grounds".to_owned(), show::grounds_json(&claim.grounds));
        object.insert("sentence".to_owned(), json!(claim.sentence));
        object.insert("warnings".to_owned(), show::warnings_json(&warnings));
        object
    };
    if show::as_json(context, out, object)? {
        return Ok(exit);
    }
    show::heading(out, readings)?;
    show::histogram(out, histogram.as_ref())?;
    writeln!(out, "\n{}\n", claim.sentence)?;
    show::grounds(out, claim.worth_stating())?;
    if let Some(fitted) = fitted_words(&of, chosen) {
        writeln!(out, "{fitted}\n")?;
    }
    show::table(out, &figures, Digits::of(all))?;
    show::warnings(out, &warnings)?;
    Ok(exit)
}

fn chosen_by(chosen: Chosen) -> &'static str {
    match chosen {
        Chosen::Family(_) | Chosen::Percentile => "option",
        Chosen::Likeliest => "likelihood",
    }
}

fn put_fit(object: &mut Map<String, Value>, of: &Fitted) {
    if let Ok(member) = of.known_member() {
        let parameters = member.parameters();
        let parameters = parameters.map(|(name, value)| (name.replace(' ', "_"), json!(value)));
        object.insert(
            "parameters".to_owned(),
            Value::Object(parameters.into_iter().collect()),
        );
    }
    let known = of.likelihoods().iter();
    let known =
        known.filter_map(|(family, found)| Some((family.name().to_owned(), json!(found.ok()?))));
    object.insert("ln_likelihood".to_owned(), Value::Object(known.collect()));
}

/// The parameters, and of a choice by likelihood what the others have.
fn fitted_words(of: &Fitted, chosen: Chosen) -> Option<String> {
    let member = of.known_member().ok()?;
    let parameters = member
        .parameters()
        .map(|(name, value)| format!("{name} {}", fixed(value, 4)));
    let mut words = format!("fitted: {}, {}", of.name(), parameters.join(", "));
    if chosen == Chosen::Likeliest {
        let known = of.likelihoods().iter().filter_map(|(family, found)| {
            Some(format!(
                "{} {}",
                family.name().replace('_', " "),
                fixed(found.ok()?, 1)
            ))
        });
        let known: Vec<String> = known.collect();
        words.push_str("\nchosen by the largest logarithm of the likelihood: ");
        words.push_str(&known.join(", "));
    }
    Some(words)
}
