//! `tallyjaw init [DIR]`: exit 0 once a valid configuration is written; 2 for wrong use, or if there is one already; 4
//! if the port cannot be opened or the files cannot be written.
//!
//! Nothing is written until everything is known and checked.

mod files;
mod questions;

use super::listen::{Found, find, toml_text};
use super::{Context, Exit, Failure, check};
use crate::config::{Faulty, Source};
use crate::files::LoadError;
use crate::serial::discover::{self, PortInfo};
use files::Answers;
use questions::{Given, Questions};
use serde_json::json;
use std::ffi::OsStr;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Set a bench up: find the caliper, ask a few questions, write the configuration
///
/// It lists the adapters, finds line settings and format of the caliper while you press its data key, asks for one row
/// of the terminal maker's sheet and a plan, and writes tallyjaw.toml, sheets.toml and plans.toml. It never replaces a
/// file. Each question has an option; with --yes or --json nothing is asked, and an option that is not given has its
/// default.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw init
  tallyjaw init bench --no-port                  without the caliper, which is added later
  tallyjaw init bench --yes --port /dev/ttyUSB0  with an invented row, to try it out
  tallyjaw init --yes --no-port --terminal QF-250-F --wire '1.0 mm²' --height '1.10 ±0.05 mm'

Exit codes: 0 written, 2 wrong use or a configuration is there, 4 the port or the files failed.")]
pub(in crate::cli) struct Init {
    /// The folder, which is made if it does not exist [default: the current folder]
    #[arg(value_name = "DIR")]
    folder: Option<PathBuf>,
    /// Ask no questions; use the options and their defaults
    #[arg(long)]
    yes: bool,
    /// Show what would be written, and write nothing
    #[arg(short = 'n', long)]
    dry_run: bool,
    /// The caliper's port
    #[arg(long, value_name = "PORT", conflicts_with = "no_port")]
    port: Option<PathBuf>,
    /// No caliper yet; `tallyjaw listen PORT --write` adds it later
    #[arg(long)]
    no_port: bool,
    /// The name of this place at the bench
    #[arg(long, value_name = "STATION", default_value = "bench-1")]
    station: String,
    #[command(
        flatten,
        next_help_heading = "Instead of the questions about the crimps"
    )]
    given: Given,
}

impl Init {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let folder = self.folder(context)?;
        refuse_what_is_there(&folder)?;
        let asks = !self.yes && !context.json;
        let mut input = std::io::stdin().lock();
        let mut answers = self.given.over(Answers {
            station: self.station.clone(),
            ..Answers::example()
        });
        let port = if asks {
            let mut questions = Questions {
                input: &mut input,
                out,
            };
            let port = match self.named_port()? {
                Some(port) => port,
                None => questions.port(&discover::ports().unwrap_or_default())?,
            };
            questions.bench(&self.given, &mut answers)?;
            port
        } else {
            answers.row = self.given.row()?;
            if answers.row.is_some() && !self.given.names_the_plan() {
                "first-off".clone_into(&mut answers.plan);
            }
            match self.named_port()? {
                Some(port) => port,
                None => only_adapter(&discover::ports().unwrap_or_default())?,
            }
        };
        // Errors in options are shown before anyone presses a key.
        answers.check(&folder).map_err(faulty)?;
        if let Some(port) = &port {
            match find(port, &answers.station, context.json, out)? {
                Found::Block(block) => answers.instrument = Some(block),
                Found::Nothing => {}
                Found::Interrupted => {
                    return Err(Failure::usage("stopped by Ctrl-C, nothing was written"));
                }
            }
            answers.check(&folder).map_err(faulty)?;
        }
        let sources = answers.sources(&folder);
        if self.dry_run {
            show(&sources, context.json, out)?;
            return Ok(Exit::Yes);
        }
        files::write(&folder, &sources)?;
        let [.., main] = &sources;
        if !context.json {
            writeln!(out)?;
        }
        for source in &sources {
            let path = source.path.display();
            if context.json {
                writeln!(
                    out,
                    "{}",
                    json!({ "kind": "wrote", "path": path.to_string() })
                )?;
            } else {
                writeln!(out, "wrote {path}")?;
            }
        }
        let exit = check::tell(&main.path, context.json, out)?;
        next(&folder, &answers, port.as_deref(), context.json, out)?;
        Ok(exit)
    }

    /// The folder to write to: the argument, or the folder of the main file that `--config` names.
    fn folder(&self, context: &Context) -> Result<PathBuf, Failure> {
        match (&self.folder, &context.config) {
            (Some(folder), None) => Ok(folder.clone()),
            (None, None) => Ok(PathBuf::new()),
            (None, Some(file)) if file.file_name() == Some(OsStr::new("tallyjaw.toml")) => {
                Ok(file.parent().unwrap_or(Path::new("")).to_owned())
            }
            (Some(_) | None, Some(file)) => Err(Failure::usage(format!(
                "init makes tallyjaw.toml in a folder, got the configuration {}",
                file.display()
            ))
            .with_remedy("name the folder alone, without --config and TALLYJAW_CONFIG")),
        }
    }

    /// The port in the options: `None` if neither --port nor --no-port is given.
    #[expect(
        clippy::option_option,
        reason = "not said, no port and a port are three things"
    )]
    fn named_port(&self) -> Result<Option<Option<PathBuf>>, Failure> {
        let Some(port) = &self.port else {
            return Ok(self.no_port.then_some(None));
        };
        match discover::inspect(port).obstacle {
            None => Ok(Some(Some(port.clone()))),
            Some(obstacle) => {
                Err(Failure::io(obstacle.to_string()).with_remedy_of(obstacle.remedy()))
            }
        }
    }
}

fn refuse_what_is_there(folder: &Path) -> Result<(), Failure> {
    let there: Vec<String> = files::in_the_way(folder)
        .iter()
        .map(|path| path.display().to_string())
        .collect();
    if there.is_empty() {
        return Ok(());
    }
    let are = if there.len() == 1 { "is" } else { "are" };
    Err(Failure::usage(format!(
        "{} {are} there already, want a folder without a configuration; nothing was written",
        there.join(", ")
    ))
    .with_remedy(
        "check it with `tallyjaw check`; add a caliper with `tallyjaw listen PORT --write`; for another bench: tallyjaw init DIR",
    ))
}

/// The port of the only adapter that can be opened, if no questions are asked.
fn only_adapter(found: &[PortInfo]) -> Result<Option<PathBuf>, Failure> {
    let adapters = found
        .iter()
        .filter(|port| port.usb.is_some() && port.can_open());
    let paths: Vec<&Path> = adapters.map(|port| port.path.as_path()).collect();
    match paths.as_slice() {
        [] => Ok(None),
        [only] => Ok(Some((*only).to_owned())),
        several @ [first, ..] => {
            let names: Vec<String> = several
                .iter()
                .map(|path| path.display().to_string())
                .collect();
            Err(Failure::usage(format!(
                "{} adapters are plugged in ({}), want the one of the caliper named",
                several.len(),
                names.join(", ")
            ))
            .with_remedy(format!("say --port {}, or --no-port", first.display())))
        }
    }
}

fn faulty(faulty: Faulty) -> Failure {
    super::context::unusable(&LoadError::Faulty(faulty))
}

fn show(sources: &[Source], as_json: bool, out: &mut dyn Write) -> Result<(), Failure> {
    for Source { path, text } in sources {
        let path = path.display();
        if as_json {
            let line = json!({ "kind": "would_write", "path": path.to_string(), "text": text });
            writeln!(out, "{line}")?;
        } else {
            writeln!(out, "\nwould write {path}:\n")?;
            for line in text.lines() {
                writeln!(out, "{}", format!("    {line}").trim_end())?;
            }
        }
    }
    if !as_json {
        writeln!(out, "\nno errors; nothing was written")?;
    }
    Ok(())
}

/// Prints the next steps.
fn next(
    folder: &Path,
    answers: &Answers,
    port: Option<&Path>,
    as_json: bool,
    out: &mut dyn Write,
) -> Result<(), Failure> {
    let mut steps: Vec<(String, &str)> = Vec::new();
    if !folder.as_os_str().is_empty() && folder != Path::new(".") {
        steps.push((format!("cd {}", shell(&folder.display().to_string())), ""));
    }
    if answers.instrument.is_none() {
        let port = port.map_or("PORT".to_owned(), |port| shell(&port.display().to_string()));
        steps.push((
            format!("tallyjaw listen {port} --write"),
            "finds the caliper; `tallyjaw ports` names its port",
        ));
    }
    steps.push((
        "tallyjaw serve".to_owned(),
        "runs until Ctrl-C; the next one in another terminal",
    ));
    steps.push((
        format!("tallyjaw arm {}", answers.plan),
        "starts the plan; then close the jaws and press the data key",
    ));
    if as_json {
        let steps: Vec<&str> = steps.iter().map(|(command, _)| command.as_str()).collect();
        let line = json!({
            "kind": "ready",
            "instrument": answers.instrument.is_some(),
            "example": answers.row.is_none(),
            "next": steps,
        });
        writeln!(out, "{line}")?;
        return Ok(());
    }
    if answers.row.is_none() {
        writeln!(
            out,
            "The row in sheets.toml is an invented example, never to be used for work: put your maker's rows there."
        )?;
    }
    writeln!(out, "\nnext:")?;
    let width = steps.iter().map(|(command, _)| command.chars().count());
    let width = width.max().unwrap_or_default();
    for (command, why) in &steps {
        writeln!(out, "{}", format!("  {command:<width$}  {why}").trim_end())?;
    }
    writeln!(out, "if something does not work: tallyjaw doctor")?;
    Ok(())
}

/// The word with quotes if a shell needs them.
fn shell(word: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "/._-+:@%".contains(c);
    if word.chars().all(plain) {
        return word.to_owned();
    }
    format!("'{}'", word.replace('\'', "'\\''"))
}
