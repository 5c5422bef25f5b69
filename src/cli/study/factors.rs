//! `tallyjaw study factors`.

use super::levels::{read, told_apart};
use super::readings::Readings;
use super::select::Select;
use super::show::{self, Digits};
use crate::cli::{Context, Exit, Failure};
use crate::stats::components::{Components, PLAN, Part, Source, Together};
use crate::stats::picture::{boxes_svg, multi_vari_svg};
use crate::stats::text::{chance, fixed, powers};
use crate::stats::{CONFIDENCE, FigureKind, Undefined};
use serde_json::{Map, Value, json};
use std::io::Write;
use std::path::PathBuf;

/// A picture of factors.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Drawing {
    /// The readings of each combination of levels, from lowest to highest, with their means joined
    MultiVari,
    /// A box plot for each level of each factor
    Boxes,
}

/// Variance components: how much of the spread comes from tools, nests, persons, days
///
/// Factors may be nested (`tool/nest`: nests within tools) or crossed, and combinations may be missing. Each is taken as
/// random. The method is the analysis of variance by fitting constants (Henderson's method 3).
#[derive(Debug, clap::Args)]
pub(super) struct Factors {
    #[command(flatten)]
    select: Select,
    /// The factors, columns of the file or properties in the journal: `tool/nest,operator,day`
    #[arg(long, value_name = "FACTORS", value_delimiter = ',', required = true)]
    by: Vec<String>,
    /// What --svg draws
    #[arg(long, value_enum, default_value = "multi-vari")]
    picture: Drawing,
    /// Draw a picture of the factors into this file
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

impl Factors {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let (readings, levels) = read(&self.select, context, &self.by)?;
        readings.of_one_nominal()?;
        let cells = levels.cells(&readings)?;
        if let Some(together) = Together::find(&cells, &levels.factors) {
            return Err(told_apart(&together));
        }
        let components = Components::new(&cells, &levels.factors, true).map_err(|reason| {
            Failure::usage(format!(
                "no variance components of these readings: {reason}"
            ))
            .with_remedy(
                "measure at least two levels of each factor, and some combination of levels twice",
            )
        })?;
        let title = readings.heading();
        show::picture(self.svg.as_deref(), || match self.picture {
            Drawing::MultiVari => multi_vari_svg(&title, &levels.names(), &cells),
            Drawing::Boxes => boxes_svg(&title, &levels.boxes(&readings)),
        })?;
        let all = levels.all(&readings)?;
        let said = [components.sentences(), levels.in_turn()].concat();
        if show::as_json(context, out, || object(&readings, &components, &said))? {
            return Ok(Exit::Yes);
        }
        show::heading(out, &readings)?;
        show::statements(out, said.iter().map(String::as_str))?;
        writeln!(out)?;
        table(out, &components, Digits::of(&all))?;
        writeln!(out)?;
        squares(out, &components, &readings)?;
        writeln!(out, "  {PLAN}")?;
        Ok(Exit::Yes)
    }
}

/// A source with its standard deviation, or why it has none.
fn parts(components: &Components) -> impl Iterator<Item = (&Source, Result<Part, Undefined>)> {
    let sources = components.sources.iter();
    sources.map(|source| (source, components.part(source, CONFIDENCE)))
}

pub(super) fn table(
    out: &mut dyn Write,
    components: &Components,
    digits: Digits<'_>,
) -> Result<(), Failure> {
    let words = components
        .sources
        .iter()
        .map(|of| of.words().chars().count());
    let width = words.max().unwrap_or(0);
    writeln!(out, "  standard deviation, and share in the total variance")?;
    for ((source, part), share) in parts(components).zip(components.shares()) {
        let name = source.words();
        let text = |value: f64| digits.text(FigureKind::Reading, value);
        match part {
            Ok(Part { sd, low, high }) => writeln!(
                out,
                "  {name:<width$}  {}  ({} to {})  {} %",
                text(sd),
                text(low),
                text(high),
                share.map_or_else(String::new, Components::percent)
            )?,
            Err(reason) => writeln!(out, "  {name:<width$}  –  ({reason})")?,
        }
    }
    writeln!(out, "  in parentheses: 95 % confidence intervals")?;
    Ok(())
}

pub(super) fn squares(
    out: &mut dyn Write,
    components: &Components,
    readings: &Readings,
) -> Result<(), Failure> {
    let unit = readings.unit();
    writeln!(
        out,
        "  {:<26}{:>7}{:>10}{:>20}{:>11}  p",
        "analysis of variance",
        "levels",
        "df",
        format!("mean square, {unit}²"),
        "F"
    )?;
    for source in &components.sources {
        let (f, p) = match components.tested(source) {
            Ok(test) => (fixed(test.f, 3), chance(test.p)),
            Err(_) => (String::new(), String::new()),
        };
        let square = source
            .mean_square
            .map_or_else(String::new, |mean| powers(mean, 4));
        let words = format!(
            "  {:<26}{:>7}{:>10}{square:>20}{f:>11}  {p}",
            source.name,
            source.levels,
            fixed(source.freedom, 0)
        );
        writeln!(out, "{}", words.trim_end())?;
    }
    Ok(())
}

fn object(readings: &Readings, components: &Components, said: &[String]) -> Map<String, Value> {
    let mut object = show::head("factors", readings);
    object.insert("n".to_owned(), json!(components.count()));
    object.insert("balanced".to_owned(), json!(components.balanced));
    object.insert("sources".to_owned(), sources_json(components));
    object.insert("sentence".to_owned(), json!(said.join("; ")));
    object
}

/// The sources with their components, as a list.
pub(super) fn sources_json(components: &Components) -> Value {
    let variances = components.variances();
    let list = parts(components)
        .zip(variances)
        .zip(components.shares())
        .map(|(((source, part), variance), share)| {
            source_json(components, source, (part, variance), share)
        });
    Value::Array(list.collect())
}

fn source_json(
    components: &Components,
    source: &Source,
    found: (Result<Part, Undefined>, Result<f64, Undefined>),
    share: Option<f64>,
) -> Value {
    let mut one = Map::new();
    let mut put = |name: &str, value: Value| one.insert(name.to_owned(), value);
    put("source", json!(source.name));
    put("levels", json!(source.levels));
    put("df", json!(source.freedom));
    put("interaction", json!(source.is_interaction));
    if let Some(mean) = source.mean_square {
        put("ms", json!(mean));
        let expected = source.expected.iter();
        let expected = expected.map(|(name, factor)| (name.clone(), json!(factor)));
        put("expected", Value::Object(expected.collect()));
    }
    match found {
        (Ok(Part { sd, low, high }), Ok(variance)) => {
            put("variance", json!(variance));
            put("sd", json!(sd));
            put("sd_low", json!(low));
            put("sd_high", json!(high));
        }
        (Err(reason), _) | (_, Err(reason)) => {
            put("undefined", json!({"sd": reason.to_string()}));
        }
    }
    if let Some(share) = share {
        put("share", json!(share));
    }
    if let Ok(test) = components.tested(source) {
        put("f", json!(test.f));
        put("f_df", json!(test.freedom));
        put("p", json!(test.p));
    }
    Value::Object(one)
}
