//! `tallyjaw check`: exit 0 without errors, 1 with errors, 2 without a configuration, 4 if it could not be read.
//! Warnings do not change the exit code, because what they point at may be intended.

use super::bench;
use super::card::ODD;
use super::columns::count;
use super::context::unusable;
use super::study::run as saved;
use super::{Context, Exit, Failure};
use crate::clock;
use crate::config::{Config, Diagnostic, Faulty, Severity};
use crate::entry::words::safe;
use crate::files::{self, LoadError};
use crate::spec::care;
use serde_json::{Value, json};
use std::io::ErrorKind::InvalidData;
use std::io::Write;
use std::path::Path;

/// Find mistakes in the configuration and in every sheet, plan and tool
///
/// One run shows all mistakes of all files, each with file, line and column, what was found, what is expected and what
/// to do. If there are none, warnings follow: sheet values that are unlikely (rows out of order, a tolerance too fine
/// for every instrument, inches typed as mm, swapped columns), calibrations and checks that are overdue today, and
/// programs that are missing. With --json the `kind` of an object is `error`, `warning`, `overdue` or `surroundings`
/// (of the machine).
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw check\n  tallyjaw --config bench/tallyjaw.toml check\n\nExit codes: 0 no mistakes (warnings or not), 1 mistakes, 2 no configuration, 4 it cannot be read."
)]
pub(super) struct Check {}

impl Check {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let Self {} = self;
        tell(&context.config_path()?, context.json, out)
    }
}

/// Prints every error and warning of the configuration at `path`.
pub(super) fn tell(path: &Path, as_json: bool, out: &mut dyn Write) -> Result<Exit, Failure> {
    let loaded = files::load(path);
    let studies = loaded.iter().flat_map(|config| &config.studies);
    let no_studies: Vec<Failure> = studies.filter_map(saved::fault).collect();
    if !no_studies.is_empty() {
        return unusable_studies(&no_studies, as_json, out);
    }
    match loaded {
        Ok(config) if as_json => {
            for warning in &config.warnings.diagnostics {
                writeln!(out, "{}", fault_json(warning))?;
            }
            let overdue = overdue(&config);
            for warning in &overdue {
                writeln!(out, "{}", json!({ "kind": "overdue", "says": warning }))?;
            }
            let around = bench::surroundings(&config);
            for warning in &around {
                writeln!(
                    out,
                    "{}",
                    json!({ "kind": "surroundings", "says": warning })
                )?;
            }
            writeln!(out, "{}", clean_json(&config, overdue.len() + around.len()))?;
        }
        Ok(config) => clean(path, &config, out)?,
        Err(LoadError::Faulty(faulty)) if as_json => {
            faulty_json(&faulty, out)?;
            return Ok(Exit::No);
        }
        Err(LoadError::Faulty(faulty)) => {
            for fault in faulty.rendered(true) {
                writeln!(out, "{fault}\n")?;
            }
            writeln!(out, "{}", summary(&faulty))?;
            return Ok(Exit::No);
        }
        // The file is not UTF-8, which is an error of the user and not of the disk.
        Err(LoadError::Unreadable { path, cause }) if cause.kind() == InvalidData => {
            let error = LoadError::Unreadable { path, cause };
            if as_json {
                no_text_json(&error, out)?;
            } else {
                writeln!(out, "error: {error}\n{}\n\n1 error", error.remedy())?;
            }
            return Ok(Exit::No);
        }
        Err(error @ LoadError::Unreadable { .. }) => return Err(unusable(&error)),
    }
    Ok(Exit::Yes)
}

/// Prints the saved studies whose commands are no studies. Only the command line knows its own words, so these errors have
/// no line of the file.
fn unusable_studies(
    faults: &[Failure],
    as_json: bool,
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    for fault in faults {
        let help = fault.remedy().unwrap_or_default();
        if as_json {
            let got = fault.to_string();
            writeln!(
                out,
                "{}",
                json!({ "kind": "error", "got": got, "help": help })
            )?;
        } else {
            writeln!(
                out,
                "{ODD}error{ODD:#}: {}\n{help}\n",
                safe(&fault.to_string())
            )?;
        }
    }
    if as_json {
        writeln!(
            out,
            "{}",
            json!({ "kind": "checked", "errors": faults.len() })
        )?;
    } else {
        writeln!(out, "{}", count(faults.len(), "error"))?;
    }
    Ok(Exit::No)
}

fn clean(path: &Path, config: &Config, out: &mut dyn Write) -> Result<(), Failure> {
    let catalog = &config.catalog;
    let sizes = catalog.terminals.iter().map(|terminal| terminal.rows.len());
    for warning in config.warnings.rendered(true) {
        writeln!(out, "{warning}\n")?;
    }
    let mut overdue = overdue(config);
    overdue.extend(bench::surroundings(config));
    for warning in &overdue {
        writeln!(out, "{ODD}warning{ODD:#}: {}\n", safe(warning))?;
    }
    let warned = match config.warnings.diagnostics.len() + overdue.len() {
        0 => String::new(),
        some => format!(", {}", count(some, "warning")),
    };
    writeln!(out, "{}: no errors{warned}", path.display())?;
    writeln!(
        out,
        "{}, {}, {} with {}, {}, {}",
        count(catalog.stations.len(), "station"),
        count(catalog.instruments.len(), "instrument"),
        count(catalog.terminals.len(), "terminal"),
        count(sizes.sum(), "row"),
        count(catalog.plans.len(), "plan"),
        count(catalog.tools.len(), "tool"),
    )?;
    Ok(())
}

/// Calibrations and checks that are overdue today by the dates of the configuration. Crimps and verifications are in
/// the journal, so `tools` and arming report those.
fn overdue(config: &Config) -> Vec<String> {
    let now = clock::wall();
    let instruments = config.catalog.instruments.iter();
    let calibrations =
        instruments.filter_map(|known| care::calibration(&known.name, &known.care, now));
    let tools = config.catalog.tools.iter();
    let checks = tools.flat_map(|tool| care::check(&tool.id, &tool.care, None, now));
    calibrations.chain(checks).collect()
}

fn summary(faulty: &Faulty) -> String {
    let with_faults = faulty.sources.iter().filter(|source| {
        let here = |fault: &Diagnostic| fault.path == source.path;
        faulty.diagnostics.iter().any(here)
    });
    format!(
        "{} in {}",
        count(faulty.diagnostics.len(), "error"),
        count(with_faults.count(), "file")
    )
}

fn clean_json(config: &Config, overdue: usize) -> Value {
    let catalog = &config.catalog;
    json!({
        "kind": "checked",
        "errors": 0,
        "warnings": config.warnings.diagnostics.len() + overdue,
        "digest": config.digest,
        "stations": catalog.stations.len(),
        "instruments": catalog.instruments.len(),
        "terminals": catalog.terminals.len(),
        "plans": catalog.plans.len(),
        "tools": catalog.tools.len(),
    })
}

fn no_text_json(error: &LoadError, out: &mut dyn Write) -> Result<(), Failure> {
    let line = json!({ "kind": "error", "got": error.to_string(), "help": error.remedy() });
    writeln!(out, "{line}")?;
    writeln!(out, "{}", json!({ "kind": "checked", "errors": 1 }))?;
    Ok(())
}

fn faulty_json(faulty: &Faulty, out: &mut dyn Write) -> Result<(), Failure> {
    for fault in &faulty.diagnostics {
        writeln!(out, "{}", fault_json(fault))?;
    }
    let errors = faulty.diagnostics.len();
    writeln!(out, "{}", json!({ "kind": "checked", "errors": errors }))?;
    Ok(())
}

fn fault_json(fault: &Diagnostic) -> Value {
    let kind = match fault.severity {
        Severity::Error => "error",
        Severity::Warning => "warning",
    };
    let mut line = json!({
        "kind": kind,
        "file": fault.path.display().to_string(),
        "line": fault.line,
        "column": fault.column,
        "got": fault.message,
        "want": fault.label,
    });
    if let (Some(help), Some(object)) = (&fault.help, line.as_object_mut()) {
        object.insert("help".to_owned(), json!(help));
    }
    line
}
