//! Which adapter an instrument's port is, and when it is another one than before.
//!
//! What can be known: the numbers and the serial number that an adapter reports, and the socket it is in.
//! What cannot: an adapter without a serial number of its own that is exchanged for its twin in the same
//! socket, a twin that was never plugged in beside it, and what is on the far end of the cable.

use super::state::InstrumentState;
use super::{Means, ReadBy, State};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// What distinguishes an adapter from others.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[schemars(description = "The adapter that is meant, in a state.")]
pub struct Adapter {
    /// What it says of itself: `0403:6001 serial A1`.
    pub usb: String,
    /// Where it is plugged in, and which of its ports it is: `0000:00:14.0 usb 4:1.0`.
    pub socket: String,
    /// What it says of itself does not tell it from others: it has no serial number, or another adapter
    /// was seen with the same one.
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
        // In another socket it is still itself; another port of the same adapter is another port.
        port_of(&self.socket) != port_of(&now.socket)
    }

    /// As it is known from now on, having been `before`: a twin that was seen once is not forgotten.
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
    /// The adapter; `None` if there is none on USB, or if it was entered before sockets were kept.
    pub fn adapter(&self) -> Option<Adapter> {
        Some(Adapter {
            usb: self.identity.clone()?,
            socket: self.socket.clone()?,
            ambiguous: self.ambiguous,
        })
    }

    /// What is there where `was` was before, if it is another one.
    pub(super) fn instead_of(&self, was: &Adapter) -> Option<String> {
        match (self.adapter(), &self.identity) {
            (Some(now), _) => was.is_other(&now).then(|| now.to_string()),
            (None, None) => Some("no USB adapter".to_owned()),
            // Entered by a version that kept no sockets: not known.
            (None, Some(_)) => None,
        }
    }
}

impl State {
    pub(super) fn attach(&mut self, attached: &Attached) {
        let known = self.instrument(&attached.instrument, &attached.station);
        known.attached = Some(attached.clone());
        known.detached_because = None;
        known.rivals.clear();
        let Some(now) = attached.adapter() else {
            return;
        };
        // A twin that was seen once is not forgotten, also where it is the one that is there.
        if let Some(meant) = &mut known.adapter
            && meant.usb == now.usb
        {
            meant.ambiguous |= now.ambiguous;
        }
        if known.another().is_none() {
            known.adapter = Some(now.after(known.adapter.as_ref()));
        }
    }

    /// Another instrument may be on it: what the zeros of the one before vouched for ends here.
    pub(super) fn take_adapter(&mut self, station: &str, instrument: &str) {
        let known = self.instrument(instrument, station);
        let before = known.adapter.take();
        let now = known.attached.as_ref().and_then(Attached::adapter);
        // A twin that was seen once is not forgotten because one of the two is meant.
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
    /// The adapter that is meant and what is there instead of it, in words, while that is another one.
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

/// An instrument's port is open.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Attached {
    /// Its name in the configuration.
    pub station: String,
    /// Its name in the configuration.
    pub instrument: String,
    /// The path that was opened.
    pub port: String,
    /// Line settings: `9600 8N1`.
    pub line: String,
    /// What the adapter says of itself: `0403:6001 serial A1`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub identity: Option<String>,
    /// Where the adapter is plugged in: `0000:00:14.0 usb 4:1.0`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub socket: Option<String>,
    /// What it says of itself does not tell it from others.
    #[serde(rename = "alike", default, skip_serializing_if = "std::ops::Not::not")]
    pub ambiguous: bool,
    /// How its bytes are read; `None` of a scanner or a pedal, and in entries of older releases.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub read_by: Option<Box<ReadBy>>,
}

impl Attached {
    /// Whether it is the same port, set in the same way.
    pub fn is_same_port(&self, other: &Self) -> bool {
        let port = |of: &Self| Self {
            read_by: None,
            ..of.clone()
        };
        port(self) == port(other)
    }
}

/// An instrument's port is gone.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Detached {
    /// Its name in the configuration.
    pub station: String,
    /// Its name in the configuration.
    pub instrument: String,
    /// Why.
    pub reason: String,
}

/// An instrument's port is another adapter than before.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct AdapterChanged {
    /// Its name in the configuration.
    pub station: String,
    /// Its name in the configuration.
    pub instrument: String,
    /// The adapter that was meant so far.
    pub was: String,
    /// The one that is there.
    pub is: String,
}

/// A person said that the adapter that is there is the one that is meant.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct AdapterSaid {
    /// Its name in the configuration.
    pub station: String,
    /// Its name in the configuration.
    pub instrument: String,
    /// Its stable name, from vendor, model and serial number.
    pub adapter: String,
    /// By what means it was said.
    pub by: Means,
}

/// Something else has used an instrument's port, or does.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Disturbed {
    /// Its name in the configuration.
    pub station: String,
    /// Its name in the configuration.
    pub instrument: String,
    /// The programs that have the port open beside us now: `cat (pid 12)`; none if it is ours alone again.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holders: Vec<String>,
    /// The line settings that were found, and set back: `1200 8N1`.
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
