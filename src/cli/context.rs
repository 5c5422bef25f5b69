//! What every subcommand is given: where the configuration is, and how to print.

use super::{Failure, surroundings};
use crate::config::Config;
use crate::daemon::files::{self, LoadError};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// The options that every subcommand has.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct Context {
    /// The configuration file.
    #[arg(
        long,
        help = "Configuration file [default: the first of ./tallyjaw.toml, $XDG_CONFIG_HOME/tallyjaw/, /etc/tallyjaw/]",
        global = true,
        value_name = "FILE",
        env = "TALLYJAW_CONFIG",
        hide_env_values = true
    )]
    pub config: Option<PathBuf>,
    /// Print JSON for programs, one object per line
    #[arg(long, global = true)]
    pub json: bool,
}

const FILE_NAME: &str = "tallyjaw.toml";

impl Context {
    /// The configuration file to use: the one named, else the first that exists of the usual places.
    pub fn config_path(&self) -> Result<PathBuf, Failure> {
        if let Some(named) = &self.config {
            return Ok(named.clone());
        }
        let places = usual_places();
        if let Some(found) = places.iter().find(|place| place.is_file()) {
            if is_of_this_folder(found) {
                surroundings::trusted(found, false)?;
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

    /// The configuration, checked, and where it is; a failure shows every fault.
    pub fn load(&self) -> Result<(PathBuf, Config), Failure> {
        let path = self.config_path()?;
        match files::load(&path) {
            Ok(config) => {
                if self.config.is_none() && is_of_this_folder(&path) {
                    surroundings::trusted(&path, !config.daemon.announce.is_empty())?;
                }
                Ok((path, config))
            }
            Err(error) => Err(unusable(&error)),
        }
    }
}

/// Whether it was found where we stand, and not in a place of the user's or the system's.
fn is_of_this_folder(path: &Path) -> bool {
    path == Path::new(FILE_NAME)
}

fn usual_places() -> Vec<PathBuf> {
    let directory = |name: &str| {
        std::env::var_os(name)
            .filter(|value| !value.is_empty())
            .map(PathBuf::from)
    };
    let user = directory("XDG_CONFIG_HOME")
        .or_else(|| directory("HOME").map(|home| home.join(".config")))
        .map(|config| config.join("tallyjaw").join(FILE_NAME));
    let everyone = Path::new("/etc/tallyjaw").join(FILE_NAME);
    std::iter::once(PathBuf::from(FILE_NAME))
        .chain(user)
        .chain(std::iter::once(everyone))
        .collect()
}

/// Why there is no configuration: a file that is not there was named wrongly, one that cannot be read
/// is a fault of the disk.
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
