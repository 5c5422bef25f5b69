//! Errors of opening and using a port, with remedies.

use super::access::Access;
use super::holder::Holder;
use std::fmt::Write as _;
use std::io;
use std::path::PathBuf;

/// One of several ports that match a selector.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fitting {
    /// Path of its device file.
    pub path: PathBuf,
    /// Its name by USB socket, if the system gives one. The name stays the same for anything in that socket.
    pub socket: Option<PathBuf>,
}

/// An error of opening or using a port.
#[derive(Debug, thiserror::Error)]
pub enum SerialError {
    /// The path does not exist.
    #[error("no such port: {}", path.display())]
    NotFound {
        /// Device file, as it was given.
        path: PathBuf,
    },
    /// No adapter with this identity is plugged in.
    #[error("{selector} is not plugged in")]
    NotPluggedIn {
        /// The selector in words.
        selector: String,
    },
    /// Several adapters have this identity.
    #[error("{selector} fits {} ports: {}", fitting.len(), list(fitting))]
    Ambiguous {
        /// The selector in words.
        selector: String,
        /// The ports that match.
        fitting: Vec<Fitting>,
    },
    /// The path is not a terminal.
    #[error("{} is no serial port: got {what}, want a terminal", path.display())]
    NotATerminal {
        /// Device file, as it was given.
        path: PathBuf,
        /// What it is: `a regular file`.
        what: &'static str,
    },
    /// Another process has it open or has locked it.
    #[error("{} is held by {}", path.display(), name_all(holders))]
    Held {
        /// Device file, as it was given.
        path: PathBuf,
        /// The processes; empty if this user cannot see them.
        holders: Vec<Holder>,
    },
    /// This user may not read and write it.
    #[error("permission denied for {}; {access}", path.display())]
    NotAllowed {
        /// Device file, as it was given.
        path: PathBuf,
        /// Owner, permissions and user.
        access: Box<Access>,
    },
    /// The port does not accept these line settings.
    #[error("{} does not take the line settings {want}: {got}", path.display())]
    Refused {
        /// Device file, as it was given.
        path: PathBuf,
        /// The configured settings: `9600 8N1`.
        want: String,
        /// What the port reported or did instead.
        got: String,
    },
    /// The device file exists, but the device does not.
    #[error("no device behind {}: it was unplugged, or was never plugged in", path.display())]
    NoDevice {
        /// Device file, as it was given.
        path: PathBuf,
    },
    /// A pedal is configured on a modem line that the port does not have.
    #[error("{} has no modem lines, so no contact on {line}: {got}", path.display())]
    NoModemLines {
        /// Device file, as it was given.
        path: PathBuf,
        /// The configured modem line: `CTS`.
        line: &'static str,
        /// What the port is, or the error of the system.
        got: String,
    },
    /// The port did not accept all bytes of a request at once.
    #[error("{} took {sent} of the {want} bytes of a request", path.display())]
    NotSent {
        /// Device file, as it was given.
        path: PathBuf,
        /// Number of bytes sent.
        sent: usize,
        /// Number of bytes in the request.
        want: usize,
    },
    /// A request could not be sent.
    #[error("a request was not sent to {}: {cause}", path.display())]
    SendFailed {
        /// Device file, as it was given.
        path: PathBuf,
        /// Error of the system.
        cause: io::Error,
    },
    /// Another error of the system.
    #[error("{} cannot be opened: {cause}", path.display())]
    Failed {
        /// Device file, as it was given.
        path: PathBuf,
        /// Error of the system.
        cause: io::Error,
    },
    /// The ports of this machine cannot be listed.
    #[error("the list of ports cannot be read: {cause}")]
    NoList {
        /// Error of the system.
        cause: String,
    },
}

impl SerialError {
    /// What to do. It is printed on a line of its own, never as part of the message.
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

/// Names such as `/dev/ttyUSB0` depend on the order of plugging in. Only the socket distinguishes such adapters
/// permanently.
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
