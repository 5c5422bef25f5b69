//! A copy of the evidence of a bench in one folder, to keep and to hand over.
//!
//! In: a state folder, which may be written meanwhile, and the files of the configuration. Out: a folder in the layout
//! of a state folder, with `configuration/` and `SHA256SUMS`, which `sha256sum -c` reads.
//!
//! - Nothing in an archive is changed: new durable lines are appended to a segment, and other files are added.
//! - It holds no secret: neither the tokens and keys of the page, nor a private key of the bench.
//! - The list of digests is written last. If the program is stopped before that, the folder has files that the list
//!   does not contain.

#![expect(clippy::disallowed_methods, reason = "edge: files of archives")]

mod remove;
mod restore;
mod sums;

pub(crate) use remove::{Removed, remove_before};
pub(crate) use restore::restore;
pub(crate) use sums::{SUMS, check};

use crate::durable::{Access, Failed, failed, make_folder, put};
use crate::entry::Seq;
use crate::entry::line::peek_seq;
use crate::journal::{Dir, JOURNAL_FOLDER, JournalError};
use crate::signing::PUBLIC_KEY_FILE;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use sums::Sums;

/// The folders of a state folder that are evidence, beside the journal.
const BESIDE: [&str; 3] = ["pictures", "pictures/small", "timestamps"];
/// The folder of the configuration's files.
const CONFIGURATION: &str = "configuration";

/// Why an archive was not made, extended, restored or removed from.
#[derive(Debug, thiserror::Error)]
pub(crate) enum ArchiveError {
    /// A file or folder could not be used.
    #[error(transparent)]
    Failed(#[from] Failed),
    /// The journal could not be read.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// The archive has another content than the state folder.
    #[error("{} of the archive is not how that of the bench begins", path.display())]
    Unlike {
        /// The file in the archive.
        path: PathBuf,
    },
    /// The state folder already has a journal.
    #[error("{} holds a journal already", path.display())]
    Occupied {
        /// The folder of that journal.
        path: PathBuf,
    },
}

impl ArchiveError {
    /// What to do.
    pub(crate) fn remedy(&self) -> Option<String> {
        match self {
            Self::Failed(_) => Some("check the permissions of the folders and the space".to_owned()),
            Self::Journal(error) => error.remedy(),
            Self::Unlike { .. } => Some(
                "look at both with `tallyjaw verify FOLDER`; archive into a new folder, and keep this one".to_owned(),
            ),
            Self::Occupied { .. } => Some("name a folder without a journal".to_owned()),
        }
    }
}

/// What is archived.
pub(crate) struct Evidence<'a> {
    pub(crate) state_dir: &'a Path,
    /// The last entry that is durable; later lines are left out.
    pub(crate) durable: Seq,
    /// The files of the configuration: name in the archive, and path.
    pub(crate) configuration: &'a [(String, PathBuf)],
}

/// What was added to an archive.
#[derive(Debug, Default)]
pub(crate) struct Extended {
    /// Number of files that were added or extended.
    pub(crate) files: u64,
    /// Number of bytes that were added.
    pub(crate) bytes: u64,
}

/// Makes the archive, or brings it up to date. All of it is durable when this returns.
pub(crate) fn extend(archive: &Path, evidence: &Evidence<'_>) -> Result<Extended, ArchiveError> {
    let before = sums::read(archive)?.unwrap_or_default();
    let mut adding = Adding {
        archive,
        written: Sums::default(),
        extended: Extended::default(),
    };
    adding.journal(evidence)?;
    for folder in BESIDE {
        for name in names_in(&evidence.state_dir.join(folder))? {
            adding.same(
                &evidence.state_dir.join(folder).join(&name),
                &format!("{folder}/{name}"),
            )?;
        }
    }
    let public_key = evidence.state_dir.join(PUBLIC_KEY_FILE);
    if let Ok(bytes) = fs::read(&public_key) {
        adding.put(PUBLIC_KEY_FILE, &bytes, 0)?;
    }
    for (name, file) in evidence.configuration {
        let bytes = fs::read(file).map_err(failed("read", file))?;
        adding.put(&format!("{CONFIGURATION}/{name}"), &bytes, 0)?;
    }
    sums::renew(archive, &before, &adding.written)?;
    Ok(adding.extended)
}

struct Adding<'a> {
    archive: &'a Path,
    /// The digests of files that were written now.
    written: Sums,
    extended: Extended,
}

impl Adding<'_> {
    /// Copies the durable lines of every segment, and torn lines that were set aside.
    fn journal(&mut self, evidence: &Evidence<'_>) -> Result<(), ArchiveError> {
        let folder = evidence.state_dir.join(JOURNAL_FOLDER);
        for number in Dir::open(&folder)?.segments()? {
            let file = folder.join(number.file_name());
            let bytes = fs::read(&file).map_err(failed("read", &file))?;
            let name = format!("{JOURNAL_FOLDER}/{}", number.file_name());
            self.grow(&name, up_to(&bytes, evidence.durable))?;
        }
        for name in names_in(&folder)? {
            if name.contains(".torn-") {
                self.same(&folder.join(&name), &format!("{JOURNAL_FOLDER}/{name}"))?;
            }
        }
        Ok(())
    }

    /// Copies a file that only grows.
    fn grow(&mut self, name: &str, bytes: &[u8]) -> Result<(), ArchiveError> {
        let path = self.archive.join(name);
        let have = match fs::read(&path) {
            Ok(have) => have,
            Err(error) if error.kind() == io::ErrorKind::NotFound => Vec::new(),
            Err(cause) => return Err(failed("read", &path)(cause).into()),
        };
        if !bytes.starts_with(&have) {
            return Err(ArchiveError::Unlike { path });
        }
        if have.len() == bytes.len() {
            return Ok(());
        }
        self.put(name, bytes, have.len())
    }

    /// Copies a file that never changes.
    fn same(&mut self, file: &Path, name: &str) -> Result<(), ArchiveError> {
        if self.archive.join(name).exists() {
            return Ok(()); // Whether it has changed is checked by its digest.
        }
        let bytes = fs::read(file).map_err(failed("read", file))?;
        self.put(name, &bytes, 0)
    }

    fn put(&mut self, name: &str, bytes: &[u8], have: usize) -> Result<(), ArchiveError> {
        let path = self.archive.join(name);
        let folder = path.parent().unwrap_or(self.archive);
        make_folder(folder, 0o700).map_err(failed("make the folder", folder))?;
        if !fs::read(&path).is_ok_and(|there| there == bytes) {
            put(&path, bytes, true, Access::Private).map_err(failed("write", &path))?;
            self.extended.files += 1;
            self.extended.bytes += u64::try_from(bytes.len() - have).unwrap_or(u64::MAX);
        }
        self.written.insert(name, bytes);
        Ok(())
    }
}

/// The whole lines up to this entry.
fn up_to(bytes: &[u8], durable: Seq) -> &[u8] {
    let mut end = 0;
    for line in bytes.split_inclusive(|byte| *byte == b'\n') {
        if !line.ends_with(b"\n") || peek_seq(line).is_some_and(|seq| seq > durable) {
            break;
        }
        end += line.len();
    }
    bytes.get(..end).unwrap_or(bytes)
}

/// The names of the plain files of a folder, in order; none if there is no such folder.
fn names_in(folder: &Path) -> Result<Vec<String>, Failed> {
    let items = match fs::read_dir(folder) {
        Ok(items) => items,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(cause) => return Err(failed("list", folder)(cause)),
    };
    let mut names = Vec::new();
    for item in items {
        let item = item.map_err(failed("list", folder))?;
        let kind = item.file_type().map_err(failed("look at", folder))?;
        if kind.is_file() {
            names.extend(item.file_name().into_string());
        }
    }
    names.sort_unstable();
    Ok(names)
}
