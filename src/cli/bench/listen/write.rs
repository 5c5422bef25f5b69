//! Appends the block to the configuration. The user's text is not changed, and the new file is checked before it
//! replaces the old one.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: writes the user's configuration"
)]

use super::block::InstrumentSlot;
use crate::cli::Failure;
use crate::cli::context::unusable;
use crate::config::Config;
use crate::durable::{Access, put};
use crate::files;
use std::fs;
use std::io;
use std::path::Path;

/// Refuses a name or port that the configuration already has.
pub(super) fn refuse_doubles(config: &Config, place: &InstrumentSlot) -> Result<(), Failure> {
    if let Some(same) = config.catalog.instrument(&place.name) {
        return Err(Failure::usage(format!(
            "an instrument {} is there already, at station {}",
            same.name, same.station
        ))
        .with_remedy("give this one another name: --name"));
    }
    let same = config.ports.iter().find(|port| port.selector == place.port);
    match same {
        Some(same) => Err(Failure::usage(format!(
            "{} is already the port of instrument {}",
            place.port, same.instrument
        ))
        .with_remedy(format!(
            "change `line` and `format` of {} in the configuration; listen without --write prints them",
            same.instrument
        ))),
        None => Ok(()),
    }
}

/// Appends the block.
pub(super) fn append(path: &Path, block: &str) -> Result<(), Failure> {
    let before = fs::read_to_string(path).map_err(|error| failed(path, &error))?;
    let ended = before.is_empty() || before.ends_with('\n');
    let separator = if ended { "\n" } else { "\n\n" };
    let text = format!("{before}{separator}{block}");
    files::load_text(path, text.clone()).map_err(|error| unusable(&error))?;
    // A symbolic link is followed, so that the link stays.
    let target = fs::canonicalize(path).map_err(|error| failed(path, &error))?;
    put(&target, text.as_bytes(), true, Access::Kept).map_err(|error| failed(path, &error))
}

fn failed(path: &Path, error: &io::Error) -> Failure {
    Failure::io(format!("cannot write {}", path.display())).because(error)
}
