//! Identifies the USB adapter behind an instrument's port, and detects that it was exchanged.
//!
//! Known are the numbers and the serial number that an adapter reports, and its socket. Not detectable are: an adapter
//! without a serial number that is replaced by its twin in the same socket, if the twin was never plugged in beside it;
//! and what is connected to the far end of the cable.

use super::state::InstrumentState;
use super::{Means, PortEntry, ReadBy, State};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// The properties that distinguish one adapter from another.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[schemars(description = "The adapter that is meant, in a state.")]
pub struct Adapter {
    /// Vendor and product number, and serial number if there is one: `0403:6001 serial A1`.
    pub usb: String,
    /// Bus path of the socket, then configuration and interface of the adapter: `0000:00:14.0 usb 4:1.0`.
    pub socket: String,
    /// `usb` does not distinguish this adapter from others: it has no serial number, or another adapter with the same
    /// one was seen. The socket decides then.
    #[serde(rename = "alike", default, skip_serializing_if = "std::ops::Not::not")]
    pub ambiguous: bool,
}

impl Adapter {
    /// Whether `now` is another adapter, as far as that can be known.
    pub fn is_other(&self, now: &Self) -> bool {
        if self.usb != now.usb {
            return true;
        }
        if self.ambiguous || now.ambiguous {
            return self.socket != now.socket;
        }
        // An adapter with its own serial number may change sockets. Another interface of it is another port.
        port_of(&self.socket) != port_of(&now.socket)
    }

    /// `self` as it is stored after `before`: once a twin was seen, the adapter stays ambiguous.
    pub(super) fn after(self, before: Option<&Self>) -> Self {
        let ambiguous = self.ambiguous || before.is_some_and(|before| before.ambiguous);
        Self { ambiguous, ..self }
    }
}

/// Configuration and interface: `1.0`.
fn port_of(socket: &str) -> Option<&str> {
    socket.rsplit_once(':').map(|(_, port)| port)
}

impl fmt::Display for Adapter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} in the socket {}", self.usb, self.socket)
    }
}

impl Attached {
    /// The adapter; `None` if the port is not on USB, or if the entry is from a release that stored no sockets.
    pub fn adapter(&self) -> Option<Adapter> {
        Some(Adapter {
            usb: self.identity.clone()?,
            socket: self.socket.clone()?,
            ambiguous: self.ambiguous,
        })
    }

    /// Describes this adapter, if it is not `was`.
    pub(super) fn instead_of(&self, was: &Adapter) -> Option<String> {
        match (self.adapter(), &self.identity) {
            (Some(now), _) => was.is_other(&now).then(|| now.to_string()),
            (None, None) => Some("no USB adapter".to_owned()),
            // The entry is from a release that stored no sockets, so nothing is known.
            (None, Some(_)) => None,
        }
    }
}

impl State {
    pub(super) fn apply_port(&mut self, entry: &PortEntry) {
        match entry {
            PortEntry::Attached(attached) => self.attach(attached),
            PortEntry::Detached(gone) => {
                let known = self.instrument(&gone.instrument, &gone.station);
                known.detach(&gone.reason);
            }
            PortEntry::AdapterChanged(_) => {} // The two `attached` entries already show the change of adapter.
            PortEntry::Disturbed(disturbed) => {
                let known = self.instrument(&disturbed.instrument, &disturbed.station);
                known.rivals.clone_from(&disturbed.holders);
            }
        }
    }

    fn attach(&mut self, attached: &Attached) {
        let known = self.instrument(&attached.instrument, &attached.station);
        known.attached = Some(attached.clone());
        known.detached_because = None;
        known.rivals.clear();
        let Some(now) = attached.adapter() else {
            return;
        };
        // Once a twin was seen, the adapter stays ambiguous, also if it is the confirmed one.
        if let Some(meant) = &mut known.adapter
            && meant.usb == now.usb
        {
            meant.ambiguous |= now.ambiguous;
        }
        if known.another().is_none() {
            known.adapter = Some(now.after(known.adapter.as_ref()));
        }
    }

    /// Confirms the adapter that is there now. It may lead to another instrument, so earlier zeros vouch for nothing
    /// more.
    pub(super) fn confirm_adapter(&mut self, station: &str, instrument: &str) {
        let known = self.instrument(instrument, station);
        let before = known.adapter.take();
        let now = known.attached.as_ref().and_then(Attached::adapter);
        // Once a twin was seen, the adapter stays ambiguous, also after a confirmation.
        known.adapter = now.map(|now| {
            let before = before.filter(|before| before.usb == now.usb);
            now.after(before.as_ref())
        });
        if let Some(series) = self.station(station).series.as_mut() {
            series.zeros.remove(instrument);
        }
    }

    pub(super) fn forget_ports(&mut self, because: &str) {
        for instrument in self.instruments.values_mut() {
            instrument.detach(because);
        }
    }
}

impl InstrumentState {
    /// The confirmed adapter and the one that is there now, in words; `None` if they are the same.
    pub fn another(&self) -> Option<(String, String)> {
        let was = self.adapter.as_ref()?;
        let is = self.attached.as_ref()?.instead_of(was)?;
        Some((was.to_string(), is))
    }

    pub(super) fn detach(&mut self, because: &str) {
        self.attached = None;
        self.rivals.clear();
        self.detached_because = Some(because.to_owned());
    }
}

/// The port of an instrument, scanner or pedal was opened.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Attached {
    /// Name of the station in the configuration.
    pub station: String,
    /// Name of the instrument in the configuration.
    pub instrument: String,
    /// The device path that was opened.
    pub port: String,
    /// Line settings: `9600 8N1`.
    pub line: String,
    /// Vendor, product and serial number of the adapter: `0403:6001 serial A1`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub identity: Option<String>,
    /// Socket of the adapter: `0000:00:14.0 usb 4:1.0`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub socket: Option<String>,
    /// `identity` does not distinguish this adapter from others.
    #[serde(rename = "alike", default, skip_serializing_if = "std::ops::Not::not")]
    pub ambiguous: bool,
    /// How bytes are decoded; `None` for scanners, pedals, and in entries of older releases.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub read_by: Option<Box<ReadBy>>,
}

impl Attached {
    /// Whether both are the same port with the same line settings.
    pub fn is_same_port(&self, other: &Self) -> bool {
        let port = |of: &Self| Self {
            read_by: None,
            ..of.clone()
        };
        port(self) == port(other)
    }
}

/// The port of an instrument, scanner or pedal is gone.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Detached {
    /// Name of the station in the configuration.
    pub station: String,
    /// Name of the instrument in the configuration.
    pub instrument: String,
    /// Why, in words: unplugged, an error, a reload.
    pub reason: String,
}

/// A port has another adapter than before. Its values do not count until a person confirms it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct AdapterChanged {
    /// Name of the station in the configuration.
    pub station: String,
    /// Name of the instrument in the configuration.
    pub instrument: String,
    /// The confirmed adapter, in words.
    pub was: String,
    /// The adapter that is there now, in words.
    pub is: String,
}

/// A person confirmed the adapter that is there now.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct AdapterSaid {
    /// Name of the station in the configuration.
    pub station: String,
    /// Name of the instrument in the configuration.
    pub instrument: String,
    /// Its stable name, from vendor, model and serial number.
    pub adapter: String,
    /// How the person confirmed it.
    pub by: Means,
}

/// Another program uses an instrument's port, or has changed its line settings.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Disturbed {
    /// Name of the station in the configuration.
    pub station: String,
    /// Name of the instrument in the configuration.
    pub instrument: String,
    /// Programs that have the port open beside the daemon: `cat (pid 12)`; empty once there is none any more.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holders: Vec<String>,
    /// The line settings that another program had set, and that were corrected: `1200 8N1`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub settings: Option<String>,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn adapter(usb: &str, socket: &str, ambiguous: bool) -> Adapter {
        Adapter {
            usb: usb.to_owned(),
            socket: socket.to_owned(),
            ambiguous,
        }
    }

    #[test]
    fn an_adapter_is_known_by_its_serial_number_and_its_twin_by_the_socket() {
        let here = "0000:00:14.0 usb 4:1.0";
        let there = "0000:00:14.0 usb 2.1:1.0";
        let own = adapter("0403:6001 serial A", here, false);
        assert!(!own.is_other(&own));
        assert!(!own.is_other(&adapter("0403:6001 serial A", there, false)));
        assert!(own.is_other(&adapter("0403:6001 serial B", here, false)));
        assert!(own.is_other(&adapter("0403:6001 serial A", there, true)));
        assert!(!own.is_other(&adapter("0403:6001 serial A", here, true)));
        let nameless = adapter("1a86:7523", here, true);
        assert!(nameless.is_other(&adapter("1a86:7523", there, true)));
        assert!(!nameless.is_other(&nameless));
        let second_port = adapter("0403:6001 serial A", "0000:00:14.0 usb 4:1.1", false);
        assert!(own.is_other(&second_port));
    }

    #[test]
    fn a_twin_that_was_seen_once_is_not_forgotten() {
        let seen = adapter("0403:6001 serial A", "x usb 1:1.0", true);
        let now = adapter("0403:6001 serial A", "x usb 1:1.0", false).after(Some(&seen));
        assert!(now.is_other(&adapter("0403:6001 serial A", "x usb 2:1.0", false)));
    }
}
