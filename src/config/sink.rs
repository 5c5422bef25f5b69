//! `[[sink]]`: what reads the journal and puts it somewhere else.

use super::faults::{At, Faults};
use super::mqtt::{self, MqttConfig};
use super::table::Table;
use super::value::unique;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Between two writings, if it is not said.
const EVERY: Duration = Duration::from_secs(60);

/// And at most; a day's file must not come the day after.
const MOST: Duration = Duration::from_secs(24 * 60 * 60);

/// One `[[sink]]` table, checked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SinkConfig {
    /// Its name, which its cursor has too.
    pub name: String,
    /// What it does.
    pub settings: SinkSettings,
}

/// What a sink does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SinkSettings {
    /// Writes a data set of Parquet files.
    Parquet(DataSetConfig),
    /// Publishes every entry to a broker that speaks MQTT 5.
    Mqtt(MqttConfig),
}

/// A data set of Parquet files.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DataSetConfig {
    /// Into this folder; a relative one has been joined to that of the configuration.
    pub folder: PathBuf,
    /// No more often than this.
    pub every: Duration,
}

/// Which settings a sink has.
#[derive(Debug, Clone, Copy)]
enum SettingsKind {
    Parquet,
    Mqtt,
}

const KINDS: [(&str, SettingsKind); 2] = [
    ("parquet", SettingsKind::Parquet),
    ("mqtt", SettingsKind::Mqtt),
];
/// Every key of a data set beside its name and kind.
const PARQUET_KEYS: [&str; 2] = ["folder", "every"];

/// Every `[[sink]]` that could be read.
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
    if !table.has("kind") {
        table.missing(faults, "kind", "\"parquet\" or \"mqtt\"");
    }
    let names = KINDS.map(|(name, _)| name);
    let kind = table.one_of(faults, "kind", &names, |name| {
        let known = KINDS.iter().find(|(known, _)| *known == name);
        known.map(|(_, kind)| *kind)
    });
    let settings = match kind.map(|kind| kind.value) {
        Some(SettingsKind::Parquet) => parquet(table, faults, base),
        Some(SettingsKind::Mqtt) => mqtt::read(table, faults, base).map(SinkSettings::Mqtt),
        None => {
            // One mistake, one error: whose keys these are is not known.
            for key in PARQUET_KEYS.into_iter().chain(mqtt::KEYS) {
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
