//! Files that appear complete or not at all: written without a name, synced, and then named. And folders with durable
//! names.
//!
//! If the file system does not support files without names, the file first gets a hidden name, which a killed process
//! may leave behind. The final name always shows the complete file.

#![expect(clippy::disallowed_methods, reason = "edge: files and folders")]

pub(crate) mod secret;

use rustix::fs::{AtFlags, CWD, Mode, OFlags};
use rustix::io::Errno;
use std::ffi::{OsStr, OsString};
use std::fs::File;
use std::io::{self, Write};
use std::os::fd::AsRawFd as _;
use std::path::{Path, PathBuf};

/// Permissions of a new file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// The default of the process.
    Usual,
    /// Only the owner may read and write it.
    Private,
    /// Those of the file that it replaces, if there is one.
    Kept,
}

/// A failed operation on a file or folder.
#[derive(Debug, thiserror::Error)]
#[error("cannot {action} {}: {cause}", path.display())]
pub struct Failed {
    /// Name of the operation: `open`, `read`, …
    pub action: &'static str,
    pub path: PathBuf,
    /// Error of the system.
    pub cause: io::Error,
}

/// Adds operation and path to an error of the system.
pub(crate) fn failed<'a>(
    action: &'static str,
    path: &'a Path,
) -> impl Fn(io::Error) -> Failed + 'a {
    move |cause| Failed {
        action,
        path: path.to_owned(),
        cause,
    }
}

/// Writes `bytes` as the complete file `path`; see [`WholeFile::create`].
pub(crate) fn put(path: &Path, bytes: &[u8], replaces: bool, access: Access) -> io::Result<()> {
    let mut file = WholeFile::create(path, replaces, access)?;
    file.write_all(bytes)?;
    file.commit()
}

/// Writes `bytes` as the complete file `path` without waiting for the disk, for a file that can be made again. After a
/// power cut it may be empty or cut off: its reader must notice.
pub(crate) fn put_derived(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = WholeFile::create(path, true, Access::Private)?;
    file.write_all(bytes)?;
    file.name_it()
}

/// Tries in `folder` what each entry needs: writes and syncs a file without a name.
pub(crate) fn trial(folder: &Path) -> io::Result<()> {
    let folder = File::open(folder)?;
    let (mut file, hidden) = unnamed(&folder, OsStr::new("trial"), Mode::from_raw_mode(0o600))?;
    let tried = file.write_all(b"trial\n").and_then(|()| file.sync_data()); // fsync: the trial itself
    if let Some(hidden) = hidden {
        forget(&folder, &hidden);
    }
    tried
}

/// Creates a folder and missing folders above it; each name is durable.
pub(crate) fn make_folder(folder: &Path, mode: u32) -> io::Result<()> {
    if folder.as_os_str().is_empty() || folder.symlink_metadata().is_ok() {
        return Ok(());
    }
    make_folder(folder.parent().unwrap_or(Path::new("")), mode)?;
    match rustix::fs::mkdir(folder, Mode::from_raw_mode(mode)) {
        Ok(()) | Err(Errno::EXIST) => {}
        Err(errno) => return Err(errno.into()),
    }
    File::open(above(folder))?.sync_all() // fsync: the name of the new folder
}

/// The folder that contains a name.
fn above(path: &Path) -> &Path {
    let parent = path.parent();
    let named = parent.filter(|parent| !parent.as_os_str().is_empty());
    named.unwrap_or(Path::new("."))
}

/// An unfinished file.
#[derive(Debug)]
pub struct WholeFile {
    file: File,
    folder: File,
    name: OsString,
    /// Its hidden name, if it needs one.
    hidden: Option<OsString>,
    replaces: bool,
}

impl WholeFile {
    /// Begins the file `path`. If it exists it is replaced when `replaces` is set; otherwise that is an error.
    ///
    /// Fails if there is no such folder, if it cannot be written to, or if the name is in use.
    pub fn create(path: &Path, replaces: bool, access: Access) -> io::Result<Self> {
        let name = path.file_name().ok_or(io::ErrorKind::InvalidInput)?;
        let folder = File::open(above(path))?;
        let found = rustix::fs::statat(&folder, name, AtFlags::SYMLINK_NOFOLLOW);
        match &found {
            Ok(_) if !replaces => return Err(io::ErrorKind::AlreadyExists.into()),
            Ok(found) if !rustix::fs::FileType::from_raw_mode(found.st_mode).is_file() => {
                return Err(io::Error::other(
                    "got a link, a folder or a device, want a regular file",
                ));
            }
            Ok(_) | Err(_) => {}
        }
        let mode = match access {
            Access::Usual => 0o666, // less what the umask takes
            Access::Private | Access::Kept => 0o600,
        };
        let (file, hidden) = unnamed(&folder, name, Mode::from_raw_mode(mode))?;
        let whole = Self {
            file,
            folder,
            name: name.to_owned(),
            hidden,
            replaces,
        };
        match (access, found) {
            (Access::Kept, Ok(found)) => {
                let kept = Mode::from_raw_mode(found.st_mode & 0o7777);
                rustix::fs::fchmod(&whole.file, kept)?;
            }
            (Access::Kept | Access::Usual | Access::Private, _) => {}
        }
        Ok(whole)
    }

    /// Makes the file durable and gives it its name.
    pub fn commit(mut self) -> io::Result<()> {
        self.file.sync_all()?; // fsync: what stands in it, before anybody can see it
        self.name_it()?;
        self.folder.sync_all() // fsync: its name
    }

    /// Gives the file its name; programs see it whole, and the disk may not have it yet.
    fn name_it(&mut self) -> io::Result<()> {
        if self.hidden.is_none() && !self.replaces {
            self.link(&self.name)?;
        } else {
            if self.hidden.is_none() {
                let hidden = hidden_name(&self.name);
                forget(&self.folder, &hidden);
                self.link(&hidden)?;
                self.hidden = Some(hidden);
            }
            self.rename()?;
        }
        Ok(())
    }

    fn link(&self, name: &OsStr) -> io::Result<()> {
        let unnamed = PathBuf::from(format!("/proc/self/fd/{}", self.file.as_raw_fd()));
        let follow = AtFlags::SYMLINK_FOLLOW;
        Ok(rustix::fs::linkat(
            CWD,
            &unnamed,
            &self.folder,
            name,
            follow,
        )?)
    }

    fn rename(&mut self) -> io::Result<()> {
        let Some(hidden) = &self.hidden else {
            return Ok(());
        };
        let flags = if self.replaces {
            rustix::fs::RenameFlags::empty()
        } else {
            rustix::fs::RenameFlags::NOREPLACE
        };
        rustix::fs::renameat_with(&self.folder, hidden, &self.folder, &self.name, flags)?;
        self.hidden = None;
        Ok(())
    }
}

impl Write for WholeFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Drop for WholeFile {
    fn drop(&mut self) {
        if let Some(hidden) = &self.hidden {
            forget(&self.folder, hidden);
        }
    }
}

/// A new file in the folder, without a name if the file system supports that, otherwise with its hidden name.
fn unnamed(folder: &File, name: &OsStr, mode: Mode) -> io::Result<(File, Option<OsString>)> {
    let flags = OFlags::WRONLY | OFlags::CLOEXEC;
    match rustix::fs::openat(folder, ".", flags | OFlags::TMPFILE, mode) {
        Ok(fd) => return Ok((fd.into(), None)),
        Err(Errno::OPNOTSUPP | Errno::ISDIR | Errno::NOENT | Errno::INVAL) => {}
        Err(errno) => return Err(errno.into()),
    }
    let hidden = hidden_name(name);
    forget(folder, &hidden);
    let flags = flags | OFlags::CREATE | OFlags::EXCL | OFlags::NOFOLLOW;
    let file = rustix::fs::openat(folder, &hidden, flags, mode)?;
    Ok((file.into(), Some(hidden)))
}

/// Removes a hidden name: our own, or one that a killed process with our id left.
fn forget(folder: &File, hidden: &OsStr) {
    let _ = rustix::fs::unlinkat(folder, hidden, AtFlags::empty());
}

/// `.NAME.PROCESS.part`
fn hidden_name(name: &OsStr) -> OsString {
    let mut hidden = OsString::from(".");
    hidden.push(name);
    hidden.push(format!(".{}.part", std::process::id()));
    hidden
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn names(folder: &Path) -> Vec<OsString> {
        let mut names: Vec<_> = fs::read_dir(folder)
            .unwrap()
            .map(|item| item.unwrap().file_name())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn nothing_is_seen_before_it_is_whole_and_nothing_stays_of_what_was_given_up() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.csv");
        let mut file = WholeFile::create(&path, false, Access::Usual).unwrap();
        file.write_all(b"half").unwrap();
        assert!(!path.exists());
        drop(file);
        assert_eq!(names(folder.path()), Vec::<OsString>::new());

        let mut file = WholeFile::create(&path, false, Access::Usual).unwrap();
        file.write_all(b"whole").unwrap();
        file.commit().unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"whole");
        assert_eq!(names(folder.path()), ["a.csv"]);
    }

    #[test]
    fn a_file_is_only_replaced_where_that_was_asked_for_also_if_it_came_meanwhile() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.csv");
        let mut early = WholeFile::create(&path, false, Access::Usual).unwrap();
        early.write_all(b"late").unwrap();
        fs::write(&path, "mine").unwrap();
        let taken = |result: io::Result<()>| result.unwrap_err().kind();
        assert_eq!(taken(early.commit()), io::ErrorKind::AlreadyExists);
        let again = WholeFile::create(&path, false, Access::Usual).map(drop);
        assert_eq!(taken(again), io::ErrorKind::AlreadyExists);
        assert_eq!(fs::read(&path).unwrap(), b"mine");

        let mut file = WholeFile::create(&path, true, Access::Usual).unwrap();
        file.write_all(b"new").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"mine");
        file.commit().unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"new");
        assert_eq!(names(folder.path()), ["a.csv"]);
    }

    #[test]
    fn a_private_file_is_its_owners_and_another_is_kept_as_it_was() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a");
        let mode = || fs::metadata(&path).unwrap().permissions().mode() & 0o7777;
        put(&path, b"1", false, Access::Private).unwrap();
        assert_eq!(mode(), 0o600);
        fs::set_permissions(&path, fs::Permissions::from_mode(0o664)).unwrap();
        put(&path, b"2", true, Access::Kept).unwrap();
        assert_eq!((mode(), fs::read(&path).unwrap()), (0o664, b"2".to_vec()));
    }

    #[test]
    fn a_link_or_a_device_is_not_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let (link, target) = (folder.path().join("link"), folder.path().join("target"));
        fs::write(&target, "mine").unwrap();
        std::os::unix::fs::symlink(&target, &link).unwrap();
        for path in [&link, Path::new("/dev/null")] {
            assert!(
                WholeFile::create(path, true, Access::Usual).is_err(),
                "{}",
                path.display()
            );
        }
        assert_eq!(fs::read(&target).unwrap(), b"mine");
    }
}
