//! Retained messages: the newest state, with a topic for each station and instrument.
//!
//! | topic | says |
//! |---|---|
//! | `TOPIC/status/JOURNAL` | `{"online":true}`; `false` when the daemon has stopped, and by its last will when it is gone |
//! | `TOPIC/anchors/JOURNAL` | the last entry that the broker has acknowledged, with its digest: `verify --anchor` compares it |
//! | `TOPIC/stations/STATION` | the station as in the state message of the feed |
//! | `TOPIC/instruments/INSTRUMENT` | the instrument, `attached` or not |

use super::broker::Message;
use crate::entry::Anchor;
use crate::message::{self, state::StateMessage};
use serde_json::json;
use std::collections::BTreeMap;

/// The messages that were last published.
pub(super) struct Retained {
    topic: String,
    journal: String,
    published: BTreeMap<String, Vec<u8>>,
}

impl Retained {
    /// For a connection that has published nothing yet.
    pub(super) fn new(topic: &str, journal: &str) -> Self {
        Self {
            topic: topic.to_owned(),
            journal: journal.to_owned(),
            published: BTreeMap::new(),
        }
    }

    pub(super) fn online(&self) -> Message {
        status(&self.topic, &self.journal, true)
    }

    pub(super) fn offline(&self) -> Message {
        status(&self.topic, &self.journal, false)
    }

    /// The anchor of the last entry.
    pub(super) fn anchored(&self, anchor: &Anchor) -> Message {
        let topic = format!("{}/anchors/{}", self.topic, self.journal);
        retained(topic, anchor.json().into_bytes())
    }

    /// Messages that differ from those published before.
    pub(super) fn changed(&mut self, state: &StateMessage) -> Vec<Message> {
        let stations = state.stations.iter().map(|station| {
            (
                format!("stations/{}", station.station),
                text(message::line(station)),
            )
        });
        let instruments = state.instruments.iter().map(|instrument| {
            (
                format!("instruments/{}", instrument.instrument),
                text(message::line(instrument)),
            )
        });
        let mut messages = Vec::new();
        for (topic, payload) in stations.chain(instruments) {
            if self.published.get(&topic) == Some(&payload) {
                continue;
            }
            self.published.insert(topic.clone(), payload.clone());
            messages.push(retained(format!("{}/{topic}", self.topic), payload));
        }
        messages
    }
}

/// Message that says whether the daemon runs.
pub(super) fn status(topic: &str, journal: &str, online: bool) -> Message {
    let payload = json!({ "online": online }).to_string().into_bytes();
    retained(format!("{topic}/status/{journal}"), payload)
}

/// A line without its newline.
fn text(mut line: Vec<u8>) -> Vec<u8> {
    line.pop();
    line
}

fn retained(topic: String, payload: Vec<u8>) -> Message {
    Message {
        topic,
        payload,
        properties: Vec::new(),
        retain: true,
    }
}
