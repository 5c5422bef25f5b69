//! Finds out what is at a path and whether we may open it, without opening it.

use super::SerialError;
use super::holder::{Holder, holders};
use rustix::fs::Access as Wanted;
use rustix::io::Errno;
use std::fmt;
use std::fs::{self, FileType, Metadata};
use std::io;
use std::os::unix::fs::{FileTypeExt, MetadataExt};
use std::path::Path;

/// Device numbers of pseudo-terminals (Linux, `devices.txt`: 136–143).
const PTY_MAJORS: std::ops::RangeInclusive<u32> = 136..=143;

/// `/dev/ptmx`, which creates a new pseudo-terminal whenever it is opened.
const PTY_MAKER: (u32, u32) = (5, 2);

/// Owner and permissions of a port, and the user of this process.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Access {
    /// Name of the owner.
    pub owner: String,
    /// Name of the group.
    pub group: String,
    /// Permissions, for example `0o660`.
    pub mode: u32,
    /// Name of the user of this process.
    pub user: String,
    /// Names of the groups of this process.
    pub groups: Vec<String>,
    /// Whether the user was added to the port's group after this session began.
    pub group_is_granted: bool,
}

/// Groups that distributions give serial ports to.
const SERIAL_GROUPS: [&str; 2] = ["dialout", "uucp"];

impl Access {
    pub(super) fn of(device: &Metadata) -> Self {
        Self::new(device.uid(), device.gid(), device.mode() & 0o7777)
    }

    /// Access to a port as distributions set it up, plugged in or not; `None` if no such group exists.
    pub fn of_usual_port() -> Option<Self> {
        let groups = fs::read_to_string("/etc/group").unwrap_or_default();
        let gid = SERIAL_GROUPS.iter().find_map(|name| {
            groups.lines().find_map(|line| {
                let mut fields = line.split(':');
                let is_it = fields.next() == Some(name);
                fields.nth(1).filter(|_| is_it)?.parse().ok()
            })
        })?;
        Some(Self::new(0, gid, 0o660))
    }

    /// Whether these permissions allow opening the port.
    pub fn is_open_to_us(&self) -> bool {
        self.user == "root" || (self.mode & 0o060 == 0o060 && self.groups.contains(&self.group))
    }

    fn new(owner: u32, group: u32, mode: u32) -> Self {
        let user = name_in("/etc/passwd", rustix::process::geteuid().as_raw());
        let mut ids: Vec<u32> = rustix::process::getgroups()
            .unwrap_or_default()
            .into_iter()
            .map(rustix::process::Gid::as_raw)
            .collect();
        ids.push(rustix::process::getegid().as_raw());
        ids.sort_unstable();
        ids.dedup();
        Self {
            owner: name_in("/etc/passwd", owner),
            group: name_in("/etc/group", group),
            mode,
            group_is_granted: !ids.contains(&group) && is_member(&user, group),
            groups: ids
                .into_iter()
                .map(|id| name_in("/etc/group", id))
                .collect(),
            user,
        }
    }

    /// What to do.
    pub fn remedy(&self) -> String {
        let group_may = self.mode & 0o060 == 0o060 && self.group != "root";
        if group_may && self.group_is_granted {
            return format!(
                "log out and in again: this session is not in the group {} yet",
                self.group
            );
        }
        if group_may {
            return format!(
                "join the group that may open it: sudo usermod -aG {} {}, then log out and in again",
                self.group, self.user
            );
        }
        "let a group open it, by a udev rule: SUBSYSTEM==\"tty\", GROUP=\"dialout\", MODE=\"0660\""
            .to_owned()
    }
}

impl fmt::Display for Access {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "owner {}, group {}, mode {:04o}; this user is {}, in the groups {}",
            self.owner,
            self.group,
            self.mode,
            self.user,
            self.groups.join(", ")
        )
    }
}

/// A terminal that we may open, as far as that can be seen without opening it.
#[derive(Debug)]
pub(super) struct Seen {
    pub(super) device: Metadata,
    /// Processes that have it open, including this one.
    pub(super) holders: Vec<Holder>,
}

/// Examines a path without opening it.
pub(super) fn look(path: &Path) -> Result<Seen, SerialError> {
    let device = fs::metadata(path).map_err(|cause| from_io(path, cause))?;
    if let Some(what) = not_a_terminal(&device) {
        return Err(SerialError::NotATerminal {
            path: path.to_owned(),
            what,
        });
    }
    rustix::fs::access(path, Wanted::READ_OK | Wanted::WRITE_OK)
        .map_err(|errno| from_errno(path, errno))?;
    let holders = holders(path, &device);
    Ok(Seen { device, holders })
}

fn not_a_terminal(device: &Metadata) -> Option<&'static str> {
    let kind: FileType = device.file_type();
    if kind.is_char_device() {
        return is_other_device(device).then_some("a device of another kind");
    }
    Some(if kind.is_file() {
        "a regular file"
    } else if kind.is_dir() {
        "a folder"
    } else if kind.is_socket() {
        "a socket"
    } else if kind.is_fifo() {
        "a named pipe"
    } else {
        "a block device"
    })
}

/// Whether the kernel says that the device is not a terminal. Without information, opening will show it.
fn is_other_device(device: &Metadata) -> bool {
    if pty_number(device).is_some() {
        return false;
    }
    let (major, minor) = numbers(device);
    if (major, minor) == PTY_MAKER {
        return true;
    }
    fs::canonicalize(format!("/sys/dev/char/{major}:{minor}/subsystem"))
        .is_ok_and(|subsystem| !subsystem.ends_with("tty"))
}

/// Number of a pseudo-terminal: 5 for `/dev/pts/5`.
pub(super) fn pty_number(device: &Metadata) -> Option<u32> {
    let (major, minor) = numbers(device);
    let before = major.checked_sub(*PTY_MAJORS.start())?;
    PTY_MAJORS
        .contains(&major)
        .then(|| before.saturating_mul(256).saturating_add(minor))
}

fn numbers(device: &Metadata) -> (u32, u32) {
    let number = device.rdev();
    (rustix::fs::major(number), rustix::fs::minor(number))
}

/// Converts an error of the system for a path.
pub(super) fn from_errno(path: &Path, errno: Errno) -> SerialError {
    let path = path.to_owned();
    match errno {
        Errno::NOENT | Errno::NOTDIR => SerialError::NotFound { path },
        Errno::BUSY => SerialError::Held {
            path,
            holders: Vec::new(),
        },
        Errno::NODEV | Errno::NXIO | Errno::IO => SerialError::NoDevice { path },
        Errno::NOTTY => SerialError::NotATerminal {
            path,
            what: "a device of another kind",
        },
        Errno::ACCESS | Errno::PERM => match fs::metadata(&path) {
            Ok(device) => SerialError::NotAllowed {
                path,
                access: Box::new(Access::of(&device)),
            },
            Err(cause) => SerialError::Failed { path, cause },
        },
        other => SerialError::Failed {
            path,
            cause: other.into(),
        },
    }
}

fn from_io(path: &Path, cause: io::Error) -> SerialError {
    match Errno::from_io_error(&cause) {
        // The folder hides the file, so nothing is known about it.
        Some(Errno::ACCESS) | None => SerialError::Failed {
            path: path.to_owned(),
            cause,
        },
        Some(errno) => from_errno(path, errno),
    }
}

/// Name for a number in `/etc/passwd` or `/etc/group`; the number itself if it has none.
fn name_in(table: &str, id: u32) -> String {
    let text = fs::read_to_string(table).unwrap_or_default();
    let wanted = id.to_string();
    let name = text.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        (fields.nth(1)? == wanted).then(|| name.to_owned())
    });
    name.unwrap_or(wanted)
}

/// Whether `/etc/group` lists the user as a member of the group.
fn is_member(user: &str, group: u32) -> bool {
    let text = fs::read_to_string("/etc/group").unwrap_or_default();
    let group = group.to_string();
    text.lines().any(|line| {
        let fields: Vec<&str> = line.split(':').collect();
        matches!(fields.as_slice(), [_, _, id, members]
            if *id == group && members.split(',').any(|member| member == user))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dialout(granted: bool, mode: u32) -> Access {
        Access {
            owner: "root".into(),
            group: "dialout".into(),
            mode,
            user: "bench".into(),
            groups: vec!["bench".into(), "users".into()],
            group_is_granted: granted,
        }
    }

    #[test]
    fn a_refusal_names_the_facts_and_the_group_to_join() {
        let access = dialout(false, 0o660);
        assert_eq!(
            access.to_string(),
            "owner root, group dialout, mode 0660; this user is bench, in the groups bench, users"
        );
        assert!(access.remedy().contains("usermod -aG dialout bench"));
    }

    #[test]
    fn a_new_member_of_the_group_must_log_in_again() {
        assert!(dialout(true, 0o660).remedy().starts_with("log out and in"));
    }

    #[test]
    fn a_port_that_no_group_may_open_needs_a_rule() {
        assert!(dialout(false, 0o600).remedy().contains("udev rule"));
    }
}
