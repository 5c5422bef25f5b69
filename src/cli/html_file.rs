//! A page that a command makes, put into a file.
#![expect(clippy::disallowed_methods, reason = "edge: writes the page")]

use super::Failure;
use crate::durable::{Access, put};
use std::fs;
use std::io::{self, Read as _};
use std::path::Path;

/// A kind of page.
pub(super) struct HtmlFile {
    /// How each of them begins.
    pub(super) head: &'static str,
    /// What another file is not: `is there, and …`.
    pub(super) other: &'static str,
    /// A name for one.
    pub(super) example: &'static str,
}

impl HtmlFile {
    /// Puts the page there whole, so that a full disk leaves the old one. A file that is none of ours is left alone.
    pub(super) fn put(&self, path: &Path, page: &str) -> Result<(), Failure> {
        let failed = |error: &io::Error| {
            Failure::io(format!("cannot write {}", path.display())).because(error)
        };
        match fs::metadata(path) {
            Ok(there) if there.is_file() => self.refuse_other(path)?,
            Ok(there) if there.is_dir() => {
                let example = self.example;
                return Err(
                    Failure::usage(format!("{} is a folder, want a file", path.display()))
                        .with_remedy(format!("name a file in it: --out FOLDER/{example}")),
                );
            }
            // A pipe or a terminal takes it as it is.
            Ok(_) => return fs::write(path, page).map_err(|error| failed(&error)),
            Err(_) => {} // not there; other faults appear when it is written
        }
        // Through a link, to what it leads to.
        let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        put(&target, page.as_bytes(), true, Access::Usual).map_err(|error| failed(&error))
    }

    fn refuse_other(&self, path: &Path) -> Result<(), Failure> {
        let mut head = Vec::new();
        let read = fs::File::open(path).and_then(|file| {
            file.take(self.head.len().try_into().unwrap_or(u64::MAX))
                .read_to_end(&mut head)
        });
        if read.is_ok() && (head.is_empty() || head == self.head.as_bytes()) {
            return Ok(());
        }
        let other = self.other;
        Err(
            Failure::usage(format!("{} is there, and {other}", path.display()))
                .with_remedy("name another file: --out FILE"),
        )
    }
}
