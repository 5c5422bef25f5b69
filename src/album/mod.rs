//! The pictures on disk: `state_dir/pictures/SHA256.jpg` or `.png`, unchanged, and small copies in `pictures/small`.
//!
//! In: the bytes of a checked picture. Out: files whose names are the digests of their content.
//!
//! - A picture is durable, file and folder, before its entry is made. After a crash in between there is a file that no
//!   entry names.
//! - The same bytes are stored once. A file of that name with other bytes is replaced by the right ones.

#![expect(clippy::disallowed_methods, reason = "edge: files of pictures")]

mod check;
mod entered;
mod search;

pub(crate) use check::{Looked, Named, pictured};
pub(crate) use entered::{Before, Entered, before};
pub(crate) use search::{Found, find};

use crate::durable::{Access, Failed, failed, make_folder, put};
use crate::entry::line::Digest;
use crate::pictures::{Checked, MOST_BYTES, PictureFormat};
use crate::report::{Copies, Gathered};
use std::fs::{self, File};
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

const FOLDER: &str = "pictures";
const SMALL: &str = "small";

/// The folder of pictures of a daemon.
#[derive(Debug, Clone)]
pub(crate) struct Album {
    folder: PathBuf,
}

/// A picture on disk.
#[derive(Debug)]
pub(crate) struct Stored {
    /// Digest of the picture.
    pub(crate) picture: Digest,
    /// Digest of its small copy.
    pub(crate) shown: Digest,
    /// The files that were not there before.
    made: Vec<PathBuf>,
}

impl Album {
    /// The album in this state folder; nothing is created yet.
    pub(crate) fn new(state_dir: &Path) -> Self {
        Self {
            folder: state_dir.join(FOLDER),
        }
    }

    /// Stores a picture and its small copy. Both are durable when this returns.
    pub(crate) fn store(&self, bytes: &[u8], checked: &Checked) -> Result<Stored, Failed> {
        let small = self.folder.join(SMALL);
        make_folder(&small, 0o700).map_err(failed("make the folder", &small))?;
        let mut stored = Stored {
            picture: Digest::of(bytes),
            shown: Digest::of(&checked.copy),
            made: Vec::new(),
        };
        let files = [
            (self.small(stored.shown), &checked.copy[..]),
            (self.path(stored.picture, checked.format), bytes),
        ];
        for (path, bytes) in files {
            match keep(&path, bytes) {
                Ok(true) => stored.made.push(path),
                Ok(false) => {}
                Err(cause) => {
                    forget(&stored);
                    return Err(failed("store the picture", &path)(cause));
                }
            }
        }
        Ok(stored)
    }

    /// The bytes of a small copy, if it is stored and its digest is right.
    pub(crate) fn copy(&self, shown: Digest) -> io::Result<Vec<u8>> {
        let bytes = read(&self.small(shown))?;
        if Digest::of(&bytes) == shown {
            return Ok(bytes);
        }
        Err(io::ErrorKind::InvalidData.into())
    }

    /// The small copies that a report shows, and a line for each that is missing.
    pub(crate) fn copies(&self, gathered: &Gathered, full: bool) -> (Copies, Vec<String>) {
        let mut missing = Vec::new();
        let copies = Copies::read(gathered, full, |seq, shown| {
            let copy = self.copy(shown);
            if let Err(error) = &copy {
                let path = self.small(shown);
                missing.push(format!(
                    "the picture of entry {seq} is missing: {}: {error}",
                    path.display()
                ));
            }
            copy.ok()
        });
        (copies, missing)
    }

    /// Whether a picture with this digest is stored. Only the journal knows whether it was entered.
    pub(crate) fn has(&self, picture: Digest) -> bool {
        let mut formats = PictureFormat::ALL.into_iter();
        formats.any(|format| self.path(picture, format).exists())
    }

    fn path(&self, picture: Digest, format: PictureFormat) -> PathBuf {
        self.folder.join(format!("{picture}.{}", format.name()))
    }

    fn small(&self, shown: Digest) -> PathBuf {
        let jpeg = PictureFormat::Jpeg.name();
        self.folder.join(SMALL).join(format!("{shown}.{jpeg}"))
    }
}

/// Removes the files of a picture that was not entered, unless they were there before.
pub(crate) fn forget(stored: &Stored) {
    for path in &stored.made {
        // It stays as a file that no entry names, which is harmless.
        let _ = fs::remove_file(path);
    }
}

/// Stores a file; returns whether it had to be made. Its content and its name are durable then.
fn keep(path: &Path, bytes: &[u8]) -> io::Result<bool> {
    match put(path, bytes, false, Access::Private) {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
        done => return done.map(|()| true),
    }
    if read(path).is_ok_and(|found| found == bytes) {
        // fsync: a daemon that was killed may have made the name and not synced it
        File::open(path.parent().unwrap_or(Path::new(".")))?.sync_all()?;
        return Ok(false);
    }
    put(path, bytes, true, Access::Private).map(|()| false)
}

/// The bytes of a file, up to more than any picture may have.
fn read(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let most = u64::try_from(MOST_BYTES).unwrap_or(u64::MAX);
    File::open(path)?.take(most + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}
