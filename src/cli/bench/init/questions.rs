//! Asks a person questions, one on each line, with the default in brackets, until the answer is valid.
//!
//! In: a line for each answer. Out: answers. If the input ends, that is a failure before anything is written.

use super::super::ports;
use super::files::{Answers, Row};
use crate::cli::Failure;
use crate::serial::discover::{self, PortInfo};
use crate::spec::wire::{WireError, resolve};
use crate::spec::{SizingSystem, WireRequest};
use anstyle::{AnsiColor, Style};
use std::io::{BufRead, Write};
use std::path::{Path, PathBuf};

const BOLD: Style = Style::new().bold();
const NO: Style = AnsiColor::Yellow.on_default();

/// Asks on `out` and reads the answers.
pub(super) struct Questions<'a> {
    pub(super) input: &'a mut dyn BufRead,
    pub(super) out: &'a mut dyn Write,
}

impl Questions<'_> {
    /// Asks until `accepts` takes the answer. An empty line means the default, if there is one.
    fn ask<T>(
        &mut self,
        question: &str,
        default: Option<&str>,
        mut accepts: impl FnMut(&str) -> Result<T, String>,
    ) -> Result<T, Failure> {
        loop {
            write!(self.out, "{BOLD}{question}{BOLD:#}")?;
            if let Some(default) = default {
                write!(self.out, " [{default}]")?;
            }
            write!(self.out, ": ")?;
            self.out.flush()?;
            let mut line = String::new();
            let read = self.input.read_line(&mut line).map_err(|error| {
                Failure::io("the answer cannot be read, nothing was written").because(&error)
            })?;
            if read == 0 {
                writeln!(self.out)?;
                return Err(Failure::usage(
                    "the input ended before all questions were answered, nothing was written",
                )
                .with_remedy(
                    "start again and answer each, or give the answers as options: tallyjaw init --help",
                ));
            }
            let answer = match (line.trim(), default) {
                ("", Some(default)) => default,
                (typed, _) => typed,
            };
            match accepts(answer) {
                Ok(answer) => return Ok(answer),
                Err(why) => writeln!(self.out, "  {NO}no{NO:#}: {why}")?,
            }
        }
    }

    /// Asks for the caliper's port: one of those found, another path, or none.
    pub(super) fn port(&mut self, found: &[PortInfo]) -> Result<Option<PathBuf>, Failure> {
        let adapters: Vec<&PortInfo> = found.iter().filter(|port| port.usb.is_some()).collect();
        for port in &adapters {
            ports::write_text(self.out, port)?;
        }
        if adapters.is_empty() {
            ports::no_adapter(self.out)?;
        }
        let ready: Vec<String> = adapters
            .iter()
            .filter(|port| port.can_open())
            .map(|port| port.path.display().to_string())
            .collect();
        let default = match ready.as_slice() {
            [only] => Some(only.as_str()),
            [] => Some("none"),
            [_, _, ..] => None,
        };
        self.ask(
            "Port of the caliper, or none",
            default,
            |answer| match answer {
                "" => Err("type its path, such as /dev/ttyUSB0, or none".to_owned()),
                "none" | "-" => Ok(None),
                path => openable(Path::new(path)).map(Some),
            },
        )
    }

    /// Asks for a row of a sheet and a plan, except for what `given` answers.
    pub(super) fn bench(&mut self, given: &Given, answers: &mut Answers) -> Result<(), Failure> {
        if given.example {
            return Ok(());
        }
        writeln!(
            self.out,
            "One row of the terminal maker's sheet to begin with; more are added in sheets.toml."
        )?;
        let terminal = match &given.terminal {
            Some(id) => Some(id.clone()),
            None => self.ask(
                "Terminal, its part number",
                Some("an invented example"),
                |answer| {
                    if answer == "an invented example" {
                        return Ok(None);
                    }
                    let row = Row {
                        terminal: answer.to_owned(),
                        ..example_row()
                    };
                    fits(row, answers).map(|row| Some(row.terminal))
                },
            )?,
        };
        let Some(terminal) = terminal else {
            return Ok(());
        };
        let mut row = Row {
            terminal,
            source: given.source(),
            ..example_row()
        };
        self.wire(given, answers, &mut row)?;
        self.limits(given, answers, &mut row)?;
        answers.row = Some(row);
        if given.plan.is_none() {
            "first-off".clone_into(&mut answers.plan);
            let named = |answers: &Answers, plan: &str| Answers {
                plan: plan.to_owned(),
                ..answers.clone()
            };
            let plan = self.ask(
                "Name of the plan, as it is started",
                Some("first-off"),
                |answer| {
                    named(answers, answer)
                        .fault()
                        .map_or(Ok(answer.to_owned()), Err)
                },
            )?;
            answers.plan = plan;
        }
        if given.pieces.is_none() {
            let counted = |answers: &Answers, pieces: &str| Answers {
                pieces: pieces.to_owned(),
                ..answers.clone()
            };
            let pieces = self.ask("Pieces to measure", Some("5"), |answer| {
                counted(answers, answer)
                    .fault()
                    .map_or(Ok(answer.to_owned()), Err)
            })?;
            answers.pieces = pieces;
        }
        Ok(())
    }

    fn wire(&mut self, given: &Given, answers: &Answers, row: &mut Row) -> Result<(), Failure> {
        row.sizing.clone_from(&given.sizing);
        row.wire = match &given.wire {
            Some(wire) => wire.clone(),
            None => self.ask("Wire size, such as 1.0 mm² or 16 ga", None, |answer| {
                let request = WireRequest {
                    text: answer.to_owned(),
                    sizing: None,
                };
                match resolve(&request) {
                    Ok(_) | Err(WireError::SizingMissing { .. }) => Ok(answer.to_owned()),
                    Err(error) => Err(format!("{error}\n  help: {}", error.remedy())),
                }
            })?,
        };
        let request = WireRequest {
            text: row.wire.clone(),
            sizing: None,
        };
        if let (None, Err(WireError::SizingMissing { gauge })) = (&row.sizing, resolve(&request)) {
            writeln!(self.out, "  {}", WireError::SizingMissing { gauge })?;
            let systems = [SizingSystem::SaeMetric, SizingSystem::AwgArea];
            let possible = systems
                .into_iter()
                .filter(|system| gauge.area(*system).is_some());
            let names: Vec<&str> = possible.map(SizingSystem::name).collect();
            let names = names.join(" or ");
            let system = self.ask(&format!("System of the gauge, {names}"), None, |answer| {
                let candidate = Row {
                    sizing: Some(answer.to_owned()),
                    ..row.clone()
                };
                fits(candidate, answers).map(|row| row.sizing)
            })?;
            row.sizing = system;
        }
        Ok(())
    }

    fn limits(&mut self, given: &Given, answers: &Answers, row: &mut Row) -> Result<(), Failure> {
        row.width = None;
        row.height = match &given.height {
            Some(height) => height.clone(),
            None => self.ask(
                "Crimp height of the core, such as 1.62 ±0.05 mm",
                None,
                |answer| {
                    let candidate = Row {
                        height: answer.to_owned(),
                        ..row.clone()
                    };
                    fits(candidate, answers).map(|row| row.height)
                },
            )?,
        };
        row.width = match &given.width {
            Some(width) => Some(width.clone()),
            None => self.ask("Crimp width of the core", Some("not measured"), |answer| {
                if answer == "not measured" {
                    return Ok(None);
                }
                let candidate = Row {
                    width: Some(answer.to_owned()),
                    ..row.clone()
                };
                fits(candidate, answers).map(|row| row.width)
            })?,
        };
        Ok(())
    }
}

/// The answers that were given as options.
#[derive(Debug, Clone, clap::Args)]
pub(super) struct Given {
    /// The invented example instead of a row of a sheet; never to be used for work
    #[arg(long, conflicts_with_all = ["terminal", "wire", "sizing", "height", "width", "source"])]
    example: bool,
    /// The terminal, by its maker's part number
    #[arg(long, value_name = "TERMINAL")]
    terminal: Option<String>,
    /// Which sheet its limits are from, with revision
    #[arg(long, value_name = "TEXT", requires = "terminal")]
    source: Option<String>,
    /// The wire: '1.0 mm²', or '16 ga' with --sizing
    #[arg(long, value_name = "SIZE", requires = "terminal")]
    wire: Option<String>,
    /// The system of a gauge: `sae_metric` or `awg_area`
    #[arg(long, value_name = "SYSTEM", requires = "wire")]
    sizing: Option<String>,
    /// Limits of the core's crimp height: '1.10 ±0.05 mm'
    #[arg(long, value_name = "LIMITS", requires = "terminal")]
    height: Option<String>,
    /// Limits of the core's crimp width
    #[arg(long, value_name = "LIMITS", requires = "terminal")]
    width: Option<String>,
    /// The name of the plan [first-off]
    #[arg(long, value_name = "PLAN")]
    plan: Option<String>,
    /// The number of pieces of the plan [5]
    #[arg(long, value_name = "N")]
    pieces: Option<String>,
}

impl Given {
    fn source(&self) -> String {
        let unsaid = "typed at set-up; name the maker's sheet and its revision here";
        self.source.clone().unwrap_or_else(|| unsaid.to_owned())
    }

    /// The defaults, replaced by the answers in options.
    pub(super) fn over(&self, mut answers: Answers) -> Answers {
        if let Some(plan) = &self.plan {
            answers.plan.clone_from(plan);
        }
        if let Some(pieces) = &self.pieces {
            answers.pieces.clone_from(pieces);
        }
        answers
    }

    /// The row if no questions are asked; `None` (the example) without a terminal.
    pub(super) fn row(&self) -> Result<Option<Row>, Failure> {
        let Some(terminal) = &self.terminal else {
            return Ok(None);
        };
        let (Some(wire), Some(height)) = (&self.wire, &self.height) else {
            return Err(Failure::usage(format!(
                "terminal {terminal} was given without its wire and height, want all of its row"
            ))
            .with_remedy(
                "add --wire SIZE --height LIMITS, or leave out --yes and --json to be asked",
            ));
        };
        Ok(Some(Row {
            terminal: terminal.clone(),
            source: self.source(),
            wire: wire.clone(),
            sizing: self.sizing.clone(),
            height: height.clone(),
            width: self.width.clone(),
        }))
    }

    /// Whether the plan's name is given.
    pub(super) fn names_the_plan(&self) -> bool {
        self.plan.is_some()
    }
}

/// A valid row, in which a single answer can be checked.
fn example_row() -> Row {
    Row {
        terminal: "X".to_owned(),
        source: "X".to_owned(),
        wire: "1.0 mm²".to_owned(),
        sizing: None,
        height: "1.00 ±0.05 mm".to_owned(),
        width: None,
    }
}

/// The row, if it is valid.
fn fits(row: Row, answers: &Answers) -> Result<Row, String> {
    let tried = Answers {
        row: Some(row.clone()),
        ..answers.clone()
    };
    tried.fault().map_or(Ok(row), Err)
}

/// The path, if the port can be opened.
fn openable(path: &Path) -> Result<PathBuf, String> {
    match discover::inspect(path).obstacle {
        None => Ok(path.to_owned()),
        Some(obstacle) => {
            let help = obstacle.remedy();
            let help = help.map_or_else(String::new, |help| format!("\n  help: {help}"));
            Err(format!("{obstacle}{help}"))
        }
    }
}
