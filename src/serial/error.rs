//! Why a port cannot be opened, and what to do about it.

use super::access::Access;
use super::holder::Holder;
use std::fmt::Write as _;
use std::io;
use std::path::PathBuf;

/// One of several ports that fit what was looked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fitting {
    /// Its device file.
    pub path: PathBuf,
    /// Its name after the USB socket that it is in, where the system gives one: the same for whatever
    /// is plugged in there.
    pub socket: Option<PathBuf>,
}

/// Why a port cannot be opened.
#[derive(Debug, thiserror::Error)]
pub enum SerialError {
    /// There is nothing at the path.
    #[error("no such port: {}", path.display())]
    NotFound {
        /// Device file, as it was given.
        path: PathBuf,
    },
    /// No adapter that is plugged in has this identity.
    #[error("{selector} is not plugged in")]
    NotPluggedIn {
        /// What was looked for, in words.
        selector: String,
    },
    /// Several adapters have this identity.
    #[error("{selector} fits {} ports: {}", fitting.len(), list(fitting))]
    Ambiguous {
        /// What was looked for, in words.
        selector: String,
        /// All that fit.
        fitting: Vec<Fitting>,
    },
    /// What is at the path is no terminal.
    #[error("{} is no serial port: got {what}, want a terminal", path.display())]
    NotATerminal {
        /// Device file, as it was given.
        path: PathBuf,
        /// What it is: `a regular file`.
        what: &'static str,
    },
    /// Another process has it open, or the lock on it.
    #[error("{} is held by {}", path.display(), name_all(holders))]
    Held {
        /// Device file, as it was given.
        path: PathBuf,
        /// Who; none where this user cannot see them.
        holders: Vec<Holder>,
    },
    /// This user may not read and write it.
    #[error("permission denied for {}; {access}", path.display())]
    NotAllowed {
        /// Device file, as it was given.
        path: PathBuf,
        /// Whose it is and who we are.
        access: Box<Access>,
    },
    /// The port does not take these line settings.
    #[error("{} does not take the line settings {want}: {got}", path.display())]
    Refused {
        /// Device file, as it was given.
        path: PathBuf,
        /// The settings that were configured: `9600 8N1`.
        want: String,
        /// What it said or did instead.
        got: String,
    },
    /// The file is there, the device is not.
    #[error("no device behind {}: it was unplugged, or was never plugged in", path.display())]
    NoDevice {
        /// Device file, as it was given.
        path: PathBuf,
    },
    /// A pedal is configured on a line that the port does not have.
    #[error("{} has no modem lines, so no contact on {line}: {got}", path.display())]
    NoModemLines {
        /// Device file, as it was given.
        path: PathBuf,
        /// The modem line that was configured: `CTS`.
        line: &'static str,
        /// What it is, or what the system says.
        got: String,
    },
    /// The port did not take all bytes of a request at once.
    #[error("{} took {sent} of the {want} bytes of a request", path.display())]
    NotSent {
        /// Device file, as it was given.
        path: PathBuf,
        /// How many bytes went out.
        sent: usize,
        /// How many there were.
        want: usize,
    },
    /// A request could not be sent.
    #[error("a request was not sent to {}: {cause}", path.display())]
    SendFailed {
        /// Device file, as it was given.
        path: PathBuf,
        /// What the system says.
        cause: io::Error,
    },
    /// Anything else that the system says.
    #[error("{} cannot be opened: {cause}", path.display())]
    Failed {
        /// Device file, as it was given.
        path: PathBuf,
        /// What the system says.
        cause: io::Error,
    },
    /// The ports of this machine cannot be listed.
    #[error("the list of ports cannot be read: {cause}")]
    NoList {
        /// What the system says.
        cause: String,
    },
}

impl SerialError {
    /// What a person can do; printed on a line of its own, never part of the message.
    pub fn remedy(&self) -> Option<String> {
        Some(match self {
            Self::NotFound { .. } => {
                "plug the adapter in; `tallyjaw ports` lists the ports that exist".to_owned()
            }
            Self::NotPluggedIn { .. } => {
                "plug it in; `tallyjaw ports` lists the adapters that are plugged in".to_owned()
            }
            Self::Ambiguous { fitting, .. } => ambiguous_remedy(fitting),
            Self::NotATerminal { .. } => {
                "name a serial port in `port`, such as /dev/ttyUSB0; `tallyjaw ports` lists them"
                    .to_owned()
            }
            Self::Held { path, holders } => held_remedy(path, holders),
            Self::NotAllowed { access, .. } => access.remedy(),
            Self::Refused { .. } => {
                "check `line` against the manual of the instrument and of the adapter".to_owned()
            }
            Self::NoDevice { .. } => "plug the adapter in again".to_owned(),
            Self::NoModemLines { .. } => {
                "leave `contact` out, or use an adapter with modem lines, or a pedal that sends bytes"
                    .to_owned()
            }
            Self::NotSent { .. } => {
                "check cable and adapter, and that requests are not sent faster than the speed in `line` allows"
                    .to_owned()
            }
            Self::Failed { .. } | Self::SendFailed { .. } => return None,
            Self::NoList { .. } => "check that /sys is mounted".to_owned(),
        })
    }
}

fn held_remedy(path: &std::path::Path, holders: &[Holder]) -> String {
    if holders.is_empty() {
        return format!(
            "`tallyjaw ports {}`, run as root, names that process",
            path.display()
        );
    }
    if holders.iter().any(Holder::is_us) {
        return "give each instrument a port of its own".to_owned();
    }
    if holders.iter().any(|holder| holder.is_daemon) {
        return "that daemon measures with it; to use the port for something else, stop the daemon (systemctl stop tallyjaw, or Ctrl-C where it runs)".to_owned();
    }
    let mut remedy = "close that program, or end it: kill".to_owned();
    for holder in holders {
        let _ = write!(remedy, " {}", holder.pid);
    }
    remedy
}

fn name_all(holders: &[Holder]) -> String {
    if holders.is_empty() {
        return "another process that this user cannot see".to_owned();
    }
    let names: Vec<String> = holders.iter().map(ToString::to_string).collect();
    names.join(" and ")
}

fn list(fitting: &[Fitting]) -> String {
    let names: Vec<String> = fitting
        .iter()
        .map(|port| port.path.display().to_string())
        .collect();
    names.join(", ")
}

/// A name such as `/dev/ttyUSB0` goes to whichever is plugged in first; the socket is the only thing
/// that tells such adapters apart for good.
fn ambiguous_remedy(fitting: &[Fitting]) -> String {
    let by_socket: Vec<String> = fitting
        .iter()
        .filter_map(|port| {
            let (socket, path) = (port.socket.as_ref()?.display(), port.path.display());
            Some(format!("port = \"{socket}\" is {path} now"))
        })
        .collect();
    if by_socket.is_empty() {
        return "unplug the others, or write the path of the right one into `port`".to_owned();
    }
    format!(
        "unplug the others, or write the USB socket of the right one into `port`: {}",
        by_socket.join(", ")
    )
}
