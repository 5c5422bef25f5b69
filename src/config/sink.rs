//! `[[sink]]`: what reads the journal and puts it somewhere else.

use super::faults::{At, Faults};
use super::table::Table;
use super::value::unique;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Between two writings, if it is not said.
const EVERY: Duration = Duration::from_secs(60);

/// And at most; a day's file must not come the day after.
const MOST: Duration = Duration::from_secs(24 * 60 * 60);

/// A sink.
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
    Parquet {
        /// Into this folder; a relative one has been joined to that of the configuration.
        folder: PathBuf,
        /// No more often than this.
        every: Duration,
    },
}

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
        table.missing(faults, "kind", "\"parquet\"");
    }
    let kind = table.one_of(faults, "kind", &["parquet"], |name| {
        (name == "parquet").then_some(())
    });
    let folder = table.required_text(faults, "folder", "\"lake\"");
    let every = table.duration(faults, "every", MOST);
    let (name, folder) = (name?, folder?);
    kind?;
    Some(At {
        value: SinkConfig {
            name: name.value,
            settings: SinkSettings::Parquet {
                folder: base.join(folder.value),
                every: every.unwrap_or(EVERY),
            },
        },
        place: name.place,
    })
}
