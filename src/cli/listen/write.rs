//! The block into the configuration: appended, so that nothing of the user's is touched; written
//! beside the file, checked, and only then put in its place.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: writes the user's configuration"
)]

use super::block::Place;
use crate::cli::Failure;
use crate::cli::context::unusable;
use crate::config::Config;
use crate::daemon::files;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Refuses a name or port that the configuration has already.
pub(super) fn refuse_doubles(config: &Config, place: &Place) -> Result<(), Failure> {
    if let Some(same) = config.catalog.instrument(&place.name) {
        return Err(Failure::usage(format!(
            "there is an instrument {} already, at {}",
            same.name, same.station
        ))
        .with_remedy("give this one another name: --name"));
    }
    let same = config.ports.iter().find(|port| port.selector == place.port);
    match same {
        Some(same) => Err(Failure::usage(format!(
            "{} is the port of {} already",
            place.port, same.instrument
        ))
        .with_remedy(format!(
            "change `line` and `format` of {} in the configuration; without --write they are printed",
            same.instrument
        ))),
        None => Ok(()),
    }
}

/// Appends the block.
pub(super) fn append(path: &Path, block: &str) -> Result<(), Failure> {
    let before = fs::read_to_string(path).map_err(|error| failed(path, &error))?;
    let ended = before.is_empty() || before.ends_with('\n');
    let parted = if ended { "\n" } else { "\n\n" };
    let beside = beside(path);
    let put = write_whole(&beside, path, &format!("{before}{parted}{block}"));
    let checked = put
        .map_err(|error| failed(&beside, &error))
        .and_then(|()| files::load(&beside).map_err(|error| unusable(&error)));
    let placed =
        checked.and_then(|_| fs::rename(&beside, path).map_err(|error| failed(path, &error)));
    if let Err(failure) = placed {
        let _ = fs::remove_file(&beside);
        return Err(failure);
    }
    Ok(())
}

/// In the same folder: relative paths in it must mean the same.
fn beside(path: &Path) -> PathBuf {
    let mut name = std::ffi::OsString::from(".");
    name.push(path.file_name().unwrap_or_default());
    name.push(".new");
    path.with_file_name(name)
}

fn write_whole(beside: &Path, like: &Path, text: &str) -> io::Result<()> {
    let mut file = fs::File::create(beside)?;
    file.set_permissions(fs::metadata(like)?.permissions())?;
    file.write_all(text.as_bytes())?;
    file.sync_all()
}

fn failed(path: &Path, error: &io::Error) -> Failure {
    Failure::io(format!("cannot write {}", path.display())).because(error)
}
