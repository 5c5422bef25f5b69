//! Asks the system about a folder: which files are finished, which are in it, and their content.
//!
//! In: the path of a folder or file. Out: names and bytes. Nothing is decided here.

use crate::pictures::MOST_BYTES;
use crate::quantity::WallMicros;
use rustix::fs::inotify::{self, CreateFlags, ReadFlags, WatchFlags};
use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use std::ffi::{OsStr, OsString};
use std::fs::{self, File, Metadata};
use std::io::{self, Read as _};
use std::mem::MaybeUninit;
use std::os::fd::OwnedFd;
use std::os::unix::ffi::{OsStrExt as _, OsStringExt as _};
use std::os::unix::fs::MetadataExt as _;
use std::path::Path;
use tokio::io::unix::AsyncFd;

/// Room for many events; further ones wait in the system.
const EVENT_BYTES: usize = 16 * 1024;

/// A folder whose events are read.
#[derive(Debug)]
pub(super) struct Events {
    events: AsyncFd<OwnedFd>,
    is: Identity,
}

/// Device and number of a folder, because a path may come to name another folder.
type Identity = (u64, u64);

/// The content of the events.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Seen {
    /// These files are finished. With `true`, the name was only created: it is a link, or a file that is still written.
    Files(Vec<(OsString, bool)>),
    /// The folder is gone, or there were more events than the system keeps: it must be listed again.
    LookAgain,
}

impl Events {
    /// Begins to watch. A file that is finished from now on is in the events.
    pub(super) fn begin(folder: &Path) -> io::Result<Self> {
        let before = identity(folder)?;
        let events = inotify::init(CreateFlags::NONBLOCK | CreateFlags::CLOEXEC)?;
        // CREATE: a link is finished when it appears, and nobody closes it.
        let finished = WatchFlags::CLOSE_WRITE | WatchFlags::MOVED_TO | WatchFlags::CREATE;
        inotify::add_watch(&events, folder, finished | WatchFlags::ONLYDIR)?;
        let is = identity(folder)?;
        if is != before {
            return Err(io::Error::other("it is being exchanged"));
        }
        // Checks that its files can be listed at all.
        fs::read_dir(folder)?;
        #[expect(
            deprecated,
            reason = "unsound only for a type that lies about its descriptor, as OwnedFd cannot; what replaces it needs unsafe code"
        )]
        let events = AsyncFd::new(events)?;
        Ok(Self { events, is })
    }

    /// Whether the path still names the watched folder.
    pub(super) fn is_of(&self, now: Option<Identity>) -> bool {
        now == Some(self.is)
    }

    /// Waits for the next events.
    pub(super) async fn next(&self) -> Seen {
        loop {
            let Ok(mut ready) = self.events.readable().await else {
                return Seen::LookAgain;
            };
            match ready.try_io(|events| read_events(events.get_ref())) {
                Ok(Ok(seen)) => return seen,
                Ok(Err(_)) => return Seen::LookAgain,
                Err(_would_block) => {}
            }
        }
    }
}

/// The folder that the path names now.
pub(super) fn identity(folder: &Path) -> io::Result<Identity> {
    let about = fs::metadata(folder)?;
    if !about.is_dir() {
        return Err(io::ErrorKind::NotADirectory.into());
    }
    Ok((about.dev(), about.ino()))
}

/// The files of all waiting events.
fn read_events(events: &OwnedFd) -> io::Result<Seen> {
    let mut buffer = [MaybeUninit::uninit(); EVENT_BYTES];
    let mut reader = inotify::Reader::new(events, &mut buffer);
    let mut names = Vec::new();
    loop {
        match reader.next() {
            Ok(event) => {
                let over = ReadFlags::QUEUE_OVERFLOW | ReadFlags::IGNORED | ReadFlags::UNMOUNT;
                if event.events().intersects(over) {
                    return Ok(Seen::LookAgain);
                }
                let only_made = event.events().contains(ReadFlags::CREATE);
                let name = event.file_name().map(|name| name.to_bytes().to_vec());
                names.extend(name.map(|name| (OsString::from_vec(name), only_made)));
            }
            Err(Errno::WOULDBLOCK) if names.is_empty() => return Err(Errno::WOULDBLOCK.into()),
            Err(Errno::WOULDBLOCK) => return Ok(Seen::Files(names)),
            Err(errno) => return Err(errno.into()),
        }
    }
}

/// The files that were changed at `since` or later, the oldest first, each with that time; and the number of older
/// ones.
pub(super) fn listed(
    folder: &Path,
    since: WallMicros,
) -> io::Result<(Vec<(WallMicros, OsString)>, usize)> {
    let (mut files, mut older) = (Vec::new(), 0);
    for item in fs::read_dir(folder)? {
        let item = item?;
        // It may be gone again.
        let Ok(about) = item.metadata() else { continue };
        let changed = changed(&about);
        if about.is_dir() {
            continue;
        }
        if changed >= since {
            files.push((changed, item.file_name()));
        } else {
            older += 1;
        }
    }
    files.sort();
    Ok((files, older))
}

fn changed(about: &Metadata) -> WallMicros {
    let micros = about.mtime().saturating_mul(1_000_000);
    WallMicros(micros.saturating_add(about.mtime_nsec() / 1_000))
}

/// Whether a name that was just created is a link or no regular file, so that nobody will close it after writing.
pub(super) fn is_all_there(path: &Path) -> bool {
    let Ok(about) = fs::symlink_metadata(path) else {
        return false;
    };
    !about.is_dir() && (!about.is_file() || about.nlink() > 1)
}

/// The bytes of a regular file, up to one more than a picture may have.
pub(super) fn read(path: &Path) -> io::Result<Vec<u8>> {
    let flags = OFlags::RDONLY | OFlags::CLOEXEC | OFlags::NONBLOCK | OFlags::NOCTTY;
    let file = match rustix::fs::open(path, flags | OFlags::NOFOLLOW, Mode::empty()) {
        Ok(file) => File::from(file),
        Err(Errno::LOOP) => return Err(io::Error::other("it is a link, want the picture itself")),
        Err(errno) => return Err(errno.into()),
    };
    if !file.metadata()?.is_file() {
        return Err(io::Error::other("it is no regular file, want a picture"));
    }
    let mut bytes = Vec::new();
    let most = u64::try_from(MOST_BYTES).unwrap_or(u64::MAX);
    file.take(most.saturating_add(1)).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Whether a program still works on a file of this name, as hidden files are by custom.
pub(super) fn is_hidden(name: &OsStr) -> bool {
    name.as_bytes().starts_with(b".")
}
