//! The files of the demo's shop, its calipers and its daemon.
#![expect(
    clippy::disallowed_methods,
    reason = "edge: the demo writes files and starts the daemon"
)]

use super::super::Failure;
use crate::virtual_caliper::VirtualCaliper;
use std::fs;
use std::io::{BufRead, BufReader};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Time that the daemon gets to open its sockets.
const READY_WITHIN: Duration = Duration::from_secs(10);

const FILES: &[(&str, &str)] = &[
    (
        "tallyjaw.toml",
        include_str!("../../../../config/demo/tallyjaw.toml"),
    ),
    (
        "tools.toml",
        include_str!("../../../../config/demo/tools.toml"),
    ),
    (
        "sheets/pump.toml",
        include_str!("../../../../config/demo/sheets/pump.toml"),
    ),
    (
        "plans/pump.toml",
        include_str!("../../../../config/demo/plans/pump.toml"),
    ),
];

/// The folder with the configuration, the two calipers, and the daemon once it runs.
pub(super) struct Shop {
    pub(super) folder: PathBuf,
    pub(super) calipers: [VirtualCaliper; 2],
    daemon: Option<Child>,
}

impl Shop {
    /// Writes the configuration and plugs the calipers in.
    pub(super) fn open(folder: Option<PathBuf>) -> Result<Self, Failure> {
        let folder = empty_folder(folder)?;
        let caliper = |name: &str| {
            VirtualCaliper::open_at(folder.join(name)).map_err(|error| {
                Failure::io(format!("no pseudo-terminal for {name}")).because(&error)
            })
        };
        let calipers = [caliper("caliper-1")?, caliper("caliper-2")?];
        for (name, text) in FILES {
            write(&folder.join(name), &with_ports(text, &calipers))?;
        }
        Ok(Self {
            folder,
            calipers,
            daemon: None,
        })
    }

    pub(super) fn config(&self) -> PathBuf {
        self.folder.join("tallyjaw.toml")
    }

    /// Starts the daemon and waits until its feed answers.
    pub(super) fn start_daemon(&mut self) -> Result<BufReader<UnixStream>, Failure> {
        let log = fs::File::create(self.folder.join("daemon.log"))
            .map_err(|error| Failure::io("daemon.log cannot be written").because(&error))?;
        let child = self
            .tallyjaw(&["serve"])?
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .map_err(|error| Failure::io("the daemon cannot be started").because(&error))?;
        self.daemon = Some(child);
        self.connect()
    }

    /// A command of this program with the shop's configuration.
    pub(super) fn tallyjaw(&self, arguments: &[&str]) -> Result<Command, Failure> {
        let program = std::env::current_exe()
            .map_err(|error| Failure::io("this program's own path is unknown").because(&error))?;
        let mut command = Command::new(program);
        command
            .arg("--config")
            .arg(self.config())
            .args(arguments)
            .stdin(Stdio::null());
        Ok(command)
    }

    fn connect(&mut self) -> Result<BufReader<UnixStream>, Failure> {
        let socket = self.folder.join("run/feed.sock");
        let until = Instant::now() + READY_WITHIN;
        loop {
            match UnixStream::connect(&socket) {
                Ok(stream) => return Ok(BufReader::new(stream)),
                Err(_) if Instant::now() < until && self.daemon_runs() => {
                    std::thread::sleep(Duration::from_millis(10));
                }
                Err(error) => {
                    let said =
                        fs::read_to_string(self.folder.join("daemon.log")).unwrap_or_default();
                    return Err(Failure::io(format!(
                        "the daemon does not answer: {}",
                        said.trim()
                    ))
                    .because(&error));
                }
            }
        }
    }

    fn daemon_runs(&mut self) -> bool {
        self.daemon
            .as_mut()
            .is_some_and(|child| matches!(child.try_wait(), Ok(None)))
    }

    /// Stops the daemon as a service manager would, and waits for it.
    pub(super) fn stop_daemon(&mut self) -> Result<(), Failure> {
        let Some(mut child) = self.daemon.take() else {
            return Ok(());
        };
        let pid = i32::try_from(child.id())
            .ok()
            .and_then(rustix::process::Pid::from_raw);
        if let Some(pid) = pid {
            let _ = rustix::process::kill_process(pid, rustix::process::Signal::TERM);
        }
        let status = child
            .wait()
            .map_err(|error| Failure::io("the daemon cannot be waited for").because(&error))?;
        if status.success() {
            Ok(())
        } else {
            Err(Failure::io(format!(
                "the daemon ended with {status}, want exit code 0"
            )))
        }
    }
}

impl Drop for Shop {
    fn drop(&mut self) {
        if let Some(mut child) = self.daemon.take() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

fn empty_folder(folder: Option<PathBuf>) -> Result<PathBuf, Failure> {
    let folder = folder.unwrap_or_else(|| {
        let seconds = std::time::SystemTime::now()
            .duration_since(std::time::UNIX_EPOCH)
            .map_or(0, |since| since.as_secs());
        std::env::temp_dir().join(format!("tallyjaw-demo-{seconds}-{}", std::process::id()))
    });
    fs::create_dir_all(&folder).map_err(|error| {
        Failure::io(format!("{} cannot be made", folder.display())).because(&error)
    })?;
    let folder = folder.canonicalize().map_err(|error| {
        Failure::io(format!("{} cannot be found", folder.display())).because(&error)
    })?;
    let in_use = fs::read_dir(&folder).is_ok_and(|mut entries| entries.next().is_some());
    if in_use {
        return Err(Failure::usage(format!(
            "{} is not empty, want a new folder",
            folder.display()
        ))
        .with_remedy("name another folder with --dir, or leave it out"));
    }
    Ok(folder)
}

fn with_ports(text: &str, calipers: &[VirtualCaliper; 2]) -> String {
    let mut text = text.to_owned();
    for (number, caliper) in calipers.iter().enumerate() {
        let path = caliper.path().display().to_string();
        text = text.replace(&format!("@caliper-{}@", number + 1), &path);
    }
    text
}

fn write(path: &Path, text: &str) -> Result<(), Failure> {
    let parent = path.parent().map_or(Ok(()), fs::create_dir_all);
    parent
        .and_then(|()| fs::write(path, text))
        .map_err(|error| {
            Failure::io(format!("{} cannot be written", path.display())).because(&error)
        })
}

/// Reads the next line of the feed; empty at its end.
pub(super) fn next_line(feed: &mut BufReader<UnixStream>) -> std::io::Result<String> {
    let mut line = String::new();
    feed.read_line(&mut line)?;
    Ok(line)
}
