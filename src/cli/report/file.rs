//! Where a report is put.
#![expect(clippy::disallowed_methods, reason = "edge: writes the report")]

use crate::cli::Failure;
use crate::report::{HEAD, Report};
use std::fs;
use std::io::{self, Read as _};
use std::path::Path;

/// `series-37.html`, `series-37-52.html`, `6-series.html`.
pub(super) fn name(report: &Report) -> String {
    const NAMED: usize = 3;
    let ids = report
        .series
        .iter()
        .map(|facts| facts.record.id.to_string());
    match report.series.len() {
        ..=NAMED => format!("series-{}.html", ids.collect::<Vec<_>>().join("-")),
        several => format!("{several}-series.html"),
    }
}

/// Writes the page beside its place first, so that a full disk leaves the old one whole. A file that is
/// no report of ours is left alone.
pub(super) fn put(path: &Path, page: &str) -> Result<(), Failure> {
    let failed =
        |error: &io::Error| Failure::io(format!("cannot write {}", path.display())).because(error);
    match fs::metadata(path) {
        Ok(there) if there.is_file() => refuse_other(path)?,
        Ok(there) if there.is_dir() => {
            return Err(
                Failure::usage(format!("{} is a folder, want a file", path.display()))
                    .with_remedy("name the file too: --out FOLDER/report.html"),
            );
        }
        // A pipe or a terminal takes it as it is.
        Ok(_) => return fs::write(path, page).map_err(|error| failed(&error)),
        Err(_) => {} // not there; what else may be wrong is told when it is written
    }
    let mut name = std::ffi::OsString::from(".");
    name.push(path.file_name().unwrap_or_default());
    name.push(".new");
    let beside = path.with_file_name(name);
    let put = fs::write(&beside, page).and_then(|()| fs::rename(&beside, path));
    put.map_err(|error| {
        let _ = fs::remove_file(&beside);
        failed(&error)
    })
}

fn refuse_other(path: &Path) -> Result<(), Failure> {
    let mut head = Vec::new();
    let read = fs::File::open(path).and_then(|file| {
        file.take(HEAD.len().try_into().unwrap_or(u64::MAX))
            .read_to_end(&mut head)
    });
    if read.is_ok() && (head.is_empty() || head == HEAD.as_bytes()) {
        return Ok(());
    }
    Err(Failure::usage(format!(
        "{} is there, and is no report of tallyjaw",
        path.display()
    ))
    .with_remedy("name another file: --out FILE"))
}
