//! Linux, on which the bench runs.

use super::{Access, Guarded, above, hidden_name};
use rustix::fs::{AtFlags, CWD, Mode, OFlags};
use rustix::io::Errno;
use std::ffi::{OsStr, OsString};
use std::fs::{File, Metadata};
use std::io;
use std::os::fd::AsRawFd as _;
use std::os::unix::fs::{DirBuilderExt as _, FileExt as _, MetadataExt as _};
use std::path::{Path, PathBuf};

/// An open folder. Its files are opened relative to it and never through a symbolic link, so that what is written ends
/// up where it was checked.
#[derive(Debug)]
pub(crate) struct Folder(File);

impl Folder {
    /// Opens the folder; `None` if a symbolic link or a file is in its place.
    pub(crate) fn open(path: &Path) -> io::Result<Option<Self>> {
        let flags = OFlags::RDONLY | OFlags::DIRECTORY | OFlags::NOFOLLOW | OFlags::CLOEXEC;
        match rustix::fs::open(path, flags, Mode::empty()) {
            Ok(fd) => Ok(Some(Self(fd.into()))),
            Err(Errno::NOTDIR | Errno::LOOP) => Ok(None),
            Err(errno) => Err(errno.into()),
        }
    }

    /// The names in it that are UTF-8, in no order.
    pub(crate) fn names(&self) -> io::Result<Vec<String>> {
        let mut names = Vec::new();
        for item in rustix::fs::Dir::read_from(&self.0)? {
            names.extend(item?.file_name().to_str().ok().map(str::to_owned));
        }
        Ok(names)
    }

    /// Opens a file for reading, and for appending if that is requested; `None` if something else has its name.
    pub(crate) fn file(&self, name: &str, appends: bool) -> io::Result<Option<File>> {
        let how = if appends {
            OFlags::RDWR | OFlags::APPEND
        } else {
            OFlags::RDONLY
        };
        // NONBLOCK: opening a FIFO must not wait for its other end.
        let flags = how | OFlags::NOFOLLOW | OFlags::NONBLOCK | OFlags::CLOEXEC;
        let file: File = match rustix::fs::openat(&self.0, name, flags, Mode::empty()) {
            Ok(fd) => fd.into(),
            Err(Errno::LOOP | Errno::ISDIR | Errno::NXIO) => return Ok(None),
            Err(errno) => return Err(errno.into()),
        };
        Ok(file.metadata()?.is_file().then_some(file))
    }

    /// A new file of its owner alone, for reading and appending.
    pub(crate) fn create_new(&self, name: &str) -> io::Result<File> {
        let flags = OFlags::CREATE
            | OFlags::EXCL
            | OFlags::RDWR
            | OFlags::APPEND
            | OFlags::NOFOLLOW
            | OFlags::CLOEXEC;
        let mode = Mode::RUSR | Mode::WUSR;
        Ok(rustix::fs::openat(&self.0, name, flags, mode)?.into())
    }

    pub(crate) fn remove(&self, name: &str) -> io::Result<()> {
        Ok(rustix::fs::unlinkat(&self.0, name, AtFlags::empty())?)
    }

    /// Makes the names in it durable.
    pub(crate) fn sync(&self) -> io::Result<()> {
        self.0.sync_all()
    }

    /// Whether `path` still names this folder, and `file` has a name.
    pub(crate) fn is_in_place(&self, path: &Path, file: &File) -> io::Result<bool> {
        let opened = self.0.metadata()?;
        let is_there = std::fs::symlink_metadata(path)
            .is_ok_and(|now| (now.dev(), now.ino()) == (opened.dev(), opened.ino()));
        Ok(is_there && file.metadata()?.nlink() > 0)
    }
}

/// The place of a file that is not finished: it has no name, or a hidden one.
#[derive(Debug)]
pub(crate) struct Place {
    folder: File,
    name: OsString,
    /// The hidden name of the file, if it needs one.
    hidden: Option<OsString>,
}

impl Place {
    /// Begins the file `path`. Fails if it is there and is not to be replaced, or if it is no regular file.
    pub(crate) fn begin(path: &Path, replaces: bool, access: Access) -> io::Result<(File, Self)> {
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
        let name = name.to_owned();
        let place = Self {
            folder,
            name,
            hidden,
        };
        match (access, found) {
            (Access::Kept, Ok(found)) => {
                let kept = Mode::from_raw_mode(found.st_mode & 0o7777);
                rustix::fs::fchmod(&file, kept)?;
            }
            (Access::Kept | Access::Usual | Access::Private, _) => {}
        }
        Ok((file, place))
    }

    /// Gives the file its name; programs see it whole, and the disk may not have it yet.
    pub(crate) fn name_it(&mut self, file: &File, replaces: bool) -> io::Result<()> {
        if self.hidden.is_none() && !replaces {
            return link(file, &self.folder, &self.name);
        }
        let hidden = if let Some(hidden) = self.hidden.take() {
            hidden
        } else {
            let hidden = hidden_name(&self.name);
            forget(&self.folder, &hidden);
            link(file, &self.folder, &hidden)?;
            hidden
        };
        let flags = if replaces {
            rustix::fs::RenameFlags::empty()
        } else {
            rustix::fs::RenameFlags::NOREPLACE
        };
        let renamed =
            rustix::fs::renameat_with(&self.folder, &hidden, &self.folder, &self.name, flags);
        if renamed.is_err() {
            self.hidden = Some(hidden);
        }
        Ok(renamed?)
    }

    /// Makes the name durable.
    pub(crate) fn sync(&self) -> io::Result<()> {
        self.folder.sync_all()
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        if let Some(hidden) = &self.hidden {
            forget(&self.folder, hidden);
        }
    }
}

fn link(file: &File, folder: &File, name: &OsStr) -> io::Result<()> {
    let unnamed = PathBuf::from(format!("/proc/self/fd/{}", file.as_raw_fd()));
    let follow = AtFlags::SYMLINK_FOLLOW;
    Ok(rustix::fs::linkat(CWD, &unnamed, folder, name, follow)?)
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

/// Makes one folder, with a durable name; it may be there already.
pub(crate) fn make_folder(folder: &Path, mode: u32) -> io::Result<()> {
    match rustix::fs::mkdir(folder, Mode::from_raw_mode(mode)) {
        Ok(()) | Err(Errno::EXIST) => {}
        Err(errno) => return Err(errno.into()),
    }
    File::open(above(folder))?.sync_all() // fsync: the name of the new folder
}

/// Makes a new folder that only this user may use, not durably.
pub(crate) fn make_private_folder(path: &Path) -> io::Result<()> {
    std::fs::DirBuilder::new().mode(0o700).create(path)
}

/// A file for a lock, made if it is missing, of its owner alone; never through a symbolic link.
pub(crate) fn lock_file(path: &Path) -> io::Result<File> {
    let flags = OFlags::CREATE | OFlags::RDWR | OFlags::NOFOLLOW | OFlags::CLOEXEC;
    Ok(rustix::fs::open(path, flags, Mode::RUSR | Mode::WUSR)?.into())
}

/// One `pread(2)`.
pub(crate) fn read_at(file: &File, buffer: &mut [u8], at: u64) -> io::Result<usize> {
    file.read_at(buffer, at)
}

/// Writes all of `bytes` at this place.
pub(crate) fn write_all_at(file: &File, bytes: &[u8], at: u64) -> io::Result<()> {
    file.write_all_at(bytes, at)
}

/// Makes what went to standard output durable if it is a file. The reader of a pipe must do that itself.
pub(crate) fn sync_stdout() -> io::Result<()> {
    match rustix::fs::fdatasync(io::stdout()) {
        Ok(()) | Err(Errno::INVAL | Errno::ROFS) => Ok(()),
        Err(errno) => Err(errno.into()),
    }
}

/// Opens a file that holds a secret, never through a symbolic link; `None` if there is none.
pub(crate) fn guarded(path: &Path) -> io::Result<Option<Guarded>> {
    let flags = OFlags::RDONLY | OFlags::NOFOLLOW | OFlags::CLOEXEC | OFlags::NONBLOCK;
    let file = match rustix::fs::open(path, flags, Mode::empty()) {
        Ok(file) => File::from(file),
        Err(Errno::NOENT) => return Ok(None),
        Err(errno) => return Err(errno.into()),
    };
    let metadata = file.metadata()?;
    Ok(Some(Guarded {
        mode: metadata.mode() & 0o7777,
        owner: metadata.uid(),
        file,
    }))
}

/// From the kernel's generator, which may give less at a time than is requested.
pub(crate) fn random(bytes: &mut [u8]) -> io::Result<()> {
    let mut rest = bytes;
    while !rest.is_empty() {
        let got = rustix::rand::getrandom(&mut *rest, rustix::rand::GetRandomFlags::empty())?;
        rest = rest.get_mut(got..).unwrap_or_default();
    }
    Ok(())
}

/// The user of this process; `None` where the system does not say.
#[expect(clippy::unnecessary_wraps, reason = "another system does not say")]
pub(crate) fn user() -> Option<u32> {
    Some(rustix::process::geteuid().as_raw())
}

/// Whose a file is; `None` where the system does not say, or if others than the owner may write it.
pub(crate) fn sole_writer(found: &Metadata) -> Option<u32> {
    (found.mode() & 0o022 == 0).then(|| found.uid())
}

/// Whose a file or folder is; `None` where the system does not say.
#[expect(clippy::unnecessary_wraps, reason = "another system does not say")]
pub(crate) fn owner(found: &Metadata) -> Option<u32> {
    Some(found.uid())
}

/// Whether this process may make files in the folder.
pub(crate) fn may_write_in(folder: &Path) -> bool {
    use rustix::fs::Access;
    rustix::fs::access(folder, Access::WRITE_OK | Access::EXEC_OK).is_ok()
}
