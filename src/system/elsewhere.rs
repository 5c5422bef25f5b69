//! Any other system, on which copied journals are read and files for people are written.
//!
//! - Of owners and permissions nothing is known here, so no file counts as one that only its owner could write.
//! - Names are looked up by path: nobody but the person at this computer changes a copied folder.

use super::{Access, Guarded, above, hidden_name};
use std::fs::{self, File, Metadata, OpenOptions};
use std::io::{self, Seek as _, SeekFrom, Write as _};
use std::path::{Path, PathBuf};

/// A folder.
#[derive(Debug)]
pub(crate) struct Folder(PathBuf);

impl Folder {
    /// Looks at the folder; `None` if a symbolic link or a file is in its place.
    pub(crate) fn open(path: &Path) -> io::Result<Option<Self>> {
        let found = path.symlink_metadata()?;
        Ok(found.is_dir().then(|| Self(path.to_owned())))
    }

    /// The names in it that are UTF-8, in no order.
    pub(crate) fn names(&self) -> io::Result<Vec<String>> {
        let mut names = Vec::new();
        for item in fs::read_dir(&self.0)? {
            names.extend(item?.file_name().into_string().ok());
        }
        Ok(names)
    }

    /// Opens a file for reading, and for appending if that is requested; `None` if something else has its name.
    pub(crate) fn file(&self, name: &str, appends: bool) -> io::Result<Option<File>> {
        let path = self.0.join(name);
        if !path.symlink_metadata()?.is_file() {
            return Ok(None);
        }
        let mut how = OpenOptions::new();
        how.read(true).append(appends).open(path).map(Some)
    }

    /// A new file, for reading and appending.
    pub(crate) fn create_new(&self, name: &str) -> io::Result<File> {
        let mut how = OpenOptions::new();
        how.read(true).append(true).create_new(true);
        how.open(self.0.join(name))
    }

    pub(crate) fn remove(&self, name: &str) -> io::Result<()> {
        fs::remove_file(self.0.join(name))
    }

    /// Makes the names in it durable.
    pub(crate) fn sync(&self) -> io::Result<()> {
        sync_folder(&self.0)
    }

    /// Whether `path` still names this folder.
    pub(crate) fn is_in_place(&self, path: &Path, _: &File) -> io::Result<bool> {
        Ok(path == self.0 && self.0.is_dir())
    }
}

/// A file system that does not open folders keeps names as it sees fit.
fn sync_folder(folder: &Path) -> io::Result<()> {
    if cfg!(unix) {
        File::open(folder)?.sync_all()
    } else {
        Ok(())
    }
}

/// The place of a file that is not finished: it has a hidden name.
#[derive(Debug)]
pub(crate) struct Place {
    path: PathBuf,
    hidden: Option<PathBuf>,
}

impl Place {
    /// Begins the file `path`. Fails if it is there and is not to be replaced, or if it is no regular file.
    pub(crate) fn begin(path: &Path, replaces: bool, _: Access) -> io::Result<(File, Self)> {
        let name = path.file_name().ok_or(io::ErrorKind::InvalidInput)?;
        match path.symlink_metadata() {
            Ok(_) if !replaces => return Err(io::ErrorKind::AlreadyExists.into()),
            Ok(found) if !found.is_file() => {
                return Err(io::Error::other(
                    "got a link, a folder or a device, want a regular file",
                ));
            }
            Ok(_) | Err(_) => {}
        }
        let hidden = above(path).join(hidden_name(name));
        let _ = fs::remove_file(&hidden); // one that a killed process with our id left
        let mut how = OpenOptions::new();
        let file = how.write(true).create_new(true).open(&hidden)?;
        let place = Self {
            path: path.to_owned(),
            hidden: Some(hidden),
        };
        Ok((file, place))
    }

    /// Gives the file its name; programs see it whole.
    pub(crate) fn name_it(&mut self, _: &File, replaces: bool) -> io::Result<()> {
        let Some(hidden) = self.hidden.clone() else {
            return Ok(());
        };
        if !replaces {
            // A second name is refused where the first is in use; a file system without them only has the look before.
            match fs::hard_link(&hidden, &self.path) {
                Ok(()) => return Ok(()), // The hidden name goes when this is dropped.
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => return Err(error),
                Err(_) if self.path.symlink_metadata().is_ok() => {
                    return Err(io::ErrorKind::AlreadyExists.into());
                }
                Err(_) => {}
            }
        }
        fs::rename(&hidden, &self.path)?;
        self.hidden = None;
        Ok(())
    }

    /// Makes the name durable.
    pub(crate) fn sync(&self) -> io::Result<()> {
        sync_folder(above(&self.path))
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        if let Some(hidden) = &self.hidden {
            let _ = fs::remove_file(hidden);
        }
    }
}

/// Makes one folder; it may be there already.
pub(crate) fn make_folder(folder: &Path, _: u32) -> io::Result<()> {
    match fs::create_dir(folder) {
        Err(error) if error.kind() != io::ErrorKind::AlreadyExists => Err(error),
        Ok(()) | Err(_) => sync_folder(above(folder)),
    }
}

/// Makes a new folder, where this system keeps temporary files of this user.
pub(crate) fn make_private_folder(path: &Path) -> io::Result<()> {
    fs::create_dir(path)
}

/// A file for a lock, made if it is missing; never through a symbolic link.
pub(crate) fn lock_file(path: &Path) -> io::Result<File> {
    if path.symlink_metadata().is_ok_and(|found| !found.is_file()) {
        return Err(io::Error::other(
            "got a link, a folder or a device, want a regular file",
        ));
    }
    let mut how = OpenOptions::new();
    how.read(true).write(true).create(true).truncate(false);
    how.open(path)
}

/// Reads at this place, as `pread(2)` does.
#[cfg(windows)]
pub(crate) fn read_at(file: &File, buffer: &mut [u8], at: u64) -> io::Result<usize> {
    std::os::windows::fs::FileExt::seek_read(file, buffer, at)
}

/// One `pread(2)`.
#[cfg(unix)]
pub(crate) fn read_at(file: &File, buffer: &mut [u8], at: u64) -> io::Result<usize> {
    std::os::unix::fs::FileExt::read_at(file, buffer, at)
}

/// Writes all of `bytes` at this place.
pub(crate) fn write_all_at(mut file: &File, bytes: &[u8], at: u64) -> io::Result<()> {
    file.seek(SeekFrom::Start(at))?;
    file.write_all(bytes)
}

/// Standard output cannot be made durable by what the standard library has.
pub(crate) fn sync_stdout() -> io::Result<()> {
    Err(io::Error::new(
        io::ErrorKind::Unsupported,
        "on this system standard output cannot be made durable; write into a file: --out FILE",
    ))
}

/// A file that holds a secret; `None` if there is none. One that is there is refused.
pub(crate) fn guarded(path: &Path) -> io::Result<Option<Guarded>> {
    match path.symlink_metadata() {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(error),
        Ok(_) => Err(io::Error::new(
            io::ErrorKind::Unsupported,
            "this system does not say who else may have read it, so it is used on the bench only",
        )),
    }
}

/// Keys and tokens are made on the bench.
pub(crate) fn random(_: &mut [u8]) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

/// The user of this process; `None` where the system does not say.
pub(crate) fn user() -> Option<u32> {
    None
}

/// Whose a file is; `None` where the system does not say, or if others than the owner may write it.
pub(crate) fn sole_writer(_: &Metadata) -> Option<u32> {
    None
}

/// Whose a file or folder is; `None` where the system does not say.
pub(crate) fn owner(_: &Metadata) -> Option<u32> {
    None
}

/// Whether this process may make files in the folder: not such as others trust.
pub(crate) fn may_write_in(_: &Path) -> bool {
    false
}
