//! `tallyjaw study compare`.

use super::readings::Readings;
use super::select::{Group, Select, quantity};
use super::show::{self, Digits};
use crate::cli::{Context, Exit, Failure};
use crate::quantity::Quantity;
use crate::stats::compare::{
    ANOVA_FIGURES, Comparison, FIGURES, anova_of_independent, brown_forsythe, is_correlated,
};
use crate::stats::picture::Histogram;
use crate::stats::text::fixed;
use crate::stats::{Limits, Sample};
use serde_json::{Value, json};
use std::io::Write;

/// Groups of readings against each other: tools, nests, people, days
#[derive(Debug, clap::Args)]
pub(super) struct Compare {
    #[command(flatten)]
    select: Select,
    /// The column that groups the readings: one of the file, or `tool`, `nest`, `operator`, `instrument`,
    /// `day`, `series` and others of the journal [default in the journal: tool]
    #[arg(long, value_name = "COLUMN")]
    group: Option<String>,
    /// Test whether the means are equivalent within this margin: "0.02 mm"
    #[arg(long, value_parser = quantity)]
    margin: Option<Quantity>,
    /// The group that the others are compared with [default: the one that came first]
    #[arg(long, value_name = "NAME")]
    reference: Option<String>,
}

impl Compare {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let key = self.select.key(self.group.as_deref(), "tool", "--group")?;
        let (readings, all, groups) = self.select.groups(context, key)?;
        readings.of_one_nominal()?;
        let groups = self.groups(&readings, groups, key)?;
        let all = all.summary(&readings)?;
        let margin = match self.margin {
            Some(margin) => Some(
                all.quantity_in_unit(margin)
                    .map_err(|reason| Failure::usage(format!("--margin: {reason}")))?,
            ),
            None => None,
        };
        let comparisons = comparisons(&groups, margin, readings.limits_if_any());
        if show::as_json(context, out, || object(&readings, &groups, &comparisons))? {
            return Ok(Exit::Yes);
        }
        show::heading(out, &readings)?;
        let summaries: Vec<_> = groups.iter().map(|(_, group)| group.summary()).collect();
        let histograms = Histogram::side_by_side(&summaries, &readings.limits_if_any());
        for ((name, group), histogram) in groups.iter().zip(&histograms) {
            writeln!(
                out,
                "{name}: {}",
                crate::cli::columns::count(group.bases().len(), "reading")
            )?;
            for line in histogram.text() {
                writeln!(out, "  {line}")?;
            }
        }
        writeln!(out)?;
        let digits = Digits::of(&all);
        if groups.len() > 2 {
            match anova_of_independent(&samples(&groups)) {
                Ok(table) => show::table(out, &show::all(ANOVA_FIGURES, &table), digits)?,
                Err(reason) => writeln!(out, "  –  ({reason})")?,
            }
            writeln!(out)?;
        }
        for comparison in &comparisons {
            show::statements(out, comparison.sentence().split("; "))?;
        }
        if comparisons.len() > 1 {
            writeln!(
                out,
                "\n{} comparisons share the significance level of 5 % (Bonferroni): {} for each",
                comparisons.len(),
                fixed(comparisons.first().map_or(0.05, Comparison::alpha), 4)
            )?;
        }
        if let [only] = &comparisons[..] {
            writeln!(out)?;
            show::table(out, &show::all(FIGURES, only), digits)?;
        }
        Ok(Exit::Yes)
    }

    /// The groups, with the reference first.
    fn groups(
        &self,
        readings: &Readings,
        groups: Vec<Group>,
        key: &str,
    ) -> Result<Vec<(String, Sample)>, Failure> {
        let groups = groups.into_iter();
        let samples = groups.map(|group| Ok((group.name, readings.sample_of_bases(group.bases)?)));
        let mut groups = samples.collect::<Result<Vec<_>, Failure>>()?;
        if groups.len() < 2 {
            return Err(
                Failure::usage(format!("all these readings are of one {key}"))
                    .with_remedy("choose more readings, or another column: --group COLUMN"),
            );
        }
        if let Some(reference) = &self.reference {
            let at = groups
                .iter()
                .position(|(name, _)| name == reference)
                .ok_or_else(|| {
                    let names: Vec<&str> = groups.iter().map(|(name, _)| name.as_str()).collect();
                    Failure::usage(format!("there is no group {reference:?}"))
                        .with_remedy(crate::quantity::did_you_mean(reference, &names))
                })?;
            let reference = groups.remove(at);
            groups.insert(0, reference);
        }
        Ok(groups)
    }
}

fn samples(groups: &[(String, Sample)]) -> Vec<Sample> {
    groups.iter().map(|(_, group)| group.clone()).collect()
}

/// Compares every other group with the first.
fn comparisons(
    groups: &[(String, Sample)],
    margin: Option<f64>,
    limits: Limits,
) -> Vec<Comparison> {
    let Some(((name, first), others)) = groups.split_first() else {
        return Vec::new();
    };
    others
        .iter()
        .map(|(other, sample)| {
            let first = (name.clone(), first.clone());
            Comparison::new(first, (other.clone(), sample.clone()), margin)
                .against(limits)
                .among(others.len())
        })
        .collect()
}

fn object(
    readings: &Readings,
    groups: &[(String, Sample)],
    comparisons: &[Comparison],
) -> serde_json::Map<String, Value> {
    let mut object = show::head("compare", readings);
    let names: Vec<&str> = groups.iter().map(|(name, _)| name.as_str()).collect();
    object.insert("groups".to_owned(), json!(names));
    if groups.len() > 2 {
        let samples = samples(groups);
        match anova_of_independent(&samples) {
            Ok(table) => show::object(&mut object, &show::all(ANOVA_FIGURES, &table)),
            Err(reason) => {
                let why = |name: &str| (name.to_owned(), json!(reason.to_string()));
                let none = ANOVA_FIGURES.iter().map(|figure| why(figure.name));
                object.insert("undefined".to_owned(), Value::Object(none.collect()));
            }
        }
        if !samples.iter().any(is_correlated)
            && let Ok(spread) = brown_forsythe(&samples)
        {
            object.insert("brown_forsythe_w".to_owned(), json!(spread.f));
            object.insert("brown_forsythe_p".to_owned(), json!(spread.p));
        }
    }
    let items = comparisons.iter().map(|comparison| {
        let mut object = serde_json::Map::new();
        let (first, second) = comparison.names();
        object.insert("first".to_owned(), json!(first));
        object.insert("second".to_owned(), json!(second));
        object.insert("confidence".to_owned(), json!(comparison.confidence()));
        show::object(&mut object, &show::all(FIGURES, comparison));
        object.insert("sentence".to_owned(), json!(comparison.sentence()));
        Value::Object(object)
    });
    object.insert("comparisons".to_owned(), Value::Array(items.collect()));
    object
}
