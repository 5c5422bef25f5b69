//! Finds the socket of a USB adapter in sysfs, and whether another adapter has the same identity.
//!
//! In: a device file. Out: properties that distinguish adapters. Nothing is opened.

use super::discover::{self, UsbIdentity};
use std::fs;
use std::path::{Path, PathBuf};

/// Properties that distinguish an adapter from others.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Seen {
    /// Identity: `0403:6001 serial A1`.
    pub(super) usb: String,
    /// Controller, chain of sockets, and interface: `0000:00:14.0 usb 4.2:1.0`.
    pub(super) socket: Option<String>,
    /// Whether it has no serial number, or another plugged-in adapter has the same one.
    pub(super) ambiguous: bool,
}

/// The adapter behind a path; `None` if there is none on USB.
pub(super) fn seen(path: &Path) -> Option<Seen> {
    let device = fs::canonicalize(path).ok()?;
    let all = discover::on_usb();
    let (_, usb) = all.iter().find(|(path, _)| *path == device)?;
    let socket = socket_of(&device);
    let ambiguous = usb.serial.is_none() || has_twin(&all, &usb.to_string(), socket.as_deref());
    Some(Seen {
        usb: usb.to_string(),
        socket,
        ambiguous,
    })
}

/// Whether an adapter with the same identity is plugged into another socket.
pub(super) fn twin_is_there(usb: &str, socket: &str) -> bool {
    has_twin(&discover::on_usb(), usb, Some(socket))
}

fn has_twin(all: &[(PathBuf, UsbIdentity)], usb: &str, socket: Option<&str>) -> bool {
    let adapter = socket.map(without_interface);
    all.iter()
        .filter(|(_, other)| other.to_string() == usb)
        .any(|(path, _)| socket_of(path).as_deref().map(without_interface) != adapter)
}

/// The socket without the interface, because an adapter with several ports is not its own twin.
fn without_interface(socket: &str) -> &str {
    socket
        .rsplit_once(':')
        .map_or(socket, |(adapter, _)| adapter)
}

fn socket_of(device: &Path) -> Option<String> {
    let name = device.file_name()?;
    let place = Path::new("/sys/class/tty").join(name).join("device");
    in_sysfs(&fs::canonicalize(place).ok()?)
}

/// Controller, last chain and interface of `…/0000:00:14.0/usb1/1-4/1-4.2/1-4.2:1.0/ttyUSB0`. The number of the bus is
/// left out, because it depends on the order of detection.
fn in_sysfs(place: &Path) -> Option<String> {
    let names: Vec<&str> = place.iter().filter_map(|name| name.to_str()).collect();
    let bus = names.iter().rposition(|name| {
        let number = name.strip_prefix("usb");
        number
            .is_some_and(|number| !number.is_empty() && number.bytes().all(|b| b.is_ascii_digit()))
    })?;
    let controller = names.get(bus.checked_sub(1)?)?;
    let interfaces = names.get(bus..)?.iter().rev();
    let (_, chain) = interfaces
        .filter(|name| name.contains(':'))
        .find_map(|name| name.split_once('-'))?;
    Some(format!("{controller} usb {chain}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_socket_is_named_by_controller_and_chain_and_not_by_the_number_of_the_bus() {
        let socket = |bus: u32| {
            in_sysfs(Path::new(&format!(
                "/sys/devices/pci0000:00/0000:00:14.0/usb{bus}/{bus}-4/{bus}-4.2/{bus}-4.2:1.0/ttyUSB0"
            )))
        };
        assert_eq!(socket(1).as_deref(), Some("0000:00:14.0 usb 4.2:1.0"));
        assert_eq!(socket(1), socket(3));
        let modem = "/sys/devices/pci0000:00/0000:00:14.0/usb1/1-4/1-4:1.2";
        assert_eq!(
            in_sysfs(Path::new(modem)).as_deref(),
            Some("0000:00:14.0 usb 4:1.2")
        );
        assert_eq!(
            in_sysfs(Path::new("/sys/devices/platform/serial8250/tty/ttyS0")),
            None
        );
    }
}
