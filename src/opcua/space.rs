//! The objects that there are, and their values.
//!
//! In: states and entries of the feed. Out: changed values and events to whoever has subscribed to them.

use super::event::{Event, EventTypes};
use super::model::{ARMED, BENCH, Form, INSTRUMENT, Kind, Member, OUTCOME, READING, STATION};
use super::nodes::{id, make_folder, make_object};
use super::server::Served;
use opcua::types::{DataValue, DateTime, NodeId, ObjectId, StatusCode, Variant};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// Node under which everything of ours stands.
const ROOT: &str = "Bench";

/// The objects of a station below it: name, type, and where they stand in its state.
const PARTS: [(&str, &Kind, &str); 3] = [
    ("Armed", &ARMED, "/armed"),
    ("LastReading", &READING, "/last"),
    ("Outcome", &OUTCOME, "/outcome"),
];

/// The level of service while all is well, and while the values are old ones: OPC 10000-4, service level (from memory).
const HEALTHY: u8 = 255;
const NO_DATA: u8 = 1;

/// The last value.
struct Kept {
    value: Variant,
    at: DateTime,
}

/// Whether the values are the same, also where both are a limit that is none: `NaN` differs from itself.
fn is_same(one: &Variant, other: &Variant) -> bool {
    one == other || format!("{one:?}") == format!("{other:?}")
}

/// The objects and their values.
pub(super) struct Space<'a> {
    served: &'a Served,
    types: EventTypes,
    journal: String,
    /// Newest entry that the values include; `None` before the first state of this journal.
    seq: Option<u64>,
    /// Paths of the objects of stations and instruments.
    objects: BTreeSet<String>,
    values: BTreeMap<String, Kept>,
    /// Values that clients do not know yet.
    changed: BTreeSet<String>,
    connected: bool,
}

impl<'a> Space<'a> {
    /// The bench, not connected yet.
    pub(super) fn new(served: &'a Served) -> Self {
        let ns = served.namespace;
        let mut space = served.manager.address_space().write();
        let objects = ObjectId::ObjectsFolder.into();
        make_object(&mut space, ns, ROOT, &BENCH, objects);
        for folder in ["Stations", "Instruments"] {
            make_folder(&mut space, ns, &format!("{ROOT}/{folder}"), &id(ns, ROOT));
        }
        drop(space);
        let mut space = Self {
            served,
            types: EventTypes::new(ns),
            journal: String::new(),
            seq: None,
            objects: BTreeSet::new(),
            values: BTreeMap::new(),
            changed: BTreeSet::new(),
            connected: false,
        };
        space.gone();
        space
    }

    /// The daemon answers.
    pub(super) fn connected(&mut self, journal: String) {
        if self.journal != journal {
            self.seq = None;
        }
        self.journal = journal;
        self.connected = true;
        self.served.handle.set_service_level(HEALTHY);
        self.changed = self.values.keys().cloned().collect();
    }

    /// The daemon does not answer: all values are old ones.
    pub(super) fn gone(&mut self) {
        self.connected = false;
        self.served.handle.set_service_level(NO_DATA);
        self.changed = self.values.keys().cloned().collect();
        let json = json!({"journal": self.journal, "connected": false});
        let connected = BENCH.members.iter().find(|one| one.name == "Connected");
        if let Some(member) = connected {
            self.keep(ROOT, member, &json, &DateTime::now());
        }
        self.tell();
    }

    /// Takes over a state.
    pub(super) fn state(&mut self, state: &Value) {
        let now = DateTime::now();
        // After a break the entries since then follow the state, each in its turn.
        let is_ahead = self
            .seq
            .is_some_and(|seq| state["seq"].as_u64() > Some(seq));
        if !is_ahead {
            self.seq = state["seq"].as_u64();
        }
        self.bench(&now);
        let mut there = BTreeSet::new();
        for station in state["stations"].as_array().into_iter().flatten() {
            there.extend(self.station(station, is_ahead, &now));
        }
        for instrument in state["instruments"].as_array().into_iter().flatten() {
            there.extend(self.instrument(instrument, &now));
        }
        for path in self.objects.difference(&there).cloned().collect::<Vec<_>>() {
            self.remove(&path);
        }
        self.tell();
    }

    fn bench(&mut self, at: &DateTime) {
        let json = json!({"journal": self.journal, "seq": self.seq, "connected": true});
        self.set(ROOT, &BENCH, &json, at);
    }

    fn station(&mut self, station: &Value, is_ahead: bool, now: &DateTime) -> Option<String> {
        let path = format!("{ROOT}/Stations/{}", station["station"].as_str()?);
        if self.objects.insert(path.clone()) {
            let parent = id(self.served.namespace, &format!("{ROOT}/Stations"));
            self.add(&path, &STATION, parent);
            for (part, kind, _) in PARTS {
                let parent = id(self.served.namespace, &path);
                self.add(&format!("{path}/{part}"), kind, parent);
            }
        }
        self.set(&path, &STATION, station, now);
        for (part, kind, at) in PARTS {
            let none = Value::Null;
            let json = station.pointer(at).unwrap_or(&none);
            let path = format!("{path}/{part}");
            // The entry says more than the state: its time, and the limits.
            if part == "Armed" || (!is_ahead && self.is_other(&path, kind, json)) {
                self.set(&path, kind, json, now);
            }
        }
        Some(path)
    }

    /// Whether this is another reading or outcome than the one that is served.
    fn is_other(&self, path: &str, kind: &Kind, json: &Value) -> bool {
        let identity = kind.members.iter().find(|member| member.form == Form::Id);
        identity.is_none_or(|member| {
            let path = format!("{path}/{}", member.name);
            let kept = self.values.get(&path).map(|kept| &kept.value);
            kept != Some(&member.value(json, &self.journal))
        })
    }

    fn instrument(&mut self, instrument: &Value, now: &DateTime) -> Option<String> {
        let name = instrument["instrument"].as_str()?;
        let path = format!("{ROOT}/Instruments/{name}");
        if self.objects.insert(path.clone()) {
            let parent = id(self.served.namespace, &format!("{ROOT}/Instruments"));
            self.add(&path, &INSTRUMENT, parent);
        }
        self.set(&path, &INSTRUMENT, instrument, now);
        Some(path)
    }

    /// Takes over an entry: the last reading or outcome of its station, and an event.
    pub(super) fn entry(&mut self, text: &str, entry: &Value) {
        let at = entry["at"].as_str().map(DateTime::parse_from_rfc3339);
        let at = at.and_then(Result::ok).unwrap_or_else(DateTime::now);
        let station = entry["station"]
            .as_str()
            .map(|name| format!("{ROOT}/Stations/{name}"));
        let station = station.filter(|path| self.objects.contains(path));
        let part = match entry["kind"].as_str() {
            Some("reading") => Some(("LastReading", &READING)),
            Some("completed") => Some(("Outcome", &OUTCOME)),
            Some(_) | None => None,
        };
        if let (Some(station), Some((part, kind))) = (&station, part) {
            self.set(&format!("{station}/{part}"), kind, entry, &at);
        }
        self.seq = entry["seq"].as_u64();
        self.bench(&at);
        self.tell();
        let source = station.as_deref().unwrap_or(ROOT);
        let event = Event::new(&self.types, source, &self.journal, text, entry, at);
        self.happened(source, &event);
    }

    /// Tells whoever has subscribed to the events of the station, or of the bench if the entry is of no station. The library
    /// tells those of the server too.
    fn happened(&self, source: &str, event: &Event) {
        let notifier = id(self.served.namespace, source);
        let event: &dyn opcua::nodes::Event = event;
        let told = std::iter::once((event, &notifier));
        self.served.handle.subscriptions().notify_events(told);
    }

    fn add(&self, path: &str, kind: &Kind, parent: NodeId) {
        let mut space = self.served.manager.address_space().write();
        make_object(&mut space, self.served.namespace, path, kind, parent);
    }

    /// Removes an object with everything below it.
    fn remove(&mut self, path: &str) {
        self.objects.remove(path);
        let below = format!("{path}/");
        self.values.retain(|of, _| !of.starts_with(&below));
        self.changed.retain(|of| !of.starts_with(&below));
        let ns = self.served.namespace;
        let mut space = self.served.manager.address_space().write();
        let parts = PARTS.map(|(part, kind, _)| (format!("{path}/{part}"), kind));
        let own = [(path.to_owned(), &STATION), (path.to_owned(), &INSTRUMENT)];
        for (path, kind) in parts.into_iter().chain(own) {
            for member in kind.members {
                space.delete(&id(ns, &format!("{path}/{}", member.name)), true);
            }
            space.delete(&id(ns, &path), true);
        }
    }

    fn set(&mut self, path: &str, kind: &Kind, json: &Value, at: &DateTime) {
        for member in kind.members {
            self.keep(path, member, json, at);
        }
    }

    fn keep(&mut self, path: &str, member: &Member, json: &Value, at: &DateTime) {
        let path = format!("{path}/{}", member.name);
        let value = member.value(json, &self.journal);
        let kept = self.values.get(&path);
        if kept.is_none_or(|kept| !is_same(&kept.value, &value)) {
            self.values.insert(path.clone(), Kept { value, at: *at });
            self.changed.insert(path);
        }
    }

    /// Tells the changed values to clients.
    fn tell(&mut self) {
        let now = DateTime::now();
        let usable = if self.connected {
            StatusCode::Good
        } else {
            StatusCode::UncertainNoCommunicationLastUsableValue
        };
        let ns = self.served.namespace;
        let about_us = format!("{ROOT}/Connected");
        let changed = std::mem::take(&mut self.changed);
        let values = changed.iter().filter_map(|path| {
            let kept = self.values.get(path)?;
            let status = if *path == about_us {
                StatusCode::Good
            } else {
                usable
            };
            let value = DataValue {
                value: Some(kept.value.clone()),
                status: Some(status),
                source_timestamp: Some(kept.at),
                server_timestamp: Some(now),
                ..DataValue::default()
            };
            Some((id(ns, path), value))
        });
        let values: Vec<_> = values.collect();
        let subscriptions = self.served.handle.subscriptions();
        let items = values
            .iter()
            .map(|(node, value)| (node, None, value.clone()));
        if let Err(status) = self.served.manager.set_values(subscriptions, items) {
            tracing::error!(%status, "a value has no node");
        }
    }
}
