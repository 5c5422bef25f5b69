//! Finds processes that have a port open, from `/proc`.
//!
//! The port itself is not opened: that raises its DTR line, which may wake or reset the instrument. A user sees the
//! open files of their own processes only, root sees all. Locks of all processes are visible to everyone.

use super::access::pty_number;
use crate::entry::words::safe;
use std::fmt;
use std::fs::{self, Metadata};
use std::os::unix::fs::{FileTypeExt, MetadataExt};
use std::path::Path;

/// A process that has a port open or locked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Holder {
    /// Process id.
    pub pid: u32,
    /// Name that the kernel knows (at most 15 bytes).
    pub program: String,
    /// Whether it is a daemon of tallyjaw, which is meant to have ports open.
    pub is_daemon: bool,
}

impl Holder {
    fn of(pid: u32) -> Self {
        let name = fs::read_to_string(format!("/proc/{pid}/comm")).unwrap_or_default();
        let program = match name.trim() {
            "" => "a process that has ended".to_owned(),
            name => name.to_owned(),
        };
        let is_daemon = program == "tallyjaw" && serves(pid);
        Self {
            pid,
            program,
            is_daemon,
        }
    }

    /// Whether it is this process.
    pub fn is_us(&self) -> bool {
        self.pid == std::process::id()
    }
}

impl fmt::Display for Holder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_us() {
            return write!(
                f,
                "this program itself, for another instrument (pid {})",
                self.pid
            );
        }
        // A process chooses its own name, with any bytes.
        write!(f, "{} (pid {})", safe(&self.program), self.pid)
    }
}

/// Whether its command line contains the subcommand of a daemon.
fn serves(pid: u32) -> bool {
    let words = fs::read(format!("/proc/{pid}/cmdline")).unwrap_or_default();
    let mut words = words.split(|byte| *byte == 0);
    words.any(|word| word == b"serve" || word == b"demo")
}

/// All visible processes that have the terminal `device` open or locked, including this one, by process id.
///
/// A process with the other end of a pseudo-terminal is the instrument and no rival. It is left out unless it has the
/// lock.
pub(super) fn holders(path: &Path, device: &Metadata) -> Vec<Holder> {
    let locked = lock_holders(device);
    let target = fs::canonicalize(path).unwrap_or_default();
    let mut pids: Vec<u32> = processes()
        .filter(|pid| {
            locked.contains(pid)
                || (has_open(*pid, &target, device) && !has_other_end(*pid, device))
        })
        .collect();
    pids.sort_unstable();
    pids.into_iter().map(Holder::of).collect()
}

fn processes() -> impl Iterator<Item = u32> {
    let entries = fs::read_dir("/proc").into_iter().flatten().flatten();
    entries.filter_map(|entry| entry.file_name().to_str()?.parse().ok())
}

fn has_open(pid: u32, target: &Path, device: &Metadata) -> bool {
    let fds = fs::read_dir(format!("/proc/{pid}/fd"));
    fds.into_iter().flatten().flatten().any(|fd| {
        // The name is compared first, because following the link of a file on a dead network disk would hang.
        fs::read_link(fd.path()).is_ok_and(|name| name == target)
            && fs::metadata(fd.path())
                .is_ok_and(|open| open.file_type().is_char_device() && open.rdev() == device.rdev())
    })
}

/// Whether the process has the master of the pseudo-terminal `device`.
fn has_other_end(pid: u32, device: &Metadata) -> bool {
    let Some(number) = pty_number(device) else {
        return false;
    };
    let fds = fs::read_dir(format!("/proc/{pid}/fd"));
    fds.into_iter().flatten().flatten().any(|fd| {
        let is_master = fs::read_link(fd.path())
            .is_ok_and(|name| name.file_name().is_some_and(|name| name == "ptmx"));
        is_master && tty_index(pid, &fd.file_name().to_string_lossy()) == Some(number)
    })
}

fn tty_index(pid: u32, fd: &str) -> Option<u32> {
    let info = fs::read_to_string(format!("/proc/{pid}/fdinfo/{fd}")).ok()?;
    let line = info
        .lines()
        .find_map(|line| line.strip_prefix("tty-index:"))?;
    line.trim().parse().ok()
}

/// Processes with an advisory lock on the device file, from lines such as `1: FLOCK ADVISORY WRITE 708 00:13:6 0 EOF`.
fn lock_holders(device: &Metadata) -> Vec<u32> {
    let locks = fs::read_to_string("/proc/locks").unwrap_or_default();
    let file = format!(
        "{:02x}:{:02x}:{}",
        rustix::fs::major(device.dev()),
        rustix::fs::minor(device.dev()),
        device.ino()
    );
    let mut pids = Vec::new();
    for line in locks.lines() {
        let words: Vec<&str> = line.split_whitespace().collect();
        if let [_, "FLOCK", _, _, pid, on, ..] = words.as_slice()
            && *on == file
            && let Ok(pid) = pid.parse()
        {
            pids.push(pid);
        }
    }
    pids
}
