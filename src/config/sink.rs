//! Reads `[[sink]]`: programs that read the journal and send entries elsewhere.

use super::faults::{At, Faults};
use super::mqtt::{self, MqttConfig};
use super::postgres::{self, PostgresConfig};
use super::table::{Table, alternatives};
use super::timestamp::{self, TimestampConfig};
use super::tls;
use super::value::unique;
use super::webhook::{self, WebhookConfig};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Default interval between two writes of a data set.
const EVERY: Duration = Duration::from_secs(60);

/// Longest interval, so that the file of a day is complete on the next day.
const MOST: Duration = Duration::from_secs(24 * 60 * 60);

/// A `[[sink]]` table without faults.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SinkConfig {
    /// Name of the sink, and of its cursor.
    pub name: String,
    /// Its kind with the settings of that kind.
    pub settings: SinkSettings,
}

/// Settings of a sink, by kind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SinkSettings {
    /// Write a data set of Parquet files.
    Parquet(DataSetConfig),
    /// Publish every entry to an MQTT 5 broker.
    Mqtt(MqttConfig),
    /// Send every entry to an address.
    Webhook(WebhookConfig),
    /// Put every reading into a table of a database.
    Postgres(PostgresConfig),
    /// Have an authority outside confirm when the newest entry existed.
    Timestamp(TimestampConfig),
}

/// Settings of a data set of Parquet files.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DataSetConfig {
    /// The folder to write to; a relative path was joined to the folder of the configuration file.
    pub folder: PathBuf,
    /// Shortest interval between two writes.
    pub every: Duration,
}

/// The kind of a sink.
#[derive(Debug, Clone, Copy)]
enum SettingsKind {
    Parquet,
    Mqtt,
    Webhook,
    Postgres,
    Timestamp,
}

const KINDS: [(&str, SettingsKind); 5] = [
    ("parquet", SettingsKind::Parquet),
    ("mqtt", SettingsKind::Mqtt),
    ("webhook", SettingsKind::Webhook),
    ("postgres", SettingsKind::Postgres),
    ("timestamp", SettingsKind::Timestamp),
];
/// Every key of a data set except `name` and `kind`.
const PARQUET_KEYS: [&str; 2] = ["folder", "every"];

/// Reads every `[[sink]]` table.
pub(super) fn read(root: &mut Table<'_>, faults: &mut Faults, base: &Path) -> Vec<SinkConfig> {
    let mut sinks = Vec::new();
    for mut table in root.tables(faults, "sink", "[[sink]]") {
        sinks.extend(sink(&mut table, faults, base));
        table.finish(faults);
    }
    let sinks = unique(faults, "sink", sinks, |sink| &sink.value.name);
    sinks.into_iter().map(|sink| sink.value).collect()
}

fn sink(table: &mut Table<'_>, faults: &mut Faults, base: &Path) -> Option<At<SinkConfig>> {
    let name = table.required_name(faults, "name", "\"lake\"");
    let names = KINDS.map(|(name, _)| name);
    if !table.has("kind") {
        table.missing(faults, "kind", &alternatives(&names));
    }
    let kind = table.one_of(faults, "kind", &names, |name| {
        let known = KINDS.iter().find(|(known, _)| *known == name);
        known.map(|(_, kind)| *kind)
    });
    let settings = match kind.map(|kind| kind.value) {
        Some(SettingsKind::Parquet) => parquet(table, faults, base),
        Some(SettingsKind::Mqtt) => mqtt::read(table, faults, base).map(SinkSettings::Mqtt),
        Some(SettingsKind::Webhook) => {
            webhook::read(table, faults, base).map(SinkSettings::Webhook)
        }
        Some(SettingsKind::Postgres) => {
            postgres::read(table, faults, base).map(SinkSettings::Postgres)
        }
        Some(SettingsKind::Timestamp) => {
            timestamp::read(table, faults, base).map(SinkSettings::Timestamp)
        }
        None => {
            // The kind is unknown, so the keys of all kinds are accepted: one mistake gives one error.
            let keys = PARQUET_KEYS.into_iter().chain(mqtt::KEYS);
            let keys = keys.chain(webhook::KEYS).chain(tls::KEYS);
            let keys = keys.chain(postgres::KEYS);
            for key in keys.chain(timestamp::KEYS) {
                table.taken(key);
            }
            None
        }
    };
    let (name, settings) = (name?, settings?);
    Some(At {
        value: SinkConfig {
            name: name.value,
            settings,
        },
        place: name.place,
    })
}

fn parquet(table: &mut Table<'_>, faults: &mut Faults, base: &Path) -> Option<SinkSettings> {
    let folder = table.required_text(faults, "folder", "\"lake\"");
    let every = table.duration(faults, "every", MOST);
    Some(SinkSettings::Parquet(DataSetConfig {
        folder: base.join(folder?.value),
        every: every.unwrap_or(EVERY),
    }))
}
