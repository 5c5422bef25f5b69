//! `tallyjaw ports [PORT]`: exit 0 if some port can be opened, 1 if none can, 4 if the list could not
//! be read.

use super::{Context, Exit, Failure};
use crate::config::PortSelector;
use crate::entry::words::safe;
use crate::serial::discover::{self, PortInfo};
use anstyle::{AnsiColor, Style};
use serde_json::{Value, json};
use std::io::{self, Write};
use std::path::PathBuf;

const YES: Style = AnsiColor::Green.on_default();
const NO: Style = AnsiColor::Yellow.on_default();
const HELP: Style = AnsiColor::Cyan.on_default();

/// List the serial ports: adapter, holder, and why one cannot be opened
///
/// No port is opened for this, so no instrument is interrupted. Only root sees that a program of another user has a
/// port open, unless that program has locked it.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw ports\n  tallyjaw ports /dev/ttyUSB0      one port with all its details\n\nExit codes: 0 a port can be opened, 1 none can, 4 the list cannot be read."
)]
pub(in crate::cli) struct Ports {
    /// Show this path only, even if it is no serial port
    #[arg(value_name = "PORT")]
    port: Option<PathBuf>,
}

impl Ports {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let lists_all = self.port.is_none();
        let ports = match self.port {
            Some(path) => vec![discover::inspect(&path)],
            None => discover::ports()
                .map_err(|error| Failure::io(error.to_string()).with_remedy_of(error.remedy()))?,
        };
        for port in &ports {
            if context.json {
                writeln!(out, "{}", as_json(port))?;
            } else {
                write_text(out, port)?;
            }
        }
        if lists_all && !context.json && ports.iter().all(|port| port.usb.is_none()) {
            no_adapter(out)?;
        }
        Ok(if ports.iter().any(PortInfo::can_open) {
            Exit::Yes
        } else {
            Exit::No
        })
    }
}

/// Message if no port belongs to a USB adapter.
pub(super) const NO_ADAPTER: &str = "no USB serial adapter is plugged in";
/// Remedy for that.
pub(super) const PLUG_IT_IN: &str = "plug the caliper's adapter in and look again: tallyjaw ports; if it is still missing, try another cable and \
     another socket; to see it all without an instrument: tallyjaw demo";

/// Writes that message with its remedy.
pub(super) fn no_adapter(out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "{NO_ADAPTER}\n{HELP}help{HELP:#}: {PLUG_IT_IN}")
}

/// Writes a port, and why it cannot be opened.
pub(super) fn write_text(out: &mut dyn Write, port: &PortInfo) -> io::Result<()> {
    let path = port.path.display();
    match &port.obstacle {
        None => write!(out, "{path}  {YES}can be opened{YES:#}")?,
        Some(_) => write!(out, "{path}  {NO}cannot be opened{NO:#}")?,
    }
    if let Some(usb) = &port.usb {
        write!(out, "  {usb}")?;
        let names: Vec<String> = [&usb.maker, &usb.name]
            .into_iter()
            .flatten()
            .map(|name| safe(name))
            .collect();
        if !names.is_empty() {
            write!(out, "  ({})", names.join(", "))?;
        }
    }
    writeln!(out)?;
    if let Some(selector) = &port.selector {
        let by_order = PortSelector::Path(port.path.clone()).is_by_order();
        let not = if by_order {
            "; the number in /dev may change at the next plugging"
        } else {
            ""
        };
        writeln!(
            out,
            "  in the configuration: port = {}{not}",
            safe(selector)
        )?;
    }
    if let Some(obstacle) = &port.obstacle {
        writeln!(out, "  {obstacle}")?;
        if let Some(remedy) = obstacle.remedy() {
            writeln!(out, "  {HELP}help{HELP:#}: {remedy}")?;
        }
    }
    Ok(())
}

/// A port as JSON; unknown values are left out.
fn as_json(port: &PortInfo) -> Value {
    let mut fields = json!({
        "path": port.path.display().to_string(),
        "can_open": port.can_open(),
    });
    let mut add = |name: &str, value: Option<Value>| {
        if let (Some(value), Some(fields)) = (value, fields.as_object_mut()) {
            fields.insert(name.to_owned(), value);
        }
    };
    if let Some(usb) = &port.usb {
        add("vendor", Some(format!("{:04x}", usb.vendor).into()));
        add("product", Some(format!("{:04x}", usb.product).into()));
        add("serial", usb.serial.clone().map(Value::from));
        add("maker", usb.maker.clone().map(Value::from));
        add("name", usb.name.clone().map(Value::from));
    }
    add("selector", port.selector.clone().map(Value::from));
    let holders: Vec<Value> = port
        .holders
        .iter()
        .map(|holder| json!({"pid": holder.pid, "program": holder.program}))
        .collect();
    add(
        "holders",
        (!holders.is_empty()).then_some(Value::Array(holders)),
    );
    if let Some(obstacle) = &port.obstacle {
        add("obstacle", Some(obstacle.to_string().into()));
        add("remedy", obstacle.remedy().map(Value::from));
    }
    fields
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::serial::{Holder, SerialError};

    fn held() -> PortInfo {
        let path = PathBuf::from("/dev/ttyUSB0");
        let holders = vec![Holder {
            pid: 123,
            program: "terminal".into(),
            is_daemon: false,
        }];
        PortInfo {
            path: path.clone(),
            usb: Some(discover::UsbIdentity {
                vendor: 0x0403,
                product: 0x6001,
                serial: Some("CAL-A".into()),
                maker: None,
                name: Some("USB serial".into()),
            }),
            selector: Some("{ usb_serial = \"CAL-A\" }".into()),
            holders: holders.clone(),
            obstacle: Some(SerialError::Held { path, holders }),
        }
    }

    #[test]
    fn a_held_port_names_adapter_holder_and_remedy() {
        let mut text = Vec::new();
        write_text(&mut text, &held()).unwrap();
        let plain = anstream::adapter::strip_str(std::str::from_utf8(&text).unwrap()).to_string();
        assert_eq!(
            plain,
            "/dev/ttyUSB0  cannot be opened  0403:6001 serial CAL-A  (USB serial)\n  \
             in the configuration: port = { usb_serial = \"CAL-A\" }; the number in /dev may change at the next plugging\n  \
             /dev/ttyUSB0 is held by terminal (pid 123)\n  \
             help: close that program, or end it: kill 123\n"
        );
    }

    #[test]
    fn our_own_daemon_is_not_to_be_killed() {
        let path = PathBuf::from("/dev/ttyUSB0");
        let holders = vec![Holder {
            pid: 123,
            program: "tallyjaw".into(),
            is_daemon: true,
        }];
        let remedy = SerialError::Held { path, holders }.remedy().unwrap();
        assert!(!remedy.contains("kill"), "{remedy}");
        assert!(
            remedy.contains("to use the port for something else, stop the daemon"),
            "{remedy}"
        );
    }

    #[test]
    fn json_leaves_out_what_is_unknown() {
        let got = as_json(&held());
        assert_eq!(
            got,
            json!({
                "path": "/dev/ttyUSB0", "can_open": false,
                "vendor": "0403", "product": "6001", "serial": "CAL-A", "name": "USB serial",
                "selector": "{ usb_serial = \"CAL-A\" }",
                "holders": [{"pid": 123, "program": "terminal"}],
                "obstacle": "/dev/ttyUSB0 is held by terminal (pid 123)",
                "remedy": "close that program, or end it: kill 123",
            })
        );
    }
}
