//! The folder of a journal, and [`Storage`] on a real disk.
//!
//! - Every file is opened relative to the open folder and never through a symbolic link, so that what is written ends
//!   up where it was checked.

use super::{JournalError, Storage};
use crate::durable::{failed, make_folder};
use crate::system::Folder;
use std::fmt;
use std::fs::File;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

/// Number of a segment, from 1. The name of its file has it with eight digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SegmentNumber(pub u32);

impl SegmentNumber {
    /// The number before the first segment.
    pub(super) const NONE: Self = Self(0);

    /// The next one.
    #[must_use]
    pub const fn following(self) -> Self {
        Self(self.0.saturating_add(1))
    }

    /// The number before; `None` before the first.
    pub fn before(self) -> Option<Self> {
        self.0.checked_sub(1).filter(|number| *number > 0).map(Self)
    }

    /// Name of its file: `00000001.jsonl`.
    pub fn file_name(self) -> String {
        format!("{self}.jsonl")
    }

    fn from_file_name(name: &str) -> Option<Self> {
        let digits = name.strip_suffix(".jsonl")?;
        let all_digits = digits.len() == 8 && digits.bytes().all(|byte| byte.is_ascii_digit());
        let number = Self(digits.parse().ok().filter(|number| *number > 0)?);
        all_digits.then_some(number)
    }
}

impl fmt::Display for SegmentNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:08}", self.0)
    }
}

/// The open folder of a journal.
#[derive(Debug)]
pub struct Dir {
    folder: Folder,
    path: PathBuf,
}

impl Dir {
    /// Opens the folder; a symbolic link or a file in its place is refused.
    pub fn open(path: &Path) -> Result<Self, JournalError> {
        let folder = Folder::open(path).map_err(|cause| io_error("open", path, cause))?;
        let folder = folder.ok_or_else(|| JournalError::WrongKind {
            path: path.to_owned(),
            got: kind_of(path),
            want: "a folder",
        })?;
        let path = path.to_owned();
        Ok(Self { folder, path })
    }

    /// Opens the folder; `None` if there is none.
    pub fn open_if_there(path: &Path) -> Result<Option<Self>, JournalError> {
        match path.symlink_metadata() {
            Err(cause) if cause.kind() == io::ErrorKind::NotFound => Ok(None),
            Ok(_) | Err(_) => Self::open(path).map(Some),
        }
    }

    /// Opens the folder. It and the folders above are created (mode 0700) if they are missing.
    pub fn open_or_make(path: &Path) -> Result<Self, JournalError> {
        make_folder(path, 0o700).map_err(|cause| io_error("make the folder", path, cause))?;
        Self::open(path)
    }

    /// Path of the folder, for messages.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The path of a file in it, for messages.
    pub(super) fn path_of(&self, name: &str) -> PathBuf {
        self.path.join(name)
    }

    /// Numbers of the segments, ascending.
    pub fn segments(&self) -> Result<Vec<SegmentNumber>, JournalError> {
        let names = self.folder.names();
        let names = names.map_err(|cause| io_error("list", &self.path, cause))?;
        let numbers = names
            .iter()
            .filter_map(|name| SegmentNumber::from_file_name(name));
        let mut numbers: Vec<_> = numbers.collect();
        numbers.sort_unstable();
        Ok(numbers)
    }

    /// Size of a segment in bytes.
    pub(super) fn bytes_of(&self, number: SegmentNumber) -> Result<u64, JournalError> {
        let metadata = self.read(number)?.metadata();
        metadata
            .map(|metadata| metadata.len())
            .map_err(|cause| io_error("read", &self.path_of(&number.file_name()), cause))
    }

    /// Opens a segment for reading.
    pub(super) fn read(&self, number: SegmentNumber) -> Result<File, JournalError> {
        self.open_file(&number.file_name(), false)
    }

    /// Opens a segment for reading and appending.
    pub(super) fn read_and_append(&self, number: SegmentNumber) -> Result<File, JournalError> {
        self.open_file(&number.file_name(), true)
    }

    fn open_file(&self, name: &str, appends: bool) -> Result<File, JournalError> {
        let path = self.path_of(name);
        let file = self.folder.file(name, appends);
        let file = file.map_err(|cause| io_error("open", &path, cause))?;
        file.ok_or_else(|| JournalError::WrongKind {
            got: kind_of(&path),
            want: "a regular file",
            path,
        })
    }

    /// Stores `bytes` durably in a new file `NNNNNNNN.torn-N`, and returns its name.
    pub(super) fn set_aside(
        &self,
        number: SegmentNumber,
        bytes: &[u8],
    ) -> Result<String, JournalError> {
        for attempt in 1..=u32::MAX {
            let name = format!("{number}.torn-{attempt}");
            let failed = |cause| io_error("write", &self.path_of(&name), cause);
            match self.folder.create_new(&name) {
                Ok(mut file) => {
                    file.write_all(bytes).map_err(failed)?;
                    file.sync_all().map_err(failed)?; // fsync: the torn line's copy
                    self.folder.sync().map_err(failed)?; // fsync: its name
                    return Ok(name);
                }
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
                Err(error) => return Err(failed(error)),
            }
        }
        Err(io_error(
            "set aside a torn line in",
            &self.path,
            io::ErrorKind::AlreadyExists.into(),
        ))
    }

    /// Checks that the folder is where it was opened, and that `file` is in a folder. A removed file accepts writes and
    /// syncs as before, and everything in it is lost once the process ends.
    fn check_place(&self, file: &File) -> io::Result<()> {
        if self.folder.is_in_place(&self.path, file)? {
            return Ok(());
        }
        Err(io::Error::new(
            io::ErrorKind::NotFound,
            format!(
                "{} was removed, moved or hidden while the daemon wrote to it; if it is somewhere else, put it back before the next start",
                self.path.display()
            ),
        ))
    }
}

impl Storage for Dir {
    type File = File;

    fn create(&mut self, number: SegmentNumber) -> io::Result<File> {
        self.folder.create_new(&number.file_name())
    }

    fn write(&mut self, file: &mut File, bytes: &[u8]) -> io::Result<usize> {
        file.write(bytes)
    }

    fn sync_data(&mut self, file: &mut File) -> io::Result<()> {
        file.sync_data()?;
        self.check_place(file)
    }

    fn cut(&mut self, file: &mut File, len: u64) -> io::Result<()> {
        file.set_len(len)?;
        file.sync_all()
    }

    fn sync_dir(&mut self) -> io::Result<()> {
        self.folder.sync()
    }

    fn remove(&mut self, number: SegmentNumber) -> io::Result<()> {
        self.folder.remove(&number.file_name())
    }
}

pub(super) fn io_error(action: &'static str, path: &Path, cause: io::Error) -> JournalError {
    failed(action, path)(cause).into()
}

fn kind_of(path: &Path) -> &'static str {
    let Ok(metadata) = path.symlink_metadata() else {
        return "gone";
    };
    let kind = metadata.file_type();
    if kind.is_symlink() {
        "a symbolic link"
    } else if kind.is_dir() {
        "a folder"
    } else if kind.is_file() {
        "a file"
    } else {
        "a device, pipe or socket"
    }
}
