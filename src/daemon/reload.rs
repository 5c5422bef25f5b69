//! Reads the configuration again while the daemon runs.
//!
//! Files are read and checked on another thread, so that verdicts do not wait. The new configuration replaces the old
//! one between two inputs.

use super::answers::AnswerTo;
use super::hub::Hub;
use super::service;
use crate::config::{Config, DaemonConfig, PageConfig, SinkConfig};
use crate::entry::Seq;
use crate::files::{self, LoadError};
use crate::message::reply::{Outcome, Reload};
use crate::message::{ErrorObject, code, left_open};
use crate::station::{Core, Input};
use std::sync::Arc;
use tokio::task::JoinHandle;

type Read = Result<Box<Config>, ErrorObject>;

/// A configuration that is being read, with the requests for it.
#[derive(Debug, Default)]
pub(super) struct Reloading {
    reading: Option<JoinHandle<Read>>,
    asked: Vec<AnswerTo>,
    /// Requests that came while files were being read, which may have changed since.
    again: Option<Vec<AnswerTo>>,
}

impl Reloading {
    /// The configuration once it is read; never while none is being read.
    pub(super) async fn read(&mut self) -> Read {
        let Some(reading) = &mut self.reading else {
            return std::future::pending().await;
        };
        let read = reading.await;
        self.reading = None;
        read.unwrap_or_else(|_| Err(ErrorObject::new(code::BUSY, "the daemon is stopping", None)))
    }
}

/// What stays as it was when the daemon started.
#[derive(Debug)]
pub(super) struct Fixed {
    daemon: DaemonConfig,
    page: Option<PageConfig>,
    sinks: Vec<SinkConfig>,
}

impl Fixed {
    pub(super) fn of(config: &Config) -> Self {
        Self {
            daemon: config.daemon.clone(),
            page: config.page.clone(),
            sinks: config.sinks.clone(),
        }
    }
}

/// Why the old configuration stays in force although the new one has no errors.
pub(super) fn cannot_follow(new: &Config, old: &Fixed) -> Option<ErrorObject> {
    let changed = if new.daemon != old.daemon {
        "the section [daemon] has changed"
    } else if new.page != old.page {
        "the section [page] has changed"
    } else if new.sinks != old.sinks {
        "a [[sink]] has changed"
    } else {
        return None;
    };
    Some(ErrorObject::new(
        code::CONFIG,
        format!("{changed}, want it as it was when the daemon started"),
        Some("restart the daemon to apply it; a reload applies all other changes".to_owned()),
    ))
}

/// Warns about a station that was renamed or removed with an open series, which only a person can close.
pub(super) fn tell_of_left_stations(core: &Core) {
    let known = &core.catalog().stations;
    let stations = core.state().stations.iter();
    let open = stations.filter(|(_, station)| station.series.is_some());
    for (name, _) in open.filter(|(name, _)| !known.contains(name)) {
        tracing::warn!(station = name, "{}", left_open(name));
    }
}

pub(super) fn refuse(error: &LoadError) -> ErrorObject {
    let mut refused = ErrorObject::new(
        code::CONFIG,
        error.to_string(),
        Some(error.remedy().to_owned()),
    );
    refused.data.details = error.rendered(false);
    refused
}

impl Hub {
    /// Begins to read the configuration for these requests.
    pub(super) fn begin_reload(&mut self, asked: Vec<AnswerTo>) {
        if self.reloading.reading.is_some() {
            self.reloading.again.get_or_insert_default().extend(asked);
            return;
        }
        service::reloads();
        let path = self.config_path.clone();
        self.reloading.asked = asked;
        self.reloading.reading = Some(tokio::task::spawn_blocking(move || {
            let read = files::load(&path).map(Box::new);
            read.map_err(|error| refuse(&error))
        }));
    }

    /// Puts the new configuration in force, or reports why not.
    pub(super) fn loaded(&mut self, read: Read) {
        let result = read.and_then(|config| self.take_configuration(*config));
        service::reloaded(result.is_ok());
        if let Err(error) = &result {
            tell_reload_refused(error);
        }
        for to in std::mem::take(&mut self.reloading.asked) {
            match &result {
                Ok(seq) => {
                    let outcome = Outcome::Reload(Reload {
                        seq: seq.0,
                        config_digest: self.config.digest.clone(),
                    });
                    self.waiting.add(self.appended, outcome, to);
                }
                // The client may be gone.
                Err(error) => drop(to.send(Err(error.clone()))),
            }
        }
        if let Some(asked) = self.reloading.again.take() {
            self.begin_reload(asked);
        }
    }

    /// Puts a configuration in force. Returns its `started` entry.
    fn take_configuration(&mut self, config: Config) -> Result<Seq, ErrorObject> {
        self.check_room()?;
        if let Some(error) = cannot_follow(&config, &Fixed::of(&self.config)) {
            return Err(error);
        }
        for instrument in self.ports.close_all_but(&config.ports) {
            self.open.remove(&instrument);
            self.live.set_trouble(&instrument, None);
            self.feed(Input::PortClosed {
                instrument: &instrument,
                reason: "the configuration of its port has changed",
            });
        }
        let old = std::mem::replace(&mut self.config, config);
        let catalog = Arc::clone(&self.config.catalog);
        let letterhead = Arc::clone(&self.config.shop.letterhead);
        self.live.set_configured(Arc::clone(&catalog), letterhead);
        self.feed(Input::Reloaded(catalog));
        // A large configuration takes a while to free.
        tokio::task::spawn_blocking(move || drop(old));
        self.say_started();
        let seq = self.started;
        // `started` implies that no port is open, so ports that stayed open are entered again.
        for attached in self.open.clone().into_values() {
            self.feed(Input::PortOpened(attached));
        }
        tell_of_left_stations(&self.core);
        self.ports.open(&self.config.ports);
        self.folders.watch(&self.config.pictures);
        tracing::info!(
            config_digest = self.config.digest,
            "a new configuration is in force"
        );
        Ok(seq)
    }
}

fn tell_reload_refused(error: &ErrorObject) {
    tracing::error!(
        "the configuration was not taken, the old one stays in force: {}",
        error.message
    );
    for detail in &error.data.details {
        tracing::error!("{detail}");
    }
}
