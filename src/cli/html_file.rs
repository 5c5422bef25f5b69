//! Writes an HTML page that a command has made to a file.
#![expect(clippy::disallowed_methods, reason = "edge: writes the page")]

use super::{Failure, signed};
use crate::durable::{Access, put};
use std::fs;
use std::io::{self, Read as _};
use std::path::Path;

/// A kind of page.
pub(super) struct HtmlFile {
    /// The beginning that all pages of this kind have.
    pub(super) head: &'static str,
    /// What to say about a file that is no such page: `is there, and …`.
    pub(super) other: &'static str,
    /// An example of a file name.
    pub(super) example: &'static str,
}

impl HtmlFile {
    /// Writes the page as a whole, so that a full disk leaves the old file. A file that is not such a page is not
    /// replaced.
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
            // A pipe or terminal cannot be replaced, so the page is written to it.
            Ok(_) => return fs::write(path, page).map_err(|error| failed(&error)),
            Err(_) => {} // No such file. Other errors show up when it is written.
        }
        // A symbolic link is followed, so that the link stays.
        let target = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        signed::withdraw(path)?;
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
