//! Entries about which adapter a port is, and who else uses it.

use super::names;
use crate::entry::line::LineError;
use crate::entry::{self, Entry};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct AdapterChanged {
    station: String,
    instrument: String,
    was: String,
    is: String,
}

impl From<&entry::AdapterChanged> for AdapterChanged {
    fn from(changed: &entry::AdapterChanged) -> Self {
        Self {
            station: changed.station.clone(),
            instrument: changed.instrument.clone(),
            was: changed.was.clone(),
            is: changed.is.clone(),
        }
    }
}

impl TryFrom<AdapterChanged> for Entry {
    type Error = LineError;

    fn try_from(body: AdapterChanged) -> Result<Self, LineError> {
        Ok(entry::AdapterChanged {
            station: body.station,
            instrument: body.instrument,
            was: body.was,
            is: body.is,
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct AdapterSaid {
    station: String,
    instrument: String,
    adapter: String,
    by: names::Means,
}

impl From<&entry::AdapterSaid> for AdapterSaid {
    fn from(said: &entry::AdapterSaid) -> Self {
        Self {
            station: said.station.clone(),
            instrument: said.instrument.clone(),
            adapter: said.adapter.clone(),
            by: said.by.into(),
        }
    }
}

impl TryFrom<AdapterSaid> for Entry {
    type Error = LineError;

    fn try_from(body: AdapterSaid) -> Result<Self, LineError> {
        Ok(entry::AdapterSaid {
            station: body.station,
            instrument: body.instrument,
            adapter: body.adapter,
            by: body.by.into(),
        }
        .into())
    }
}

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Disturbed {
    station: String,
    instrument: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    holders: Vec<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    settings: Option<String>,
}

impl From<&entry::Disturbed> for Disturbed {
    fn from(disturbed: &entry::Disturbed) -> Self {
        Self {
            station: disturbed.station.clone(),
            instrument: disturbed.instrument.clone(),
            holders: disturbed.holders.clone(),
            settings: disturbed.settings.clone(),
        }
    }
}

impl TryFrom<Disturbed> for Entry {
    type Error = LineError;

    fn try_from(body: Disturbed) -> Result<Self, LineError> {
        Ok(entry::Disturbed {
            station: body.station,
            instrument: body.instrument,
            holders: body.holders,
            settings: body.settings,
        }
        .into())
    }
}

/// The adapter that is meant, in a state.
#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Adapter {
    usb: String,
    socket: String,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    alike: bool,
}

impl From<&entry::Adapter> for Adapter {
    fn from(adapter: &entry::Adapter) -> Self {
        Self {
            usb: adapter.usb.clone(),
            socket: adapter.socket.clone(),
            alike: adapter.alike,
        }
    }
}

impl From<Adapter> for entry::Adapter {
    fn from(body: Adapter) -> Self {
        Self {
            usb: body.usb,
            socket: body.socket,
            alike: body.alike,
        }
    }
}
