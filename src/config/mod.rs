//! Configuration, sheets, plans and tools as text → checked values, or located errors.
//!
//! In: the texts of the files. Out: a [`Config`] in which every reference exists, or every fault
//! of every file at once, each with its place and remedy.
//!
//! - Nothing in here opens a file: [`main_file`] names what else to read, [`assemble`] takes it.
//! - No fault hides another: a faulty part is left out and the rest is still checked.

pub mod diagnostic;
pub mod line;

pub use diagnostic::{Diagnostic, Source};
pub use line::{LineSettings, LineSettingsError, Parity, PortSelector};

use crate::spec::Catalog;
use std::path::PathBuf;

/// A checked configuration.
#[derive(Debug, Clone)]
pub struct Config {
    /// Where the daemon keeps its things.
    pub daemon: DaemonConfig,
    /// The port of each instrument, in the order of the configuration.
    pub ports: Vec<PortConfig>,
    /// What can be armed.
    pub catalog: Catalog,
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
}

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
}
