//! Writes the caliper that was found as an `[[instrument]]` block.

use crate::config::PortSelector;
use crate::decode::guess::Candidate;
use crate::quantity::Dimension;
use crate::serial::discover;
use std::fmt::Write as _;
use std::path::Path;

/// Name, station and port of the instrument.
#[derive(Debug, Clone)]
pub(super) struct InstrumentSlot {
    pub(super) name: String,
    pub(super) station: String,
    pub(super) port: PortSelector,
}

/// State of the port when the instrument answered.
#[derive(Debug, Default)]
pub(super) struct FoundWith {
    /// DTR and RTS, if the port has them.
    pub(super) lines: Option<(bool, bool)>,
    /// The request that it answered; `None` if it sends by itself.
    pub(super) request: Option<&'static str>,
}

impl InstrumentSlot {
    /// The slot, with the port by the serial number of its adapter if no other adapter has the same.
    pub(super) fn new(name: String, station: String, path: &Path) -> Self {
        let serial = discover::identity(path).and_then(|usb| usb.serial);
        let by_serial = serial
            .map(PortSelector::UsbSerial)
            .filter(|selector| discover::resolve(selector).is_ok());
        let whole = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
        Self {
            name,
            station,
            port: by_serial.unwrap_or(PortSelector::Path(whole)),
        }
    }
}

/// The block, with a line end after its last line.
pub(super) fn block(place: &InstrumentSlot, found: &Candidate, found_with: &FoundWith) -> String {
    let shown = found.shown;
    let kind = match shown.unit.dimension() {
        Dimension::Length => "caliper",
        Dimension::Force => "force",
    };
    let port = match &place.port {
        PortSelector::Path(path) => text(&path.display().to_string()),
        PortSelector::UsbSerial(serial) => format!("{{ usb_serial = {} }}", text(serial)),
        PortSelector::UsbId { vendor, product } => {
            format!("{{ usb = \"{vendor:04x}:{product:04x}\" }}")
        }
    };
    let mut lines = format!(
        "[[instrument]]\nname = {}\nstation = {}\nkind = \"{kind}\"\nport = {port}\nline = \"{}\"\n",
        text(&place.name),
        text(&place.station),
        found.line
    );
    if let Some((dtr, rts)) = found_with.lines {
        let _ = write!(lines, "dtr = {dtr}\nrts = {rts}\n");
    }
    let unit_note = if shown.unit_is_sent {
        ""
    } else {
        " # its frames carry none: see that the display says the same"
    };
    let _ = write!(
        lines,
        "format = \"{}\"\nunit = \"{}\"{unit_note}\nresolution = \"{} {}\" # as its digits show\n\
         # max_error = \"? {}\" # its maximum permissible error, from its certificate: the guarded rule and verifying need it\n",
        found.format.name, shown.unit, shown.step, shown.unit, shown.unit
    );
    match found_with.request {
        Some(request) => {
            let _ = write!(lines, "capture = \"ask\"\nrequest = {}\n", text(request));
        }
        None => lines.push_str("capture = \"press\"\n"),
    }
    lines
}

/// A basic string of TOML.
pub(in crate::cli) fn text(value: &str) -> String {
    let mut quoted = String::from("\"");
    for letter in value.chars() {
        match letter {
            '"' => quoted.push_str("\\\""),
            '\\' => quoted.push_str("\\\\"),
            '\r' => quoted.push_str("\\r"),
            '\n' => quoted.push_str("\\n"),
            control if control.is_control() => {
                let _ = write!(quoted, "\\u{:04X}", u32::from(control));
            }
            plain => quoted.push(plain),
        }
    }
    quoted.push('"');
    quoted
}
