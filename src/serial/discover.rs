//! Lists serial ports: path, identity, holders, and whether we may open each. No port is opened.

use super::SerialError;
use super::access::look;
use super::error::Fitting;
use super::holder::Holder;
use crate::config::PortSelector;
use crate::entry::words::safe;
use serialport::SerialPortType;
use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};

/// Folder in which udev names ports after the sockets of their adapters.
const BY_SOCKET: &str = "/dev/serial/by-path";

/// A port of this machine.
#[derive(Debug)]
pub struct PortInfo {
    /// Path of its device file.
    pub path: PathBuf,
    /// Identity of its USB adapter; `None` if it is not on USB.
    pub usb: Option<UsbIdentity>,
    /// How to select exactly this port in the configuration; `None` if only its path does.
    pub selector: Option<String>,
    /// Processes that have it open, as far as this user can see them.
    pub holders: Vec<Holder>,
    /// Why this user cannot open it now; `None` if it can be opened.
    pub obstacle: Option<SerialError>,
}

impl PortInfo {
    /// Whether it can be opened.
    pub fn can_open(&self) -> bool {
        self.obstacle.is_none()
    }

    fn of(path: PathBuf, usb: Option<UsbIdentity>) -> Self {
        let (holders, obstacle) = match look(&path) {
            Err(error) => (Vec::new(), Some(error)),
            Ok(seen) if seen.holders.is_empty() => (Vec::new(), None),
            Ok(seen) => (
                seen.holders.clone(),
                Some(SerialError::Held {
                    path: path.clone(),
                    holders: seen.holders,
                }),
            ),
        };
        Self {
            selector: None,
            path,
            usb,
            holders,
            obstacle,
        }
    }
}

/// Identity that a USB adapter reports.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UsbIdentity {
    /// Vendor number.
    pub vendor: u16,
    /// Product number.
    pub product: u16,
    /// Serial number; cheap adapters have none.
    pub serial: Option<String>,
    /// Name of the maker.
    pub maker: Option<String>,
    /// Name of the product.
    pub name: Option<String>,
}

impl fmt::Display for UsbIdentity {
    /// `0403:6001 serial A1`. An adapter may report any characters, so they are escaped.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04x}:{:04x}", self.vendor, self.product)?;
        match &self.serial {
            Some(serial) => write!(f, " serial {}", safe(serial)),
            None => Ok(()),
        }
    }
}

/// All serial ports of this machine, in natural order: `ttyUSB2` before `ttyUSB10`. Pseudo-terminals are left out;
/// [`inspect`] examines any path.
pub fn ports() -> Result<Vec<PortInfo>, SerialError> {
    let found = list()?;
    let infos = found.iter().map(|(path, usb)| PortInfo {
        selector: usb.as_ref().and_then(|usb| selector(path, usb, &found)),
        ..PortInfo::of(path.clone(), usb.clone())
    });
    Ok(infos.collect())
}

/// Examines one path, whatever is there.
pub fn inspect(path: &Path) -> PortInfo {
    let selector = || {
        let device = fs::canonicalize(path).ok()?;
        let found = list().ok()?;
        let (_, usb) = found.iter().find(|(path, _)| *path == device)?;
        selector(&device, usb.as_ref()?, &found)
    };
    PortInfo {
        selector: selector(),
        ..PortInfo::of(path.to_owned(), identity(path))
    }
}

/// Selects a port by its serial number if that is unique, otherwise by its socket.
fn selector(
    path: &Path,
    usb: &UsbIdentity,
    all: &[(PathBuf, Option<UsbIdentity>)],
) -> Option<String> {
    let has = |serial: &String| {
        let others = all.iter().filter_map(|(_, other)| other.as_ref());
        others
            .filter(|other| other.serial.as_ref() == Some(serial))
            .count()
    };
    let own = usb.serial.as_ref().filter(|serial| has(serial) == 1);
    match own {
        Some(serial) => Some(format!("{{ usb_serial = {serial:?} }}")),
        None => named_by_socket(Path::new(BY_SOCKET), path)
            .map(|socket| format!("{:?}", socket.display().to_string())),
    }
}

/// All ports of USB adapters; empty if they cannot be listed.
pub(super) fn on_usb() -> Vec<(PathBuf, UsbIdentity)> {
    let found = list().unwrap_or_default().into_iter();
    found.filter_map(|(path, usb)| Some((path, usb?))).collect()
}

/// Identity of the adapter behind a path.
pub fn identity(path: &Path) -> Option<UsbIdentity> {
    let device = fs::canonicalize(path).ok()?;
    let found = list().ok()?;
    let (_, usb) = found.into_iter().find(|(path, _)| *path == device)?;
    usb
}

/// Path of the selected port.
pub fn resolve(selector: &PortSelector) -> Result<PathBuf, SerialError> {
    match selector {
        PortSelector::Path(path) => Ok(path.clone()),
        PortSelector::UsbSerial(_) | PortSelector::UsbId { .. } => only_one(selector, list()?),
    }
}

fn only_one(
    selector: &PortSelector,
    found: Vec<(PathBuf, Option<UsbIdentity>)>,
) -> Result<PathBuf, SerialError> {
    let mut paths: Vec<PathBuf> = found
        .into_iter()
        .filter(|(_, usb)| usb.as_ref().is_some_and(|usb| is_meant(selector, usb)))
        .map(|(path, _)| path)
        .collect();
    match (paths.pop(), paths.is_empty()) {
        (Some(only), true) => Ok(only),
        (Some(last), false) => {
            paths.push(last);
            Err(SerialError::Ambiguous {
                selector: selector.to_string(),
                fitting: paths.into_iter().map(fitting).collect(),
            })
        }
        (None, _) => Err(SerialError::NotPluggedIn {
            selector: selector.to_string(),
        }),
    }
}

fn fitting(path: PathBuf) -> Fitting {
    let socket = named_by_socket(Path::new(BY_SOCKET), &path);
    Fitting { path, socket }
}

/// The link in `folder` that leads to `path`; the first by name if there are several.
fn named_by_socket(folder: &Path, path: &Path) -> Option<PathBuf> {
    let links = fs::read_dir(folder).ok()?.flatten();
    links
        .map(|link| link.path())
        .filter(|link| fs::canonicalize(link).is_ok_and(|leads_to| leads_to == path))
        .min()
}

fn is_meant(selector: &PortSelector, usb: &UsbIdentity) -> bool {
    match selector {
        PortSelector::Path(_) => false,
        PortSelector::UsbSerial(serial) => usb.serial.as_ref() == Some(serial),
        PortSelector::UsbId { vendor, product } => usb.vendor == *vendor && usb.product == *product,
    }
}

fn list() -> Result<Vec<(PathBuf, Option<UsbIdentity>)>, SerialError> {
    // The crate panics if this folder does not exist, as in some containers.
    fs::read_dir("/sys/class/tty").map_err(|cause| SerialError::NoList {
        cause: format!("/sys/class/tty: {cause}"),
    })?;
    let found = serialport::available_ports().map_err(|cause| SerialError::NoList {
        cause: cause.to_string(),
    })?;
    let mut ports: Vec<_> = found
        .into_iter()
        .map(|port| (PathBuf::from(port.port_name), usb_of(port.port_type)))
        .collect();
    ports.sort_by_cached_key(|(path, _)| natural_key(path));
    Ok(ports)
}

fn usb_of(kind: SerialPortType) -> Option<UsbIdentity> {
    match kind {
        SerialPortType::UsbPort(usb) => Some(UsbIdentity {
            vendor: usb.vid,
            product: usb.pid,
            serial: usb.serial_number,
            maker: usb.manufacturer,
            name: usb.product,
        }),
        SerialPortType::PciPort | SerialPortType::BluetoothPort | SerialPortType::Unknown => None,
    }
}

/// Sort key: `/dev/ttyUSB` and 10.
fn natural_key(path: &Path) -> (String, u64) {
    let text = path.to_string_lossy();
    let stem = text.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = text
        .strip_prefix(stem)
        .and_then(|digits| digits.parse().ok());
    (stem.to_owned(), number.unwrap_or(0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn adapter(path: &str, serial: Option<&str>) -> (PathBuf, Option<UsbIdentity>) {
        let usb = UsbIdentity {
            vendor: 0x0403,
            product: 0x6001,
            serial: serial.map(str::to_owned),
            maker: None,
            name: None,
        };
        (PathBuf::from(path), Some(usb))
    }

    #[test]
    fn an_adapter_is_found_by_its_serial_number_on_any_port() {
        let found = vec![
            (PathBuf::from("/dev/ttyS0"), None),
            adapter("/dev/ttyUSB0", Some("CAL-A")),
            adapter("/dev/ttyUSB1", None),
        ];
        let path = only_one(&PortSelector::UsbSerial("CAL-A".into()), found).unwrap();
        assert_eq!(path, PathBuf::from("/dev/ttyUSB0"));
    }

    #[test]
    fn two_adapters_of_one_identity_are_both_named() {
        let found = vec![
            adapter("/dev/ttyUSB0", Some("CAL-A")),
            adapter("/dev/ttyUSB1", Some("CAL-A")),
        ];
        let same_serial = PortSelector::UsbSerial("CAL-A".into());
        assert_eq!(
            only_one(&same_serial, found.clone())
                .unwrap_err()
                .to_string(),
            "the USB adapter with serial number CAL-A fits 2 ports: /dev/ttyUSB0, /dev/ttyUSB1"
        );
        let same_kind = PortSelector::from_usb_id("0403:6001").unwrap();
        assert!(matches!(
            only_one(&same_kind, found),
            Err(SerialError::Ambiguous { fitting, .. }) if fitting.len() == 2
        ));
    }

    #[test]
    fn equal_adapters_are_distinguished_by_their_sockets() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| fs::canonicalize(folder.path()).unwrap().join(name);
        for node in ["ttyUSB0", "ttyUSB1"] {
            fs::write(at(node), "").unwrap();
        }
        fs::create_dir(at("by-path")).unwrap();
        for socket in ["usbv2-0:4", "usb-0:4"] {
            std::os::unix::fs::symlink(at("ttyUSB1"), at("by-path").join(socket)).unwrap();
        }
        let fitting = ["ttyUSB0", "ttyUSB1"].map(|node| Fitting {
            path: at(node),
            socket: named_by_socket(&at("by-path"), &at(node)),
        });
        let error = SerialError::Ambiguous {
            selector: "the USB adapter".into(),
            fitting: fitting.to_vec(),
        };
        let want = format!(
            "unplug the others, or write the USB socket of the right one into `port`: port = \"{}\" is {} now",
            at("by-path/usb-0:4").display(),
            at("ttyUSB1").display()
        );
        assert_eq!(error.remedy(), Some(want));
    }

    #[test]
    fn an_adapter_that_is_absent_is_named() {
        let selector = PortSelector::from_usb_id("0403:6015").unwrap();
        assert_eq!(
            only_one(&selector, vec![adapter("/dev/ttyUSB0", None)])
                .unwrap_err()
                .to_string(),
            "the USB adapter 0403:6015 is not plugged in"
        );
    }

    #[test]
    fn port_two_comes_before_port_ten() {
        let mut paths = ["/dev/ttyUSB10", "/dev/ttyS0", "/dev/ttyUSB2"].map(PathBuf::from);
        paths.sort_by_cached_key(|path| natural_key(path));
        assert_eq!(
            paths,
            ["/dev/ttyS0", "/dev/ttyUSB2", "/dev/ttyUSB10"].map(PathBuf::from)
        );
    }
}
