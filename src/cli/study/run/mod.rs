//! `tallyjaw study run`: a saved study, once for each of its plans and periods.
//!
//! A saved study is the words of a command line. They are read by the definition of that study, so it takes every option
//! that the study takes, and each row of the result is what the study itself says.

mod page;

use super::{Method, show};
use crate::cli::context::Aside;
use crate::cli::failure::FailureKind;
use crate::cli::html_file::HtmlFile;
use crate::cli::{Context, Exit, Failure, wrap};
use crate::clock;
use crate::config::{Config, SavedStudy};
use crate::entry::words::safe;
use crate::quantity::{Date, did_you_mean};
use crate::stats::text::fixed;
use clap::{FromArgMatches as _, Subcommand as _};
use serde_json::{Map, Value, json};
use std::io::Write;
use std::path::PathBuf;

const PAGE: HtmlFile = HtmlFile {
    head: page::HEAD,
    other: "has no saved study of tallyjaw",
    example: "weekly.html",
};

/// Run a study that is saved in the configuration, for each of its plans and periods
///
/// A saved study is a table [[study]] with a name, and the words that follow `tallyjaw study` as its command. With a
/// command that has --gate, the exit code is 1 if a gate failed, if a row has no result for another reason than that no
/// reading matches, or if no row has readings.
#[derive(Debug, clap::Args)]
pub(super) struct Run {
    /// Its name in the configuration [default: list the saved studies]
    #[arg(value_name = "NAME")]
    name: Option<String>,
    /// Write the results as one HTML page into this file
    #[arg(short, long, value_name = "FILE", requires = "name")]
    out: Option<PathBuf>,
}

/// What one row is about.
struct Asked<'s> {
    plan: Option<&'s str>,
    /// The first day, and the first day after it.
    days: Option<(Date, Date)>,
}

/// What became of one row.
enum Outcome {
    /// The study's own object, and its answer.
    Result(Map<String, Value>, Exit),
    NoReadings,
    Refused(Failure),
}

struct Row<'s> {
    asked: Asked<'s>,
    outcome: Outcome,
    /// What the study prints for people; empty unless a page is made.
    text: String,
}

impl Run {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let (path, config) = context.load()?;
        let Some(name) = &self.name else {
            return list(&config, context, out);
        };
        let found = config.studies.iter().find(|study| study.name == *name);
        let study = found.ok_or_else(|| unknown(name, &config))?;
        if let Some(fault) = fault(study) {
            return Err(fault);
        }
        let context = Context {
            config: Some(path),
            json: context.json,
            aside: None,
        };
        let asked = study.asked();
        let mut rows = Vec::with_capacity(asked.len());
        for asked in asked {
            rows.push(Row::of(study, asked, &context, self.out.is_some())?);
        }
        if let Some(file) = &self.out {
            PAGE.put(file, &page::page(study, &rows))?;
        }
        for row in &rows {
            row.write(study, &context, out)?;
        }
        if !context.json {
            writeln!(out, "{}", counts(study, &rows))?;
        }
        Ok(show::gate(study.has_gate(), || passes(&rows)))
    }
}

/// A gate passes if it passed in every row that has readings, and in one at least.
fn passes(rows: &[Row<'_>]) -> bool {
    let passed = |row: &Row<'_>| matches!(row.outcome, Outcome::Result(_, Exit::Yes));
    let is_neutral = |row: &Row<'_>| matches!(row.outcome, Outcome::NoReadings);
    rows.iter().any(passed) && rows.iter().all(|row| passed(row) || is_neutral(row))
}

fn unknown(name: &str, config: &Config) -> Failure {
    let names: Vec<&str> = config
        .studies
        .iter()
        .map(|study| study.name.as_str())
        .collect();
    let remedy = if names.is_empty() {
        "save one in the configuration: [[study]] with name and command".to_owned()
    } else {
        did_you_mean(name, &names)
    };
    Failure::usage(format!("no study {name:?} is saved")).with_remedy(remedy)
}

fn list(config: &Config, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
    for study in &config.studies {
        if context.json {
            let periods = study
                .periods
                .map(|(every, count)| json!({"every": every.name(), "periods": count}));
            let object = json!({"kind": "saved_study", "name": study.name, "command": study.command, "plans": study.plans, "of": periods});
            writeln!(out, "{object}")?;
        } else {
            writeln!(out, "{}: {}", study.name, study.words())?;
        }
    }
    if config.studies.is_empty() && !context.json {
        writeln!(
            out,
            "no study is saved; save one in the configuration: [[study]] with name and command"
        )?;
    }
    Ok(Exit::Yes)
}

impl SavedStudy {
    /// The command as a person would write it.
    fn words(&self) -> String {
        let quoted = |word: &String| {
            if word.contains(' ') {
                format!("\"{word}\"")
            } else {
                word.clone()
            }
        };
        self.command
            .iter()
            .map(quoted)
            .collect::<Vec<_>>()
            .join(" ")
    }

    fn has_gate(&self) -> bool {
        self.command.iter().any(|word| word == "--gate")
    }

    /// A row for each plan and, within it, for each period.
    fn asked(&self) -> Vec<Asked<'_>> {
        let today = clock::wall().local_day(&clock::zone()).parse::<Date>().ok();
        let periods = self.periods.zip(today);
        let days: Vec<Option<(Date, Date)>> = match periods {
            Some(((every, count), today)) => {
                every.last(today, count).into_iter().map(Some).collect()
            }
            None => vec![None],
        };
        let plans = self.plans.iter().map(|plan| Some(plan.as_str()));
        let plans: Vec<Option<&str>> = if self.plans.is_empty() {
            vec![None]
        } else {
            plans.collect()
        };
        let each = |plan| days.iter().map(move |days| Asked { plan, days: *days });
        plans.into_iter().flat_map(each).collect()
    }
}

/// Why the words of a saved study are no study that can be run; `None` if they are one.
pub(in crate::cli) fn fault(study: &SavedStudy) -> Option<Failure> {
    let own = ["--svg", "--json", "--config"];
    let is_own = |word: &&String| own.iter().any(|own| word.split('=').next() == Some(own));
    if let Some(word) = study.command.iter().find(is_own) {
        let fault = Failure::usage(format!("study {}: its command has {word}", study.name));
        return Some(fault.with_remedy(
            "leave it out; `tallyjaw study run` takes --json, and -o FILE for a page",
        ));
    }
    let asked = study.asked();
    asked.first().and_then(|asked| method(study, asked).err())
}

/// The study with the options of the row.
fn method(study: &SavedStudy, asked: &Asked<'_>) -> Result<Method, Failure> {
    let mut words = study.command.clone();
    if let Some(plan) = asked.plan {
        words.extend(["--plan".to_owned(), plan.to_owned()]);
    }
    if let Some((first, after)) = asked.days {
        words.extend(["--since".to_owned(), first.to_string()]);
        words.extend(["--until".to_owned(), after.to_string()]);
    }
    let parser = Method::augment_subcommands(clap::Command::new("study").no_binary_name(true))
        .disable_help_subcommand(true);
    let matches = parser.try_get_matches_from(words);
    let read = matches.and_then(|matches| Method::from_arg_matches(&matches));
    let refused = |why: &str| {
        Failure::usage(format!("study {}: {why}", study.name)).with_remedy(
            "write the command as the words after `tallyjaw study`, and try them there first",
        )
    };
    match read {
        Ok(Method::Run(_)) => Err(refused("it runs a saved study, want a study")),
        Ok(Method::Plan(_)) => Err(refused("it plans a study, want a study of readings")),
        Ok(method) => Ok(method),
        Err(error) => {
            let text = error.render().to_string();
            let first = text.lines().next().unwrap_or_default();
            Err(refused(first.trim_start_matches("error: ")))
        }
    }
}

impl<'s> Row<'s> {
    fn of(
        study: &SavedStudy,
        asked: Asked<'s>,
        context: &Context,
        with_text: bool,
    ) -> Result<Self, Failure> {
        // With a text, one run gives both: the readings are read once.
        let aside = with_text.then(Aside::default);
        let context = Context {
            json: !with_text,
            aside: aside.clone(),
            ..context.clone()
        };
        let mut said = Vec::new();
        let run = method(study, &asked).and_then(|method| method.run(&context, &mut said));
        let (object, text) = match aside {
            Some(aside) => (std::mem::take(&mut *aside.bytes()), said),
            None => (said, Vec::new()),
        };
        let first = String::from_utf8_lossy(&object);
        let outcome = match run {
            // A study says one object; a list of readings may follow it.
            Ok(exit) => match first.lines().next().map(serde_json::from_str) {
                Some(Ok(object)) => Outcome::Result(object, exit),
                _ => Outcome::Refused(Failure::usage("the study says nothing for programs")),
            },
            Err(failure) => match failure.kind() {
                FailureKind::NoReadings => Outcome::NoReadings,
                FailureKind::Usage => Outcome::Refused(failure),
                FailureKind::NoDaemon | FailureKind::Io | FailureKind::ReaderGone => {
                    return Err(failure);
                }
            },
        };
        let text = if matches!(outcome, Outcome::Result(..)) {
            String::from_utf8_lossy(&text).into_owned()
        } else {
            String::new()
        };
        Ok(Self {
            asked,
            outcome,
            text,
        })
    }

    /// What the row is about: plan, and first and last day.
    fn parts(&self) -> Vec<String> {
        let days = self.asked.days.map(|(first, after)| {
            match after.before().filter(|last| *last != first) {
                Some(last) => format!("{first} to {last}"),
                None => first.to_string(),
            }
        });
        let plan = self.asked.plan.map(str::to_owned);
        let parts: Vec<String> = plan.into_iter().chain(days).collect();
        if parts.is_empty() {
            vec!["all readings".to_owned()]
        } else {
            parts
        }
    }

    fn title(&self) -> String {
        self.parts().join(", ")
    }

    /// The outcome in a word or two.
    fn verdict(&self, study: &SavedStudy) -> &'static str {
        match &self.outcome {
            Outcome::Result(_, _) if !study.has_gate() => "result",
            Outcome::Result(_, Exit::Yes) => "gate passed",
            Outcome::Result(_, Exit::No) => "gate FAILED",
            Outcome::NoReadings => "no readings",
            Outcome::Refused(_) => "no result",
        }
    }

    /// The outcome in a sentence.
    fn sentence(&self) -> String {
        match &self.outcome {
            Outcome::Result(object, _) => sentence(object),
            Outcome::NoReadings => "no reading matches".to_owned(),
            Outcome::Refused(failure) => match failure.remedy() {
                Some(remedy) => format!("{failure}; {remedy}"),
                None => failure.to_string(),
            },
        }
    }

    fn write(
        &self,
        study: &SavedStudy,
        context: &Context,
        out: &mut dyn Write,
    ) -> Result<(), Failure> {
        if !context.json {
            writeln!(out, "{}: {}", safe(&self.title()), self.verdict(study))?;
            let sentence = safe(&self.sentence());
            writeln!(
                out,
                "  {}\n",
                wrap::wrapped(&sentence, 2, wrap::terminal_width())
            )?;
            return Ok(());
        }
        let mut object = Map::new();
        object.insert("kind".to_owned(), json!("study_run"));
        object.insert("name".to_owned(), json!(study.name));
        object.insert("plan".to_owned(), json!(self.asked.plan));
        let day = |day: Date| day.to_string();
        object.insert(
            "since".to_owned(),
            json!(self.asked.days.map(|(first, _)| day(first))),
        );
        object.insert(
            "until".to_owned(),
            json!(self.asked.days.map(|(_, after)| day(after))),
        );
        let gate = match &self.outcome {
            Outcome::Result(_, exit) if study.has_gate() => Some(*exit == Exit::Yes),
            Outcome::Result(..) | Outcome::NoReadings | Outcome::Refused(_) => None,
        };
        object.insert("gate_passed".to_owned(), json!(gate));
        match &self.outcome {
            Outcome::Result(result, _) => object.insert("result".to_owned(), json!(result)),
            Outcome::NoReadings | Outcome::Refused(_) => {
                object.insert("no_result".to_owned(), json!(self.sentence()))
            }
        };
        writeln!(out, "{}", Value::Object(object))?;
        Ok(())
    }
}

/// What the study concludes; of a study that only describes, number, mean and standard deviation.
fn sentence(object: &Map<String, Value>) -> String {
    if let Some(sentence) = object.get("sentence").and_then(Value::as_str) {
        return sentence.to_owned();
    }
    let unit = object
        .get("unit")
        .and_then(Value::as_str)
        .unwrap_or_default();
    let shown = [
        ("n", "readings", ""),
        ("mean", "mean", unit),
        ("sd", "standard deviation", unit),
    ];
    let shown = shown.into_iter().filter_map(|(key, words, unit)| {
        let value = object.get(key)?.as_f64()?;
        let places = if unit.is_empty() { 0 } else { 4 };
        let value = fixed(value, places);
        Some(format!("{words} {value} {unit}").trim_end().to_owned())
    });
    shown.collect::<Vec<_>>().join(", ")
}

/// `weekly: gate passed 5, gate FAILED 1, no readings 2`.
fn counts(study: &SavedStudy, rows: &[Row<'_>]) -> String {
    let mut counted: Vec<(&str, usize)> = Vec::new();
    for row in rows {
        let verdict = row.verdict(study);
        match counted.iter_mut().find(|(known, _)| *known == verdict) {
            Some((_, count)) => *count += 1,
            None => counted.push((verdict, 1)),
        }
    }
    let counted: Vec<String> = counted
        .iter()
        .map(|(verdict, count)| format!("{verdict} {count}"))
        .collect();
    format!("{}: {}", study.name, counted.join(", "))
}
