//! `tallyjaw study agreement`.

use super::answers;
use super::show;
use crate::cli::query::Query;
use crate::cli::{Context, Exit, Failure};
use crate::stats::Undefined;
use crate::stats::agreement::{Against, Between, Study};
use crate::stats::proportion::Share;
use serde_json::{Map, Value, json};
use std::io::Write;
use std::path::PathBuf;

/// Visual checks: do several persons, and the same person twice, answer the same about the same pieces?
///
/// In the journal each person starts the same plan on the same pieces: an item is a visual check of a piece number, and
/// the appraiser is the operator of the series. Answers in a file may be any words.
#[derive(Debug, clap::Args)]
pub(super) struct Agreement {
    #[command(flatten)]
    pub(super) query: Query,
    /// Answers from this CSV file instead of the journal (`-` is standard input)
    #[arg(long, value_name = "FILE", requires = "column", conflicts_with_all = Query::arguments(), help_heading = "From a file")]
    pub(super) from: Option<PathBuf>,
    /// The column of the answers
    #[arg(
        long,
        value_name = "NAME",
        requires = "from",
        help_heading = "From a file"
    )]
    pub(super) column: Option<String>,
    /// The column of the item [default: part]
    #[arg(
        long,
        value_name = "COLUMN",
        requires = "from",
        help_heading = "From a file"
    )]
    pub(super) part: Option<String>,
    /// The column of the appraiser [default: appraiser]
    #[arg(
        long,
        value_name = "COLUMN",
        requires = "from",
        help_heading = "From a file"
    )]
    pub(super) appraiser: Option<String>,
    /// The column of the right answer
    #[arg(
        long,
        value_name = "COLUMN",
        requires = "from",
        help_heading = "From a file"
    )]
    pub(super) reference: Option<String>,
}

impl Agreement {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let (title, answers) = answers::read(&self, context)?;
        let study = answers.study();
        if study.appraisers.len() < 2 && study.within.is_empty() && study.against.is_empty() {
            return Err(Failure::usage(
                "these answers are of one appraiser, who looked at each item once",
            )
            .with_remedy("let a second person look at the same items, or the same person again"));
        }
        if show::as_json(context, out, || object(&title, &study))? {
            return Ok(Exit::Yes);
        }
        let (items, words) = (study.items, study.words.join(", "));
        writeln!(out, "{title}: {items} items, answers: {words}\n")?;
        writeln!(out, "{}\n", study.sentence())?;
        for of in &study.within {
            writeln!(out, "{} again: {}", of.names.0, of.words())?;
        }
        for of in &study.between {
            writeln!(out, "{} and {}: {}", of.names.0, of.names.1, of.words())?;
        }
        if let Some(of) = &study.together {
            writeln!(out, "all together: {}", of.words())?;
        }
        for Against { all, missed } in &study.against {
            writeln!(
                out,
                "{} against the reference: {}",
                all.names.0,
                all.words()
            )?;
            for (word, wrong, of) in missed {
                let share = Share::of(*wrong, *of, crate::stats::CONFIDENCE);
                let share = share.map_or_else(
                    |_| String::new(),
                    |share| {
                        let [share, low, high] = share.percent();
                        format!(", {share} ({low} to {high})")
                    },
                );
                writeln!(out, "  {word}: {wrong} of {of} answered otherwise{share}")?;
            }
        }
        writeln!(out, "  in parentheses: 95 % confidence intervals")?;
        Ok(Exit::Yes)
    }
}

fn between(of: &Between) -> Map<String, Value> {
    let mut one = Map::new();
    let mut put = |name: &str, value: Value| one.insert(name.to_owned(), value);
    put("appraisers", json!([of.names.0, of.names.1]));
    put("agreed", json!(of.agreed));
    put("items", json!(of.items));
    let mut undefined = Map::new();
    let mut none = |name: &str, reason: Undefined| {
        undefined.insert(name.to_owned(), json!(reason.to_string()));
    };
    match of.share {
        Ok(share) => {
            put("share", json!(share.share));
            put("share_low", json!(share.low));
            put("share_high", json!(share.high));
        }
        Err(reason) => none("share_low", reason),
    }
    match of.kappa {
        Ok(kappa) => {
            put("kappa", json!(kappa.value));
            put("expected", json!(kappa.expected));
            match kappa.bounds {
                Ok((low, high)) => {
                    put("kappa_low", json!(low));
                    put("kappa_high", json!(high));
                }
                Err(reason) => none("kappa_low", reason),
            }
        }
        Err(reason) => none("kappa", reason),
    }
    if !undefined.is_empty() {
        put("undefined", Value::Object(undefined));
    }
    one
}

fn list(all: &[Between]) -> Value {
    all.iter().map(|of| Value::Object(between(of))).collect()
}

fn object(title: &str, study: &Study) -> Map<String, Value> {
    let mut object = Map::new();
    let against = study.against.iter().map(|against| {
        let mut one = between(&against.all);
        let missed = against.missed.iter();
        let missed =
            missed.map(|(word, wrong, of)| json!({"answer": word, "otherwise": wrong, "of": of}));
        one.insert("missed".to_owned(), missed.collect());
        Value::Object(one)
    });
    let parts = [
        ("kind", json!("study")),
        ("study", json!("agreement")),
        ("of", json!(title)),
        ("items", json!(study.items)),
        ("pieces", json!(study.pieces)),
        ("answers", json!(study.words)),
        ("appraisers", json!(study.appraisers)),
        ("within", list(&study.within)),
        ("between", list(&study.between)),
        ("together", json!(study.together.as_ref().map(between))),
        ("against", against.collect()),
        ("sentence", json!(study.sentence())),
    ];
    for (name, value) in parts {
        object.insert(name.to_owned(), value);
    }
    object
}
