//! Reading the configuration again while the daemon runs.
//!
//! Files are read and checked beside the loop, however many they are: verdicts do not wait for it. The new configuration
//! takes the place of the old one between two inputs.

use super::answers::AnswerTo;
use super::files::{self, LoadError};
use super::hub::Hub;
use super::service;
use crate::config::Config;
use crate::entry::Seq;
use crate::message::reply::{Outcome, Reload};
use crate::message::{ErrorObject, code, left_open};
use crate::station::{Core, Input};
use std::sync::Arc;
use tokio::task::JoinHandle;

type Read = Result<Box<Config>, ErrorObject>;

/// A configuration that is being read, and who requested it.
#[derive(Debug, Default)]
pub(super) struct Reloading {
    reading: Option<JoinHandle<Read>>,
    asked: Vec<AnswerTo>,
    /// Requested while files were being read that may have changed since.
    again: Option<Vec<AnswerTo>>,
}

impl Reloading {
    /// What was read; never while nothing is.
    pub(super) async fn read(&mut self) -> Read {
        let Some(reading) = &mut self.reading else {
            return std::future::pending().await;
        };
        let read = reading.await;
        self.reading = None;
        read.unwrap_or_else(|_| Err(ErrorObject::new(code::BUSY, "the daemon is stopping", None)))
    }
}

/// Why the old one stays in force although nothing is wrong with the new one.
fn cannot_follow(new: &Config, old: &Config) -> Option<ErrorObject> {
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

/// A station that was renamed or taken out with a series open leaves one that only a person can end.
pub(super) fn tell_of_left_stations(core: &Core) {
    let known = &core.catalog().stations;
    let stations = core.state().stations.iter();
    let open = stations.filter(|(_, station)| station.series.is_some());
    for (name, _) in open.filter(|(name, _)| !known.contains(name)) {
        tracing::warn!(station = name, "{}", left_open(name));
    }
}

fn refuse(error: &LoadError) -> ErrorObject {
    let mut refused = ErrorObject::new(
        code::CONFIG,
        error.to_string(),
        Some(error.remedy().to_owned()),
    );
    refused.data.details = error.rendered(false);
    refused
}

impl Hub {
    /// Begins to read the configuration again, for those who requested it.
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

    /// Puts what was read in force, or says why not.
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
                // Who asked may be gone.
                Err(error) => drop(to.send(Err(error.clone()))),
            }
        }
        if let Some(asked) = self.reloading.again.take() {
            self.begin_reload(asked);
        }
    }

    /// The `started` entry that says so.
    fn take_configuration(&mut self, config: Config) -> Result<Seq, ErrorObject> {
        self.check_room()?;
        if let Some(error) = cannot_follow(&config, &self.config) {
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
        self.live.set_catalog(Arc::clone(&catalog));
        self.feed(Input::Reloaded(catalog));
        // A large one takes a while to be given back.
        tokio::task::spawn_blocking(move || drop(old));
        self.say_started();
        let seq = self.started;
        // `started` says that no port is open; those that stayed are entered again.
        for attached in self.open.clone().into_values() {
            self.feed(Input::PortOpened(attached));
        }
        tell_of_left_stations(&self.core);
        self.ports.open(&self.config.ports);
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
