//! Options of every subcommand: the configuration file, and JSON output.

use super::{Failure, bench};
use crate::config::Config;
use crate::files::{self, LoadError};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Options that every subcommand has.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct Context {
    /// The configuration file.
    #[arg(
        long,
        help = FOUND_IN,
        global = true,
        value_name = "FILE",
        env = "TALLYJAW_CONFIG",
        hide_env_values = true
    )]
    pub config: Option<PathBuf>,
    /// Print JSON for programs, one object per line
    #[arg(long, global = true)]
    pub json: bool,
    /// Where the JSON goes of a command that prints for people, if both are wanted of one run.
    #[arg(skip)]
    pub(super) aside: Option<Aside>,
}

/// JSON that is kept beside what is printed.
#[derive(Debug, Clone, Default)]
pub(super) struct Aside(Arc<Mutex<Vec<u8>>>);

impl Aside {
    /// The bytes so far, for more or to be read.
    pub(super) fn bytes(&self) -> MutexGuard<'_, Vec<u8>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

const FILE_NAME: &str = "tallyjaw.toml";

#[cfg(not(windows))]
const FOUND_IN: &str = "Configuration file [default: the first of ./tallyjaw.toml, $XDG_CONFIG_HOME/tallyjaw/, /etc/tallyjaw/]";
#[cfg(windows)]
const FOUND_IN: &str =
    "Configuration file [default: the first of tallyjaw.toml here, %APPDATA%\\tallyjaw\\]";

impl Context {
    /// The configuration file: the one named, otherwise the first that exists in the usual places.
    pub fn config_path(&self) -> Result<PathBuf, Failure> {
        if let Some(named) = &self.config {
            return Ok(named.clone());
        }
        let places = usual_places();
        if let Some(found) = places.iter().find(|place| place.is_file()) {
            if is_of_this_folder(found) {
                bench::trusted(found, false)?;
            }
            return Ok(found.clone());
        }
        let looked: Vec<_> = places
            .iter()
            .map(|place| place.display().to_string())
            .collect();
        let looked = looked.join(", ");
        Err(
            Failure::usage(format!("no configuration file, looked for {looked}")).with_remedy(
                "go to the folder of your bench, or name its file: --config FILE; to make a new one: tallyjaw init",
            ),
        )
    }

    /// The path that [`Context::config_path`] finds, without checking its owner; `None` if there is no file.
    pub(super) fn config_that_is_there(&self) -> Option<PathBuf> {
        let mut places = self.config.clone().into_iter().chain(usual_places());
        places.find(|place| place.is_file())
    }

    /// The checked configuration and its path. The failure shows every error.
    pub fn load(&self) -> Result<(PathBuf, Config), Failure> {
        let path = self.config_path()?;
        match files::load(&path) {
            Ok(config) => {
                if self.config.is_none() && is_of_this_folder(&path) {
                    bench::trusted(&path, !config.daemon.announce.is_empty())?;
                }
                Ok((path, config))
            }
            Err(error) => Err(unusable(&error)),
        }
    }
}

/// Whether the file was found in the current folder, and not in a folder of the user or the system.
fn is_of_this_folder(path: &Path) -> bool {
    path == Path::new(FILE_NAME)
}

fn usual_places() -> Vec<PathBuf> {
    let directory = |name: &str| {
        std::env::var_os(name)
            .filter(|value| !value.is_empty())
            .map(PathBuf::from)
    };
    let user = if cfg!(windows) {
        directory("APPDATA")
    } else {
        directory("XDG_CONFIG_HOME").or_else(|| directory("HOME").map(|home| home.join(".config")))
    };
    let everyone = (!cfg!(windows)).then(|| PathBuf::from("/etc"));
    let folders = user.into_iter().chain(everyone);
    std::iter::once(PathBuf::from(FILE_NAME))
        .chain(folders.map(|folder| folder.join("tallyjaw").join(FILE_NAME)))
        .collect()
}

/// The failure without a configuration. A missing file was named wrongly; an unreadable one is a problem of the disk.
pub(super) fn unusable(error: &LoadError) -> Failure {
    let colour = anstream::AutoStream::choice(&std::io::stderr()) != anstream::ColorChoice::Never;
    let failure = match error {
        LoadError::Unreadable { cause, .. }
            if ![ErrorKind::NotFound, ErrorKind::InvalidData].contains(&cause.kind()) =>
        {
            Failure::io(error.to_string())
        }
        LoadError::Unreadable { .. } | LoadError::Faulty(_) => Failure::usage(error.to_string()),
    };
    failure
        .with_details(error.rendered(colour))
        .with_remedy(error.remedy())
}
