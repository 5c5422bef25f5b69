//! Configuration, sheets, plans and tools as text → checked values, or located errors.
//!
//! In: the texts of the files. Out: a [`Config`] in which every reference exists, or every fault
//! of every file at once, each with its place and remedy.
//!
//! - Nothing in here opens a file: [`main_file`] names what else to read, [`assemble`] takes it.
//! - No fault hides another: a faulty part is left out and the rest is still checked.

mod alerts;
mod announce;
mod blocks;
mod capture;
mod care;
mod check;
pub mod diagnostic;
mod faults;
pub mod import;
mod inline;
mod instrument;
pub mod line;
mod lint;
mod main_file;
mod mqtt;
mod page;
mod parse;
mod plan;
mod sheet;
mod signal;
mod sink;
mod table;
mod tool;
mod value;

pub use announce::PLACEHOLDERS;
pub use diagnostic::{Diagnostic, Severity, Source};
pub use faults::Vocabulary;
pub use inline::{RequestFault, inline_plan};
pub use line::{LineSettings, LineSettingsError, ModemLine, Parity, PortSelector};
pub use main_file::{MainFile, main_file};
pub use mqtt::MqttConfig;
pub use sink::{DataSetConfig, SinkConfig, SinkSettings};

use crate::spec::Catalog;
use check::Raw;
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::path::PathBuf;
use std::sync::Arc;

/// The configuration as JSON Schema (2020-12). It is read by hand, so that every fault has its place; so is its schema
/// written. A test holds it against what the readers ask for.
pub const SCHEMA: &str = include_str!("schema.json");

/// A checked configuration.
#[derive(Debug, Clone)]
pub struct Config {
    /// Where the daemon keeps its things.
    pub daemon: DaemonConfig,
    /// The bench page; `None` where none is served.
    pub page: Option<PageConfig>,
    /// What reads the journal and puts it somewhere else, beside the verdict log.
    pub sinks: Vec<SinkConfig>,
    /// The port of each instrument, in the order of the configuration.
    pub ports: Vec<PortConfig>,
    /// What can be armed.
    pub catalog: Arc<Catalog>,
    /// What looks wrong in it and may yet be meant, with the files it is in.
    pub warnings: Faulty,
    /// Which keys could have stood in its tables.
    pub vocabulary: Vocabulary,
    /// SHA-256 over all files, hex.
    pub digest: String,
}

/// Where the daemon keeps its things.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DaemonConfig {
    /// The journal lives in `state_dir/journal`. Relative paths have been joined to the folder of
    /// the configuration file.
    pub state_dir: PathBuf,
    /// `feed.sock` and `control.sock` live here.
    pub runtime_dir: PathBuf,
    /// The mode of `feed.sock`; 0600 unless configured.
    pub socket_mode: u32,
    /// The group of `feed.sock`, by name.
    pub socket_group: Option<String>,
    /// The program that says verdicts aloud, and its arguments; empty where none does.
    pub announce: Vec<String>,
}

/// Where the bench page is served.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PageConfig {
    /// Address and port; port 0 is any that is free.
    pub listen: core::net::SocketAddr,
    /// The host names that it answers to, beside the loopback's own, in small letters; with a port
    /// where one was given.
    pub hosts: Vec<String>,
}

/// The silences on a line that matter to framing, and the one behind which a frame begins.
pub use crate::decode::framing::{FRAME_GAP, SILENCES};

/// The port of one instrument.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PortConfig {
    /// The instrument's name.
    pub instrument: String,
    /// The station it belongs to.
    pub station: String,
    /// How the port is found.
    pub selector: PortSelector,
    /// How bytes stand on the line.
    pub line: LineSettings,
    /// Raise or drop DTR on opening; `None` leaves it as the system sets it.
    pub dtr: Option<bool>,
    /// Raise or drop RTS on opening; `None` leaves it as the system sets it.
    pub rts: Option<bool>,
    /// The line that a pedal is on; `None` if there is none.
    pub contact: Option<ModemLine>,
}

/// Which files a key of the main file names: a path, or a pattern with `*`.
#[derive(Debug, Clone)]
pub struct FilePattern {
    /// The folder that a relative pattern starts in. It stands for itself, whatever characters it has.
    pub base: PathBuf,
    /// As written.
    pub pattern: PathBuf,
    place: faults::Place,
}

/// The texts of all files that the main file names.
#[derive(Debug, Clone, Default)]
pub struct Files {
    /// Terminal sheets.
    pub sheets: Vec<Source>,
    /// Those that `plans` matches, in order of name.
    pub plans: Vec<Source>,
    /// Those that `tools` matches, in order of name.
    pub tools: Vec<Source>,
}

/// Every fault of a configuration.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Faulty {
    /// The faults, by file and line.
    pub diagnostics: Vec<Diagnostic>,
    /// The files they are in.
    pub sources: Vec<Source>,
}

impl Faulty {
    /// Every fault as text with its line and caret.
    pub fn rendered(&self, colour: bool) -> Vec<String> {
        let render = |fault: &Diagnostic| {
            let source = self.sources.iter().find(|source| source.path == fault.path);
            fault.render(source.map_or("", |source| source.text.as_str()), colour)
        };
        self.diagnostics.iter().map(render).collect()
    }
}

/// Reads the files that the main file names and compares everything with everything.
pub fn assemble(main: MainFile, files: &Files) -> Result<Config, Faulty> {
    let digest = digest(&main.text, files);
    let mut faults = main.faults;
    let read_sheet = |sheet| sheet::read(sheet, &main.axes, &mut faults);
    let terminals = files.sheets.iter().flat_map(read_sheet).collect();
    let tools = files.tools.iter();
    let tools = tools
        .flat_map(|tools| tool::read(tools, &mut faults))
        .collect();
    let plans = files.plans.iter();
    let plans = plans
        .flat_map(|plans| plan::read(plans, &mut faults))
        .collect();
    let raw = Raw {
        stations: main.stations,
        axes: main.axes,
        instruments: main.instruments,
        terminals,
        tools,
        plans,
    };
    check::references(&raw, &mut faults);
    let catalog = raw.catalog();
    check::plans(&raw, &catalog, &mut faults);
    lint::sheets(&raw.terminals, &catalog.instruments, &mut faults);
    lint::no_instrument(&raw.stations, &catalog.instruments, &mut faults);
    let warnings = faults.warnings();
    let vocabulary = faults.vocabulary();
    let (diagnostics, sources) = faults.finish();
    if !diagnostics.is_empty() {
        return Err(Faulty {
            diagnostics,
            sources,
        });
    }
    Ok(Config {
        daemon: main.daemon,
        page: main.page,
        sinks: main.sinks,
        ports: raw.ports(),
        catalog: Arc::new(catalog),
        warnings,
        vocabulary,
        digest,
    })
}

/// SHA-256 over the length and text of every file, in the order of reading. The names of files
/// do not count: the same words mean the same wherever they lie.
fn digest(main: &str, files: &Files) -> String {
    let mut sha = Sha256::new();
    let groups = [&files.sheets, &files.tools, &files.plans];
    let others = groups.into_iter().map(|sources| {
        let texts = sources.iter().map(|source| source.text.as_str());
        texts.collect::<Vec<_>>()
    });
    for (role, texts) in std::iter::once(vec![main]).chain(others).enumerate() {
        for text in texts {
            sha.update(format!("{role} {}\n", text.len()));
            sha.update(text);
        }
    }
    let bytes = sha.finalize();
    bytes.iter().fold(String::new(), |mut hex, byte| {
        let _ = write!(hex, "{byte:02x}"); // writing to a String cannot fail
        hex
    })
}
