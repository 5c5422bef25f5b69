//! Modem lines, and how a port is selected: `CTS`, `0403:6001`.

pub use crate::decode::line_settings::{LineSettings, LineSettingsError, Parity};
use crate::quantity::named;

use std::fmt;
use std::path::PathBuf;

named! {
    /// A modem line of a port. A pedal's contact is connected to one.
    pub enum ModemLine {
        /// Clear to send.
        Cts = "CTS",
        /// Data set ready.
        Dsr = "DSR",
        /// Data carrier detect.
        Dcd = "DCD",
        /// Ring indicator.
        Ri = "RI",
    }
}

/// How an instrument's port is selected.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum PortSelector {
    /// The path of a device file.
    Path(PathBuf),
    /// The serial number of a USB adapter, whichever socket it is in.
    UsbSerial(String),
    /// Vendor and product number of a USB adapter, of which there must be only one.
    UsbId {
        /// Vendor number, 16 bits.
        vendor: u16,
        /// Product number, 16 bits.
        product: u16,
    },
}

impl PortSelector {
    /// Reads `0403:6001`; `None` if the text has another form.
    pub fn from_usb_id(text: &str) -> Option<Self> {
        let (vendor, product) = text.split_once(':')?;
        let number = |digits: &str| {
            let four_hex = digits.len() == 4 && digits.bytes().all(|b| b.is_ascii_hexdigit());
            u16::from_str_radix(digits, 16).ok().filter(|_| four_hex)
        };
        Some(Self::UsbId {
            vendor: number(vendor)?,
            product: number(product)?,
        })
    }

    /// Whether the path depends on the order in which adapters were found, as `/dev/ttyUSB0` does.
    pub fn is_by_order(&self) -> bool {
        let Self::Path(path) = self else {
            return false;
        };
        let name = path.to_str().unwrap_or_default();
        let number = ["/dev/ttyUSB", "/dev/ttyACM"]
            .into_iter()
            .find_map(|stem| name.strip_prefix(stem));
        number.is_some_and(|number| number.bytes().all(|byte| byte.is_ascii_digit()))
    }
}

impl fmt::Display for PortSelector {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Path(path) => write!(f, "{}", path.display()),
            Self::UsbSerial(serial) => write!(f, "the USB adapter with serial number {serial}"),
            Self::UsbId { vendor, product } => {
                write!(f, "the USB adapter {vendor:04x}:{product:04x}")
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_usb_identity_is_two_numbers_of_four_hex_digits() {
        assert_eq!(
            PortSelector::from_usb_id("0403:6001"),
            Some(PortSelector::UsbId {
                vendor: 0x0403,
                product: 0x6001
            })
        );
        for text in [
            "403:6001",
            "0403-6001",
            "0403:600g",
            "+403:6001",
            "0403:6001:1",
            "",
        ] {
            assert_eq!(PortSelector::from_usb_id(text), None, "{text}");
        }
    }
}
