//! Turns the text of configuration, sheets, plans and tools into checked values.
//!
//! In: the texts of the files. Out: a [`Config`] in which every reference exists, or all faults of all files at once,
//! each with its place and remedy.
//!
//! - No file is opened here: [`main_file`] names the files to read, and [`assemble`] takes their texts.
//! - No fault hides another: a faulty part is left out, and the rest is checked.

mod alerts;
mod announce;
mod blocks;
mod capture;
mod care;
mod check;
pub mod diagnostic;
pub mod edit;
mod faults;
pub mod import;
mod inline;
mod instrument;
mod jobs;
pub mod line;
mod lint;
mod main_file;
mod mqtt;
mod opcua;
mod page;
mod parse;
mod plan;
mod postgres;
mod production_run;
mod qualification;
mod row;
mod sheet;
mod shop;
mod signal;
mod sink;
mod study;
mod table;
mod timestamp;
mod tls;
mod tool;
mod uncertainty;
mod value;
mod webhook;

pub use announce::PLACEHOLDERS;
pub use diagnostic::{Diagnostic, Severity, Source};
pub use faults::Vocabulary;
pub use inline::{RequestFault, inline_plan};
pub use line::{LineSettings, LineSettingsError, ModemLine, Parity, PortSelector};
pub use main_file::{MainFile, main_file};
pub use mqtt::MqttConfig;
pub use page::is_public;
pub use postgres::PostgresConfig;
pub use sink::{DataSetConfig, SinkConfig, SinkSettings};
pub use study::SavedStudy;
pub use timestamp::{AuthorityConfig, TimestampConfig, WebAddress};
pub use tls::TlsFiles;
pub use value::is_name;
pub use webhook::{WebhookConfig, WebhookMode};

use crate::letterhead::{Letterhead, Logo};
use crate::quantity::{Zone, hex};
use crate::spec::Catalog;
use check::Raw;
use sha2::{Digest, Sha256};
use std::path::PathBuf;
use std::sync::Arc;

/// The configuration as JSON Schema (2020-12). Schema and readers are both written by hand, so that every fault has its
/// place. A test compares the schema with the keys that the readers know.
pub const SCHEMA: &str = include_str!("schema.json");

/// A configuration without errors.
#[derive(Debug, Clone)]
pub struct Config {
    /// Folders and sockets of the daemon.
    pub daemon: DaemonConfig,
    /// Address of the bench page; `None` if it is not served.
    pub page: Option<PageConfig>,
    /// Address of the OPC UA server; `None` if it is not served.
    pub opcua: Option<OpcuaConfig>,
    /// The letterhead and the time zone of the shop.
    pub shop: ShopConfig,
    /// The folders that are watched for pictures.
    pub pictures: Vec<PictureFolder>,
    /// The sinks that send entries elsewhere, beside the verdict log.
    pub sinks: Vec<SinkConfig>,
    /// Studies that are saved under a name.
    pub studies: Vec<SavedStudy>,
    /// The port of each instrument, in the order of the configuration.
    pub ports: Vec<PortConfig>,
    /// Plans, sheets, tools and instruments: everything that arming needs.
    pub catalog: Arc<Catalog>,
    /// Unusual values, with the files they are in.
    pub warnings: Faulty,
    /// The known keys of each table, for suggestions.
    pub vocabulary: Vocabulary,
    /// SHA-256 over all files, hex.
    pub digest: String,
}

/// Folders and sockets of the daemon.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DaemonConfig {
    /// The journal is in `state_dir/journal`. A relative path was joined to the folder of the configuration file.
    pub state_dir: PathBuf,
    /// The folder of `feed.sock` and `control.sock`.
    pub runtime_dir: PathBuf,
    /// Permissions of `feed.sock`; 0600 unless configured.
    pub socket_mode: u32,
    /// Group of `feed.sock`, by name; `None` keeps the daemon's.
    pub socket_group: Option<String>,
    /// The program that speaks verdicts, and its arguments; empty if nothing is announced.
    pub announce: Vec<String>,
}

impl DaemonConfig {
    /// A substitute where only a state folder is named, and no daemon is asked.
    pub fn of_folder(state_dir: PathBuf) -> Self {
        Self {
            runtime_dir: state_dir.clone(),
            state_dir,
            socket_mode: 0o600,
            socket_group: None,
            announce: Vec::new(),
        }
    }
}

impl Config {
    /// Whether anything can be opened by a token of a program.
    pub fn has_use_of_tokens(&self) -> bool {
        self.page.is_some() || self.opcua.is_some()
    }
}

/// Where the OPC UA server listens.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpcuaConfig {
    /// Address and port. Beyond the loopback interface only encrypted sessions with a token are accepted.
    pub listen: core::net::SocketAddr,
    /// The name by which clients reach this machine; `None` for the name that the system has.
    pub host: Option<String>,
}

/// Address of the bench page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PageConfig {
    /// Address and port; port 0 means any free port.
    pub listen: core::net::SocketAddr,
    /// Host names that the page answers to, beside those of the loopback interface. In lower case, with a port where
    /// one was given.
    pub hosts: Vec<String>,
    /// Whether sheets, plans, tools, operators and jobs may be changed on it.
    pub edit: bool,
    /// Where tablets connect, if they may.
    pub tablet: Option<TabletConfig>,
}

/// The page for tablets.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TabletConfig {
    /// Address and port; port 0 means any free port.
    pub listen: core::net::SocketAddr,
}

/// A folder whose finished pictures are taken in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PictureFolder {
    /// The station whose pieces the pictures are of.
    pub station: String,
    /// The folder. A relative path was joined to the folder of the configuration file.
    pub folder: PathBuf,
}

/// The silences that separate frames on a line, and the silence after which only a new frame can begin.
pub use crate::decode::framing::{FRAME_GAP, SILENCES};

/// The letterhead and the time zone of the shop.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ShopConfig {
    /// The head of reports and labels.
    pub letterhead: Arc<Letterhead>,
    /// The zone of all times that people read; `None` is the system's.
    pub zone: Option<Zone>,
}

/// The port of one instrument.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PortConfig {
    /// The instrument's name.
    pub instrument: String,
    /// The station that the instrument belongs to.
    pub station: String,
    /// How the port is selected.
    pub selector: PortSelector,
    /// Speed, data bits, parity and stop bits.
    pub line: LineSettings,
    /// State of DTR after opening; `None` leaves it as the system sets it.
    pub dtr: Option<bool>,
    /// State of RTS after opening; `None` leaves it as the system sets it.
    pub rts: Option<bool>,
    /// The modem line of a pedal; `None` for other instruments.
    pub contact: Option<ModemLine>,
}

/// Names files for a key of the main file: a path, or a pattern with `*`.
#[derive(Debug, Clone)]
pub struct FilePattern {
    /// The folder that a relative pattern starts in. Its characters have no special meaning.
    pub base: PathBuf,
    /// The pattern as written in the file.
    pub pattern: PathBuf,
    place: faults::Place,
}

/// The texts of all files that the main file names.
#[derive(Debug, Clone, Default)]
pub struct Files {
    /// Terminal sheets.
    pub sheets: Vec<Source>,
    /// Files that `plans` matches, in order of name.
    pub plans: Vec<Source>,
    /// Files that `tools` matches, in order of name.
    pub tools: Vec<Source>,
    /// Files that `jobs` matches, in order of name.
    pub jobs: Vec<Source>,
}

/// Faults and the files they are in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Faulty {
    /// The faults, by file and line.
    pub diagnostics: Vec<Diagnostic>,
    /// The files with faults.
    pub sources: Vec<Source>,
}

impl Faulty {
    /// Every fault as text, with its line and a caret.
    pub fn rendered(&self, colour: bool) -> Vec<String> {
        let render = |fault: &Diagnostic| {
            let source = self.sources.iter().find(|source| source.path == fault.path);
            fault.render(source.map_or("", |source| source.text.as_str()), colour)
        };
        self.diagnostics.iter().map(render).collect()
    }
}

/// Reads the other files, and checks all references between them and the main file.
pub fn assemble(main: MainFile, files: &Files) -> Result<Config, Faulty> {
    let logo = main.shop.letterhead.logo.as_ref();
    let digest = digest(&main.text, files, logo);
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
    let jobs = files.jobs.iter();
    let jobs = jobs
        .flat_map(|jobs| jobs::read(jobs, &mut faults))
        .collect();
    let raw = Raw {
        operators: main.operators,
        stations: main.stations,
        axes: main.axes,
        budgets: main.budgets,
        instruments: main.instruments,
        terminals,
        tools,
        plans,
        jobs,
        runs: main.runs,
        studies: main.studies,
        qualification: main.qualification,
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
        shop: main.shop,
        pictures: main.pictures,
        page: main.page,
        opcua: main.opcua,
        sinks: main.sinks,
        studies: raw.studies.iter().map(|raw| raw.study.clone()).collect(),
        ports: raw.ports(),
        catalog: Arc::new(catalog),
        warnings,
        vocabulary,
        digest,
    })
}

/// SHA-256 over the length and text of every file, in the order of reading, and over the used content of the logo.
/// Names of files are left out, because they do not change what the configuration means.
fn digest(main: &str, files: &Files, logo: Option<&Logo>) -> String {
    let mut sha = Sha256::new();
    let groups = [&files.sheets, &files.tools, &files.plans, &files.jobs];
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
    if let Some(logo) = logo {
        sha.update(format!("logo {}\n", logo.bytes().len()));
        sha.update(logo.bytes());
    }
    hex(&sha.finalize())
}
