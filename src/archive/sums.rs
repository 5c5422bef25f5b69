//! The digests of all files of an archive: `SHA256SUMS`, as `sha256sum` writes and checks it.
//!
//! The list itself is not protected: it shows damage by a disk or a copy, not a deliberate change. A deliberate change
//! is shown by the chain of the journal and its last digest, kept elsewhere.

use super::{ArchiveError, BESIDE, CONFIGURATION};
use crate::durable::{Access, Failed, failed, put};
use crate::entry::line::Digest;
use crate::journal::{Finding, JOURNAL_FOLDER};
use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::{self, Read as _};
use std::path::Path;

/// Name of the list.
pub(crate) const SUMS: &str = "SHA256SUMS";
/// Maximum size of a file in an archive.
const LARGEST: u64 = 256 << 20;

/// The digest of each file, by its path relative to the archive.
#[derive(Debug, Clone, Default)]
pub(super) struct Sums(BTreeMap<String, Digest>);

impl Sums {
    pub(super) fn insert(&mut self, name: &str, bytes: &[u8]) {
        self.0.insert(name.to_owned(), Digest::of(bytes));
    }

    fn text(&self) -> String {
        let mut text = String::new();
        for (name, digest) in &self.0 {
            // Writing to a String cannot fail.
            let _ = writeln!(text, "{digest}  {name}");
        }
        text
    }
}

/// The files of an archive, compared with its list.
#[derive(Debug)]
pub(crate) struct Summed {
    /// Number of files in the list.
    pub(crate) files: usize,
    /// Files that are missing, changed or not listed.
    pub(crate) findings: Vec<Finding>,
}

/// The list of an archive; `None` if there is none.
pub(super) fn read(archive: &Path) -> Result<Option<Sums>, Failed> {
    let path = archive.join(SUMS);
    let mut text = String::new();
    match File::open(&path) {
        Ok(file) => file.take(LARGEST).read_to_string(&mut text),
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(cause) => return Err(failed("open", &path)(cause)),
    }
    .map_err(failed("read", &path))?;
    let mut sums = Sums::default();
    for line in text.lines() {
        let of_line = line.split_once("  ");
        let parsed = of_line.and_then(|(digest, name)| Some((digest.parse().ok()?, name)));
        let Some((digest, name)) = parsed else {
            let got = io::Error::other(format!("got the line {line:?}, want DIGEST  NAME"));
            return Err(failed("read", &path)(got));
        };
        sums.0.insert(name.to_owned(), digest);
    }
    Ok(Some(sums))
}

/// Compares every file of a folder with its list; `None` if the folder has no list and so is not an archive.
pub(crate) fn check(folder: &Path) -> Result<Option<Summed>, Failed> {
    let Some(sums) = read(folder)? else {
        return Ok(None);
    };
    let there = all_names(folder)?;
    let mut findings = Vec::new();
    for (name, want) in &sums.0 {
        if !there.contains(name) {
            findings.push(finding(
                name,
                "a file of the archive is missing",
                "no file",
                want,
            ));
            continue;
        }
        let got = digest(&folder.join(name))?;
        if got != *want {
            let what = "a file of the archive was changed";
            findings.push(finding(name, what, &got.to_string(), want));
        }
    }
    for name in there.iter().filter(|name| !sums.0.contains_key(*name)) {
        findings.push(Finding {
            want: format!("a file that {SUMS} lists; if an archiving was cut off, archive again"),
            ..finding(
                name,
                "a file that the archive does not list",
                "a file",
                &Digest::NONE,
            )
        });
    }
    Ok(Some(Summed {
        files: sums.0.len(),
        findings,
    }))
}

/// Writes the list again. A file that was in the archive before keeps its old digest, so that [`check`] finds later
/// damage.
pub(super) fn renew(archive: &Path, before: &Sums, written: &Sums) -> Result<(), ArchiveError> {
    let mut sums = before.clone();
    sums.0.extend(written.0.clone());
    for name in all_names(archive)? {
        if let Entry::Vacant(place) = sums.0.entry(name) {
            let digest = digest(&archive.join(place.key()))?;
            place.insert(digest);
        }
    }
    let path = archive.join(SUMS);
    put(&path, sums.text().as_bytes(), true, Access::Private).map_err(failed("write", &path))?;
    Ok(())
}

/// The names of all plain files of an archive, except the list.
fn all_names(archive: &Path) -> Result<BTreeSet<String>, Failed> {
    let mut names: BTreeSet<String> = super::names_in(archive)?.into_iter().collect();
    names.remove(SUMS);
    for folder in [JOURNAL_FOLDER].into_iter().chain(BESIDE) {
        let inside = super::names_in(&archive.join(folder))?;
        names.extend(inside.iter().map(|name| format!("{folder}/{name}")));
    }
    walk(&archive.join(CONFIGURATION), CONFIGURATION, &mut names)?;
    Ok(names)
}

fn walk(folder: &Path, name: &str, names: &mut BTreeSet<String>) -> Result<(), Failed> {
    let inside = super::names_in(folder)?;
    names.extend(inside.iter().map(|file| format!("{name}/{file}")));
    let Ok(items) = fs::read_dir(folder) else {
        return Ok(()); // there is none
    };
    for item in items.flatten() {
        let is_folder = item.file_type().is_ok_and(|kind| kind.is_dir());
        if let (true, Ok(inner)) = (is_folder, item.file_name().into_string()) {
            walk(&item.path(), &format!("{name}/{inner}"), names)?;
        }
    }
    Ok(())
}

fn digest(path: &Path) -> Result<Digest, Failed> {
    let mut bytes = Vec::new();
    let file = File::open(path).map_err(failed("open", path))?;
    let read = file.take(LARGEST).read_to_end(&mut bytes);
    read.map_err(failed("read", path))?;
    Ok(Digest::of(&bytes))
}

fn finding(name: &str, what: &str, got: &str, want: &Digest) -> Finding {
    Finding {
        file: name.to_owned(),
        line: 0,
        seq: None,
        what: what.to_owned(),
        got: got.to_owned(),
        want: format!("the digest {want}"),
        accepted_in: None,
    }
}
