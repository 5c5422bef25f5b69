//! What the core keeps in memory for each instrument, scanner and pedal, and what a reload changes of it.

use super::signals::LiveSignal;
use super::{Core, capture, flood, plausible, unread};
use crate::decode::Decoder;
use crate::decode::guess::Watcher;
use crate::entry::ReadBy;
use crate::quantity::{MonoMicros, Now};
use crate::spec::{Catalog, Instrument};
use std::collections::BTreeMap;
use std::sync::Arc;

/// State of one instrument that is not in the journal, so a restart loses it.
#[derive(Debug)]
pub(super) struct Reception {
    /// The name, shared by all readings of the instrument.
    pub(super) name: Arc<str>,
    pub(super) station: Arc<str>,
    pub(super) decoder: Decoder,
    pub(super) capturing: capture::Capturing,
    pub(super) origin: capture::origin::OriginWatch,
    pub(super) unread: unread::Folding,
    pub(super) flood: flood::Flood,
    pub(super) watcher: Watcher,
    pub(super) doubt: Option<plausible::Doubt>,
    /// Time of the last frame, if that was a zero frame. A double zero is measured from it.
    pub(super) zero_frame_at: Option<MonoMicros>,
}

/// The settings by which values of an instrument are read, as its `attached` entry records them.
pub(super) fn read_by(instrument: &Instrument) -> ReadBy {
    ReadBy {
        format: instrument.format.name.to_owned(),
        unit: instrument.unit.name().to_owned(),
        pattern: instrument
            .pattern
            .as_ref()
            .map(|pattern| pattern.text().to_owned()),
        capture: instrument.capture.name().to_owned(),
    }
}

impl Reception {
    pub(super) fn new(instrument: &Instrument) -> Self {
        Self {
            name: instrument.name.as_str().into(),
            station: instrument.station.as_str().into(),
            decoder: Decoder::new(instrument.format, instrument.unit)
                .with_pattern(instrument.pattern.clone()),
            capturing: capture::Capturing::new(&instrument.capture, instrument.resolution),
            origin: capture::origin::OriginWatch::default(),
            unread: unread::Folding::default(),
            flood: flood::Flood::default(),
            watcher: Watcher::default(),
            doubt: None,
            zero_frame_at: None,
        }
    }

    pub(super) fn waits_until(&self) -> Option<MonoMicros> {
        let both = [self.unread.due_at(), self.capturing.waits_until()];
        both.into_iter().flatten().min()
    }
}

impl Core {
    /// Puts a new configuration into force. An instrument whose decoding did not change keeps the bytes of a frame in
    /// hand.
    pub(super) fn reload(&mut self, now: Now, catalog: Arc<Catalog>) {
        let old = Arc::clone(&self.catalog);
        let changed = |name: &str| match (old.instrument(name), catalog.instrument(name)) {
            (Some(old), Some(new)) => {
                old.format.name != new.format.name
                    || (old.unit, &old.capture, &old.pattern)
                        != (new.unit, &new.capture, &new.pattern)
                    || old.resolution != new.resolution
                    || old.station != new.station
            }
            (Some(_), None) | (None, _) => true,
        };
        let ended: Vec<_> = self
            .live
            .keys()
            .filter(|name| changed(name))
            .cloned()
            .collect();
        for name in &ended {
            self.end_bytes(now, name);
            self.live.remove(name);
        }
        let mut live = receptions(&catalog);
        live.append(&mut self.live);
        self.live = live;
        self.reload_signals(now, &catalog);
        self.catalog = catalog;
    }

    pub(super) fn reload_signals(&mut self, now: Now, catalog: &Catalog) {
        let unchanged = |name: &str, live: &LiveSignal| {
            catalog
                .signals
                .iter()
                .any(|signal| signal.name == name && live.is_of(signal))
        };
        let ended: Vec<_> = self
            .signals
            .iter()
            .filter(|(name, live)| !unchanged(name, live))
            .map(|(name, _)| name.clone())
            .collect();
        for name in &ended {
            self.end_signal(now, name);
            self.signals.remove(name);
        }
        let mut signals = live_signals(catalog);
        signals.append(&mut self.signals);
        self.signals = signals;
    }
}

/// New state for every scanner and pedal of the configuration.
pub(super) fn live_signals(catalog: &Catalog) -> BTreeMap<String, LiveSignal> {
    let signals = catalog.signals.iter();
    signals
        .map(|signal| (signal.name.clone(), LiveSignal::new(signal)))
        .collect()
}

/// New state for every measuring instrument of the configuration.
pub(super) fn receptions(catalog: &Catalog) -> BTreeMap<String, Reception> {
    let measuring = |instrument: &&Instrument| instrument.kind.dimension().is_some();
    let instruments = catalog.instruments.iter().filter(measuring);
    instruments
        .map(|instrument| (instrument.name.clone(), Reception::new(instrument)))
        .collect()
}
