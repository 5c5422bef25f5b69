//! Files that appear complete or not at all: written without a name, synced, and then named. And folders with durable
//! names.
//!
//! If the file system does not support files without names, the file first gets a hidden name, which a killed process
//! may leave behind. The final name always shows the complete file.

pub(crate) mod secret;

use crate::system::{self, Place};
use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

pub(crate) use crate::system::Access;

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

/// Tries in `folder` what each entry needs: writes and syncs a file that gets no name.
pub(crate) fn trial(folder: &Path) -> io::Result<()> {
    let (mut file, _unnamed) = Place::begin(&folder.join("trial"), true, Access::Private)?;
    file.write_all(b"trial\n")?;
    file.sync_data() // fsync: the trial itself
}

/// Creates a folder and missing folders above it; each name is durable.
pub(crate) fn make_folder(folder: &Path, mode: u32) -> io::Result<()> {
    if folder.as_os_str().is_empty() || folder.symlink_metadata().is_ok() {
        return Ok(());
    }
    make_folder(folder.parent().unwrap_or(Path::new("")), mode)?;
    system::make_folder(folder, mode)
}

/// An unfinished file.
#[derive(Debug)]
pub struct WholeFile {
    file: File,
    place: Place,
    replaces: bool,
}

impl WholeFile {
    /// Begins the file `path`. If it exists it is replaced when `replaces` is set; otherwise that is an error.
    ///
    /// Fails if there is no such folder, if it cannot be written to, or if the name is in use.
    pub fn create(path: &Path, replaces: bool, access: Access) -> io::Result<Self> {
        let (file, place) = Place::begin(path, replaces, access)?;
        Ok(Self {
            file,
            place,
            replaces,
        })
    }

    /// Makes the file durable and gives it its name.
    pub fn commit(mut self) -> io::Result<()> {
        self.file.sync_all()?; // fsync: its content, before anybody can see it
        self.name_it()?;
        self.place.sync() // fsync: its name
    }

    /// Gives the file its name. Programs see it complete, but it may not be on disk yet.
    fn name_it(&mut self) -> io::Result<()> {
        self.place.name_it(&self.file, self.replaces)
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

#[cfg(test)]
mod tests {
    #![expect(clippy::disallowed_methods, reason = "the files that are looked at")]

    use super::*;
    use std::ffi::OsString;
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
