//! The folder of the sockets: who owns it, what a dead daemon left in it, who else listens there.
//!
//! - A socket appears under its name only once it has its mode and group.
//! - What is no socket is never replaced, and neither is a socket that a living daemon listens at.
//! - The folder itself is no symbolic link: who may change the link could move the sockets.

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

/// The longest path of a socket: `sun_path` of unix(7) less its final zero.
const LONGEST_PATH: usize = 107;

/// Why the sockets cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum SocketError {
    /// A file or folder could not be made or changed.
    #[error(transparent)]
    Io(#[from] Failed),
    /// Another daemon has its sockets here.
    #[error("{} is in use by another daemon{}", path.display(), pid.map_or_else(String::new, |pid| format!(" (process {pid})")))]
    InUse {
        /// The folder.
        path: PathBuf,
        /// The other daemon, where it could be asked.
        pid: Option<i32>,
    },
    /// Something else stands where the folder should.
    #[error("{} is {got}, want a folder", path.display())]
    NoFolder {
        path: PathBuf,
        /// What is there.
        got: &'static str,
    },
    /// Something else stands where the socket should.
    #[error("{} is there and is no socket", path.display())]
    NoSocket { path: PathBuf },
    /// The path is longer than the system takes.
    #[error("the path of a socket has {got} bytes, want at most {LONGEST_PATH}: {}", path.display())]
    PathTooLong {
        path: PathBuf,
        /// Its length.
        got: usize,
    },
    /// There is no such group.
    #[error("no group {name:?} on this machine")]
    UnknownGroup { name: String },
}

impl SocketError {
    /// Whether the configuration, or a second daemon, is at fault; otherwise the system is.
    pub const fn is_wrong_configuration(&self) -> bool {
        match self {
            Self::InUse { .. }
            | Self::NoFolder { .. }
            | Self::PathTooLong { .. }
            | Self::UnknownGroup { .. } => true,
            Self::Io(_) | Self::NoSocket { .. } => false,
        }
    }

    /// What a person can do; printed on a line of its own, never part of the message.
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

/// What stands where a socket of the daemon belongs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Seen {
    /// Nothing.
    Absent,
    /// A socket that nobody listens at: its daemon was killed.
    Stale,
    /// A daemon listens.
    Listens {
        /// Its process, where the kernel says it.
        pid: Option<i32>,
    },
    /// A socket that this user may not connect to.
    NotAllowed,
}

/// Looks at the place of a socket; connects where there is one.
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

/// The folder of the sockets, held for as long as this lives.
#[derive(Debug)]
pub(crate) struct RuntimeDir {
    path: PathBuf,
    socket_mode: u32,
    group: Option<Gid>,
    _lock: OwnedFd,
}

impl RuntimeDir {
    /// Makes the folder if need be, and holds it.
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

    /// Where clients read.
    pub(crate) fn feed_path(&self) -> PathBuf {
        self.path.join("feed.sock")
    }

    /// Where the operator speaks.
    pub(crate) fn control_path(&self) -> PathBuf {
        self.path.join("control.sock")
    }

    /// Listens for clients of the feed.
    pub(crate) fn bind_feed(&self) -> Result<UnixListener, SocketError> {
        self.bind(&self.feed_path(), self.socket_mode, self.group)
    }

    /// Listens for commands; nobody but this user may connect.
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

    /// What stands there may be replaced: nothing, or a socket that nobody listens at.
    fn check_place(&self, path: &Path) -> Result<(), SocketError> {
        match look(path)? {
            Seen::Absent | Seen::Stale | Seen::NotAllowed => Ok(()),
            Seen::Listens { pid } => Err(SocketError::InUse {
                path: self.path.clone(),
                pid,
            }),
        }
    }

    /// Removes the sockets, so that a client learns at once that no daemon listens.
    pub(crate) fn remove_sockets(&self) {
        for path in [self.feed_path(), self.control_path()] {
            if let Err(error) = fs::remove_file(&path) {
                tracing::warn!(path = %path.display(), %error, "a socket was not removed");
            }
        }
    }
}

/// Makes the folder for this user alone; for a group that may read the feed it can be entered.
fn make_folder(path: &Path, group: Option<Gid>) -> Result<(), SocketError> {
    if let Ok(found) = fs::symlink_metadata(path) {
        if found.is_dir() && found.permissions().mode() & 0o002 != 0 {
            tracing::warn!(path = %path.display(), "anyone may write to the folder of the sockets");
        }
        return Ok(()); // opening it says if it is something else
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

/// Opens the folder, not through a link.
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

/// The process that listens at a socket, if one does and the kernel says which.
fn listener_at(path: &Path) -> Option<i32> {
    let stream = std::os::unix::net::UnixStream::connect(path).ok()?;
    let peer = rustix::net::sockopt::socket_peercred(&stream).ok()?;
    Some(peer.pid.as_raw_nonzero().get())
}

/// By number, or by its name in /etc/group: groups from a directory service go by number.
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
