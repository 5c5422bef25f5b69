//! The folder of the sockets: its owner, what a killed daemon left in it, and other daemons that listen there.
//!
//! - A socket gets its name only after its permissions and group.
//! - A file that is not a socket is never replaced, nor is the socket of a running daemon.
//! - The folder must not be a symbolic link, because whoever can change the link could move the sockets.

use crate::config::DaemonConfig;
use crate::durable::{Failed, failed};
use rustix::fs::{FlockOperation, Gid, Mode, OFlags};
use rustix::io::Errno;
use std::fs::{self, DirBuilder, Permissions};
use std::io;
use std::os::fd::OwnedFd;
use std::os::unix::fs::{DirBuilderExt, FileTypeExt, PermissionsExt};
use std::path::{Path, PathBuf};
use tokio::net::UnixListener;

/// Maximum length of a socket's path: `sun_path` of unix(7) without its final zero.
const LONGEST_PATH: usize = 107;

/// Why the sockets cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum SocketError {
    /// A file or folder could not be made or changed.
    #[error(transparent)]
    Io(#[from] Failed),
    /// Another daemon uses this folder.
    #[error("{} is in use by another daemon{}", path.display(), pid.map_or_else(String::new, |pid| format!(" (process {pid})")))]
    InUse {
        /// The folder.
        path: PathBuf,
        /// Process id of the other daemon, if known.
        pid: Option<i32>,
    },
    /// Something other than a folder is there.
    #[error("{} is {got}, want a folder", path.display())]
    NoFolder {
        path: PathBuf,
        /// What is there.
        got: &'static str,
    },
    /// Something other than a socket is there.
    #[error("{} is there and is no socket", path.display())]
    NoSocket { path: PathBuf },
    /// The path is longer than the system allows.
    #[error("the path of a socket has {got} bytes, want at most {LONGEST_PATH}: {}", path.display())]
    PathTooLong {
        path: PathBuf,
        /// Length of the path.
        got: usize,
    },
    /// The group does not exist.
    #[error("no group {name:?} on this machine")]
    UnknownGroup { name: String },
}

impl SocketError {
    /// Whether the configuration or a second daemon is the cause, and not the system.
    pub const fn is_wrong_configuration(&self) -> bool {
        match self {
            Self::InUse { .. }
            | Self::NoFolder { .. }
            | Self::PathTooLong { .. }
            | Self::UnknownGroup { .. } => true,
            Self::Io(_) | Self::NoSocket { .. } => false,
        }
    }

    /// What to do. It is printed on a line of its own, never as part of the message.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Io(_) => "give `runtime_dir` a folder that this user may write to",
            Self::InUse { .. } => {
                "stop the other daemon, or give this one a `runtime_dir` and `state_dir` of its own"
            }
            Self::NoFolder { .. } => {
                "give `runtime_dir` the folder itself, or a name that does not exist yet"
            }
            Self::NoSocket { .. } => "find out what it is, then move it away",
            Self::PathTooLong { .. } => "give `runtime_dir` a shorter path",
            Self::UnknownGroup { .. } => "name a group of /etc/group, or make it: groupadd NAME",
        }
    }
}

/// What is at the path of a daemon's socket.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Seen {
    /// Nothing.
    Absent,
    /// A socket without a listener: its daemon was killed.
    Stale,
    /// A daemon listens.
    Listens {
        /// Process id, if the kernel knows it.
        pid: Option<i32>,
    },
    /// A socket that this user may not connect to.
    NotAllowed,
}

/// Examines the path of a socket, by connecting if there is one.
pub(crate) fn look(path: &Path) -> Result<Seen, SocketError> {
    let got = path.as_os_str().len();
    if got > LONGEST_PATH {
        let path = path.to_owned();
        return Err(SocketError::PathTooLong { path, got });
    }
    match fs::symlink_metadata(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Seen::Absent),
        Err(error) => return Err(failed("look at", path)(error).into()),
        Ok(found) if !found.file_type().is_socket() => {
            let path = path.to_owned();
            return Err(SocketError::NoSocket { path });
        }
        Ok(_) => {}
    }
    Ok(match std::os::unix::net::UnixStream::connect(path) {
        Ok(_) => Seen::Listens {
            pid: listener_at(path),
        },
        Err(error) if error.kind() == io::ErrorKind::PermissionDenied => Seen::NotAllowed,
        Err(_) => Seen::Stale,
    })
}

/// The folder of the sockets, locked as long as this exists.
#[derive(Debug)]
pub(crate) struct RuntimeDir {
    path: PathBuf,
    socket_mode: u32,
    group: Option<Gid>,
    _lock: OwnedFd,
}

impl RuntimeDir {
    /// Creates the folder if needed, and locks it.
    pub(crate) fn open(config: &DaemonConfig) -> Result<Self, SocketError> {
        let path = config.runtime_dir.clone();
        let group = config.socket_group.as_deref().map(group_id).transpose()?;
        make_folder(&path, group)?;
        let lock = open_folder(&path)?;
        match rustix::fs::flock(&lock, FlockOperation::NonBlockingLockExclusive) {
            Ok(()) => {}
            Err(Errno::AGAIN) => {
                let pid = listener_at(&path.join("control.sock"));
                return Err(SocketError::InUse { path, pid });
            }
            Err(errno) => return Err(failed("lock", &path)(errno.into()).into()),
        }
        Ok(Self {
            path,
            socket_mode: config.socket_mode,
            group,
            _lock: lock,
        })
    }

    /// Path of the feed's socket.
    pub(crate) fn feed_path(&self) -> PathBuf {
        self.path.join("feed.sock")
    }

    /// Path of the control socket.
    pub(crate) fn control_path(&self) -> PathBuf {
        self.path.join("control.sock")
    }

    /// Listens for clients of the feed.
    pub(crate) fn bind_feed(&self) -> Result<UnixListener, SocketError> {
        self.bind(&self.feed_path(), self.socket_mode, self.group)
    }

    /// Listens for requests. Only this user may connect.
    pub(crate) fn bind_control(&self) -> Result<UnixListener, SocketError> {
        self.bind(&self.control_path(), 0o600, None)
    }

    fn bind(
        &self,
        path: &Path,
        mode: u32,
        group: Option<Gid>,
    ) -> Result<UnixListener, SocketError> {
        self.check_place(path)?;
        let new = path.with_extension("new");
        match fs::remove_file(&new) {
            Ok(()) => {}
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            Err(error) => return Err(failed("remove", &new)(error).into()),
        }
        let listener =
            std::os::unix::net::UnixListener::bind(&new).map_err(failed("bind", &new))?;
        if group.is_some() {
            rustix::fs::chown(&new, None, group)
                .map_err(|errno| failed("give its group to", &new)(errno.into()))?;
        }
        fs::set_permissions(&new, Permissions::from_mode(mode))
            .map_err(failed("set the mode of", &new))?;
        fs::rename(&new, path).map_err(failed("put in place", path))?;
        let listening = listener
            .set_nonblocking(true)
            .and_then(|()| UnixListener::from_std(listener));
        Ok(listening.map_err(failed("listen at", path))?)
    }

    /// Checks that nothing is there, or a socket without a listener, which may be replaced.
    fn check_place(&self, path: &Path) -> Result<(), SocketError> {
        match look(path)? {
            Seen::Absent | Seen::Stale | Seen::NotAllowed => Ok(()),
            Seen::Listens { pid } => Err(SocketError::InUse {
                path: self.path.clone(),
                pid,
            }),
        }
    }

    /// Removes the sockets, so that clients notice at once that no daemon runs.
    pub(crate) fn remove_sockets(&self) {
        for path in [self.feed_path(), self.control_path()] {
            if let Err(error) = fs::remove_file(&path) {
                tracing::warn!(path = %path.display(), %error, "a socket was not removed");
            }
        }
    }
}

/// Creates the folder for this user only, or so that the group of the feed can enter it.
fn make_folder(path: &Path, group: Option<Gid>) -> Result<(), SocketError> {
    if let Ok(found) = fs::symlink_metadata(path) {
        if found.is_dir() && found.permissions().mode() & 0o002 != 0 {
            tracing::warn!(path = %path.display(), "anyone may write to the folder of the sockets");
        }
        return Ok(()); // Opening it will report what else it is.
    }
    DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(path)
        .map_err(failed("make the folder", path))?;
    if group.is_some() {
        rustix::fs::chown(path, None, group)
            .map_err(|errno| failed("give its group to", path)(errno.into()))?;
        fs::set_permissions(path, Permissions::from_mode(0o710))
            .map_err(failed("set the mode of", path))?;
    }
    Ok(())
}

/// Opens the folder, but not through a link.
fn open_folder(path: &Path) -> Result<OwnedFd, SocketError> {
    let flags = OFlags::RDONLY | OFlags::DIRECTORY | OFlags::NOFOLLOW | OFlags::CLOEXEC;
    match rustix::fs::open(path, flags, Mode::empty()) {
        Ok(folder) => Ok(folder),
        Err(Errno::NOTDIR | Errno::LOOP) => {
            let is_link = fs::symlink_metadata(path).is_ok_and(|found| found.is_symlink());
            Err(SocketError::NoFolder {
                path: path.to_owned(),
                got: if is_link {
                    "a symbolic link"
                } else {
                    "no folder"
                },
            })
        }
        Err(errno) => Err(failed("open", path)(errno.into()).into()),
    }
}

/// Id of the process that listens at a socket, if the kernel knows it.
fn listener_at(path: &Path) -> Option<i32> {
    let stream = std::os::unix::net::UnixStream::connect(path).ok()?;
    let peer = rustix::net::sockopt::socket_peercred(&stream).ok()?;
    Some(peer.pid.as_raw_nonzero().get())
}

/// A group by number, or by its name in /etc/group. Groups of a directory service need the number.
fn group_id(name: &str) -> Result<Gid, SocketError> {
    if let Ok(number) = name.parse() {
        return Ok(Gid::from_raw(number));
    }
    let groups = fs::read_to_string("/etc/group").unwrap_or_default();
    groups
        .lines()
        .find_map(|line| {
            let mut fields = line.split(':');
            let found = fields.next() == Some(name);
            fields.nth(1).filter(|_| found)?.parse().ok()
        })
        .map(Gid::from_raw)
        .ok_or_else(|| SocketError::UnknownGroup {
            name: name.to_owned(),
        })
}
