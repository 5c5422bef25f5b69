//! Reading the configuration anew while the daemon runs.

use super::files::{self, LoadError};
use super::hub::Hub;
use super::{VERSION, service};
use crate::config::Config;
use crate::entry::Seq;
use crate::message::{ErrorObject, code};
use crate::station::Input;
use std::path::Path;
use std::sync::Arc;

/// The new configuration, or why the old one stays in force.
pub(super) fn load(path: &Path, old: &Config) -> Result<Config, ErrorObject> {
    let new = files::load(path).map_err(|error| refuse(&error))?;
    let changed = if new.daemon != old.daemon {
        "the section [daemon] has changed"
    } else if new.page != old.page {
        "the section [page] has changed"
    } else if new.sinks != old.sinks {
        "a [[sink]] has changed"
    } else {
        return Ok(new);
    };
    Err(ErrorObject::new(
        code::CONFIG,
        format!("{changed}, want it as it was when the daemon started"),
        Some("restart the daemon for that; everything else can be reloaded".to_owned()),
    ))
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
    /// Reads the configuration anew; the `started` entry that says so.
    pub(super) fn reload(&mut self) -> Result<Seq, ErrorObject> {
        service::reloads();
        let result = self.take_configuration();
        service::reloaded(result.is_ok());
        result
    }

    fn take_configuration(&mut self) -> Result<Seq, ErrorObject> {
        self.check_room()?;
        let config = load(&self.config_path, &self.config)?;
        for instrument in self.ports.close_all_but(&config.ports) {
            self.open.remove(&instrument);
            self.live.set_trouble(&instrument, None);
            self.feed(Input::PortClosed {
                instrument: &instrument,
                reason: "the configuration of its port has changed",
            });
        }
        self.config = config;
        let catalog = Arc::new(self.config.catalog.clone());
        self.live.set_catalog(Arc::clone(&catalog));
        self.feed(Input::Reloaded(catalog));
        let digest = self.config.digest.clone();
        let now = self.now();
        self.core.handle(
            now,
            Input::Started {
                version: VERSION,
                config_digest: &digest,
            },
        );
        let appended = self.drain();
        let started = appended.iter().find(|entry| entry.kind == "started");
        let seq = started.map_or(self.appended, |entry| entry.seq);
        // `started` says that no port is open; those that stayed are told again.
        for attached in self.open.clone().into_values() {
            self.feed(Input::PortOpened(attached));
        }
        self.ports.open(&self.config.ports);
        tracing::info!(config_digest = digest, "a new configuration is in force");
        Ok(seq)
    }
}

pub(super) fn tell_reload_refused(error: &ErrorObject) {
    tracing::error!(
        "the configuration was not taken, the old one stays in force: {}",
        error.message
    );
    for detail in &error.data.details {
        tracing::error!("{detail}");
    }
}
