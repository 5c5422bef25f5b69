//! `tallyjaw doctor`: exit 0 if nothing is wrong, 1 if something is.
//!
//! In: this machine, the configuration, the daemon. Out: a line for each examined item, with a remedy if it is not
//! good. Nothing is changed, and no port is opened.

mod authorities;
mod bench;
mod key;
mod machine;
mod tablets;

use super::{Context, Exit, Failure};
use crate::entry::words::safe;
use anstyle::{AnsiColor, Style};
use serde_json::json;
use std::io::Write;

const GOOD: Style = AnsiColor::Green.on_default();
const NOTE: Style = AnsiColor::Yellow.on_default();
const WRONG: Style = AnsiColor::Red.on_default().bold();
const HELP: Style = AnsiColor::Cyan.on_default();

/// Look for what is wrong on this machine, and say what to do about it
///
/// It looks at the configuration, ports and permissions, sockets and the daemon, versions, the signing key, the clock
/// and the disk. No port is opened and nothing is changed; an authority for time stamps is connected to, but no time
/// stamp is requested. A note is worth knowing and is not wrong; with --json each line is an object.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw doctor\n  tallyjaw doctor --json\n\nExit codes: 0 nothing is wrong, 1 something is; what it is and what to do is printed."
)]
pub(in crate::cli) struct Doctor {}

/// The result for an item.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Is {
    Good,
    Note,
    Wrong,
}

impl Is {
    const fn word(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Note => "note",
            Self::Wrong => "wrong",
        }
    }

    const fn style(self) -> Style {
        match self {
            Self::Good => GOOD,
            Self::Note => NOTE,
            Self::Wrong => WRONG,
        }
    }
}

/// An examined item with its result.
#[derive(Debug)]
struct Finding {
    looked_at: &'static str,
    is: Is,
    says: String,
    help: Option<String>,
}

impl Finding {
    fn new(looked_at: &'static str, is: Is, says: impl Into<String>) -> Self {
        Self {
            looked_at,
            is,
            says: says.into(),
            help: None,
        }
    }

    fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }

    /// Adds a remedy, if there is one.
    fn help_of(mut self, help: Option<impl Into<String>>) -> Self {
        self.help = help.map(Into::into);
        self
    }
}

impl Doctor {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let Self {} = self;
        let (mut findings, daemon) = bench::configuration(context);
        findings.extend(machine::groups());
        if let Some(daemon) = &daemon {
            findings.extend(bench::sockets(daemon));
            findings.extend(key::look(daemon));
        }
        let state_dir = daemon.as_ref().map(|daemon| daemon.state_dir.as_path());
        findings.extend(machine::clock(state_dir));
        findings.extend(state_dir.map(machine::disk));
        for finding in &findings {
            if context.json {
                let line = json!({
                    "kind": "finding",
                    "looked_at": finding.looked_at,
                    "is": finding.is.word(),
                    "says": finding.says,
                    "help": finding.help,
                });
                writeln!(out, "{line}")?;
            } else {
                tell(out, finding)?;
            }
        }
        let count = |is| findings.iter().filter(|finding| finding.is == is).count();
        let (wrong, notes) = (count(Is::Wrong), count(Is::Note));
        if context.json {
            let line = json!({ "kind": "examined", "wrong": wrong, "notes": notes });
            writeln!(out, "{line}")?;
        } else {
            let said = match wrong {
                0 => "nothing is wrong".to_owned(),
                1 => "1 thing is wrong".to_owned(),
                more => format!("{more} things are wrong; begin with the first"),
            };
            writeln!(out, "\n{said}")?;
        }
        Ok(if wrong == 0 { Exit::Yes } else { Exit::No })
    }
}

fn tell(out: &mut dyn Write, finding: &Finding) -> std::io::Result<()> {
    let (word, style) = (finding.is.word(), finding.is.style());
    let says = safe(&finding.says);
    writeln!(
        out,
        "{style}{word:<5}{style:#}  {:<13}  {says}",
        finding.looked_at
    )?;
    if let Some(help) = &finding.help {
        writeln!(out, "{:22}{HELP}help{HELP:#}: {}", "", safe(help))?;
    }
    Ok(())
}
