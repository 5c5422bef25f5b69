//! `tallyjaw study gauge`.

use super::factors;
use super::levels::{self, Levels};
use super::readings::Readings;
use super::select::{Select, quantity};
use super::show::{self, Digits, Shown};
use crate::cli::{Context, Exit, Failure};
use crate::quantity::Quantity;
use crate::stats::Undefined;
use crate::stats::components::{Components, Together};
use crate::stats::gauge::{
    FIGURES, MASTER_FIGURES, Master, Plan, Study, Table, Trial, by_anova, by_range, expanded,
};
use crate::stats::rounding::Warning;
use crate::stats::text::{chance, fixed, powers};
use serde_json::{Value, json};
use std::io::Write;

/// How a gauge study is computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Method {
    /// By analysis of variance, with confidence intervals
    Anova,
    /// By ranges
    Range,
}

/// Gauge study: repeatability, reproducibility, ndc
///
/// Several people measure the same parts several times each; or one measures a master of known size.
#[derive(Debug, clap::Args)]
pub(super) struct Gauge {
    #[command(flatten)]
    select: Select,
    /// The column of the part [default in the journal: piece]
    #[arg(long, value_name = "COLUMN")]
    part: Option<String>,
    /// The column of the appraiser [default in the journal: operator]
    #[arg(long, value_name = "COLUMN")]
    appraiser: Option<String>,
    /// The method
    #[arg(long, value_enum, default_value = "anova")]
    method: Method,
    /// Further factors of an expanded study: `instrument,day`, nested: `instrument/fixture`; their spread is part of
    /// reproducibility
    #[arg(
        long,
        value_name = "FACTORS",
        value_delimiter = ',',
        conflicts_with = "master"
    )]
    factors: Vec<String>,
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
            let output = GaugeOutput::of("master", figures, Vec::new());
            return output.tell(context, out, &readings, digits);
        }
        let part = self.select.key(self.part.as_deref(), "piece", "--part")?;
        let appraiser = self
            .select
            .key(self.appraiser.as_deref(), "operator", "--appraiser")?;
        let also = self.factors.iter().map(String::as_str);
        let by = [part, appraiser].into_iter().chain(also);
        let by: Vec<String> = by.map(str::to_owned).collect();
        let keys = levels::columns(&by)?;
        let keys: Vec<&str> = keys.iter().map(String::as_str).collect();
        let readings = self.select.readings(context, &keys)?;
        let (study, table, sources) = self.any_study(&readings, &by, [part, appraiser])?;
        let digits = Digits::of(readings.sample()?.summary());
        let step = readings.step.map(|step| readings.scale.in_unit(step));
        let sentence = study.sentence(step);
        let coarse = study.warnings(step);
        let guessed = readings.guessed_step().filter(|_| !coarse.is_empty());
        let output = GaugeOutput {
            sentence: Some(sentence),
            variance: table.map(|table| (table, study.pooled.unwrap_or_default())),
            sources,
            ..GaugeOutput::of(
                study.method,
                show::all(FIGURES, &study),
                coarse.into_iter().chain(guessed).collect(),
            )
        };
        output.tell(context, out, &readings, digits)
    }

    /// The study by its method; that of components, if there are further factors, or the plan is not balanced.
    fn any_study(
        &self,
        readings: &Readings,
        by: &[String],
        [part, appraiser]: [&str; 2],
    ) -> Result<(Study, Option<Table>, Option<Components>), Failure> {
        let remedy = "each person measures each part the same number of times, at least twice";
        let none = |reason: Undefined| {
            Failure::usage(format!("no gauge study of these readings: {reason}"))
                .with_remedy(remedy)
        };
        if self.factors.is_empty() && !by.iter().any(|factor| factor.contains('/')) {
            match self.study(readings) {
                Ok((study, table)) => return Ok((study, table, None)),
                Err(Undefined::Unequal { .. }) if self.method == Method::Anova => {}
                Err(reason) => return Err(none(reason)),
            }
        } else if self.method == Method::Range {
            return Err(Failure::usage("the range method has no further factors")
                .with_remedy("leave --method out"));
        }
        let levels = Levels::of_rows(readings, by)?;
        if levels.factors.len() < by.len() {
            return Err(
                Failure::usage("no gauge study: two of its columns are the same")
                    .with_remedy("name different columns: --part part --appraiser who"),
            );
        }
        let cells = levels.cells(readings)?;
        if let Some(together) = Together::find(&cells, &levels.factors) {
            return Err(levels::told_apart(&together));
        }
        let components = Components::new(&cells, &levels.factors, true).map_err(none)?;
        // Parts within lots spread by lots too; parts within appraisers do not make appraisers parts.
        let is_part = |source: &str| {
            let outer = part.strip_prefix(source);
            outer.is_some_and(|inner| inner.is_empty() || inner.starts_with('/'))
                && source != appraiser
        };
        let study = expanded(&components, is_part).map_err(none)?;
        let all = levels.all(readings)?;
        let study = study.within(&all, &readings.limits_if_any());
        Ok((study, None, Some(components)))
    }

    fn study(&self, readings: &Readings) -> Result<(Study, Option<Table>), Undefined> {
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
        let plan = Plan::new(&trials, readings.scale)?;
        let (table, study) = match self.method {
            Method::Anova => {
                let (table, study) = by_anova(&plan, None)?;
                (Some(table), study)
            }
            Method::Range => (None, by_range(&plan)?),
        };
        Ok((
            study.within(plan.all().summary(), &readings.limits_if_any()),
            table,
        ))
    }
}

/// The output of a study.
struct GaugeOutput {
    method: &'static str,
    figures: Vec<Shown>,
    sentence: Option<String>,
    /// The table of the analysis of variance, and whether its interaction was pooled with the error.
    variance: Option<(Table, bool)>,
    /// The components of an expanded or unbalanced study.
    sources: Option<Components>,
    warnings: Vec<Warning>,
}

impl GaugeOutput {
    fn of(method: &'static str, figures: Vec<Shown>, warnings: Vec<Warning>) -> Self {
        Self {
            method,
            figures,
            sentence: None,
            variance: None,
            sources: None,
            warnings,
        }
    }

    fn tell(
        &self,
        context: &Context,
        out: &mut dyn Write,
        readings: &Readings,
        digits: Digits,
    ) -> Result<Exit, Failure> {
        let object = || {
            let mut object = show::head("gauge", readings);
            object.insert("method".to_owned(), json!(self.method));
            show::object(&mut object, &self.figures);
            if let Some(sentence) = &self.sentence {
                object.insert("sentence".to_owned(), json!(sentence));
            }
            if let Some((table, pooled)) = &self.variance {
                object.insert("variance".to_owned(), variance_json(table, *pooled));
                object.insert("pooled".to_owned(), json!(pooled));
            }
            if let Some(components) = &self.sources {
                object.insert("balanced".to_owned(), json!(components.balanced));
                object.insert("sources".to_owned(), factors::sources_json(components));
            }
            object.insert("warnings".to_owned(), show::warnings_json(&self.warnings));
            object
        };
        if show::as_json(context, out, object)? {
            return Ok(Exit::Yes);
        }
        show::heading(out, readings)?;
        if let Some(sentence) = &self.sentence {
            writeln!(out, "{sentence}\n")?;
        }
        show::table(out, &self.figures, digits)?;
        if let Some((table, pooled)) = &self.variance {
            writeln!(out)?;
            variance(out, table, *pooled, readings)?;
        }
        if let Some(components) = &self.sources {
            writeln!(out)?;
            show::statements(out, components.sentences().iter().map(String::as_str))?;
            factors::table(out, components, digits)?;
            factors::squares(out, components, readings)?;
        }
        show::warnings(out, &self.warnings)?;
        Ok(Exit::Yes)
    }
}

fn variance(
    out: &mut dyn Write,
    table: &Table,
    pooled: bool,
    readings: &Readings,
) -> Result<(), Failure> {
    let unit = readings.unit();
    writeln!(
        out,
        "  {:<22}{:>18}{:>20}{:>12}  p",
        "analysis of variance",
        "degrees of freedom",
        format!("mean square, {unit}²"),
        "F"
    )?;
    for line in table.lines(pooled) {
        let (f, p) = match line.tested {
            Some((f, p)) => (fixed(f, 3), chance(p)),
            None => (String::new(), String::new()),
        };
        let words = format!(
            "  {:<22}{:>18}{:>20}{f:>12}  {p}",
            line.name.replace('_', " "),
            line.square.freedom,
            powers(line.square.mean, 4)
        );
        writeln!(out, "{}", words.trim_end())?;
    }
    let p = chance(table.interaction_p);
    if pooled {
        writeln!(
            out,
            "  the interaction of parts and appraisers is pooled with the error: p is {p}, over 0.25"
        )?;
    } else {
        writeln!(
            out,
            "  the interaction of parts and appraisers is not pooled with the error: p is {p}, at most 0.25"
        )?;
    }
    Ok(())
}

fn variance_json(table: &Table, pooled: bool) -> Value {
    let lines = table.lines(pooled).into_iter().map(|line| {
        let square = line.square;
        let (df, ms, ss) = (square.freedom, square.mean, square.sum());
        match line.tested {
            Some((f, p)) => {
                json!({"source": line.name, "df": df, "ms": ms, "ss": ss, "f": f, "p": p})
            }
            None => json!({"source": line.name, "df": df, "ms": ms, "ss": ss}),
        }
    });
    Value::Array(lines.collect())
}
