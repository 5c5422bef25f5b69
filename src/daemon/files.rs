//! The configuration on disk: where it is looked for, and all of its files read.

use crate::config::{Config, Diagnostic, Source};
use std::path::{Path, PathBuf};

/// Why there is no configuration.
#[derive(Debug, thiserror::Error)]
pub enum LoadError {
    /// No file in any of the places.
    #[error("no configuration file, looked for {}", list(looked_for))]
    NotFound {
        /// Where it was looked for, in order.
        looked_for: Vec<PathBuf>,
    },
    /// A file could not be read.
    #[error("cannot read {}: {cause}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        cause: std::io::Error,
    },
    /// The files were read, and are faulty.
    #[error("{} in the configuration", faults(diagnostics.len()))]
    Faulty {
        /// Every fault, in the order of files and lines.
        diagnostics: Vec<Diagnostic>,
        /// The files they are in.
        sources: Vec<Source>,
    },
}

fn list(paths: &[PathBuf]) -> String {
    let shown: Vec<String> = paths
        .iter()
        .map(|path| path.display().to_string())
        .collect();
    shown.join(", ")
}

fn faults(count: usize) -> String {
    match count {
        1 => "1 error".to_owned(),
        more => format!("{more} errors"),
    }
}

impl LoadError {
    /// What a person can do; printed on a line of its own, never part of the message.
    pub fn remedy(&self) -> Option<String> {
        match self {
            Self::NotFound { .. } => Some(
                "name one with --config FILE, or copy config/tallyjaw.toml to ./tallyjaw.toml"
                    .to_owned(),
            ),
            Self::Unreadable { .. } => {
                Some("check that the file is there and that this user may read it".to_owned())
            }
            Self::Faulty { .. } => Some("mend them, then try again: tallyjaw check".to_owned()),
        }
    }

    /// Every fault as text with its line and caret; empty for the other errors.
    pub fn rendered(&self, colour: bool) -> Vec<String> {
        match self {
            Self::Faulty {
                diagnostics,
                sources,
            } => diagnostics
                .iter()
                .map(|fault| {
                    let source = sources.iter().find(|source| source.path == fault.path);
                    fault.render(source.map_or("", |source| source.text.as_str()), colour)
                })
                .collect(),
            Self::NotFound { .. } | Self::Unreadable { .. } => Vec::new(),
        }
    }
}

/// The configuration file: `given`, else the first of the usual places that exists.
pub fn find(given: Option<&Path>) -> Result<PathBuf, LoadError> {
    given.map(Path::to_path_buf).ok_or(LoadError::NotFound {
        looked_for: Vec::new(),
    })
}

/// Reads the configuration file `main` and all that it names.
pub fn load(main: &Path) -> Result<Config, LoadError> {
    Err(LoadError::NotFound {
        looked_for: vec![main.to_path_buf()],
    })
}
