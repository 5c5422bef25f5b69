//! The names of the figures in `/metrics`: one table, for the text and for its schema.

/// A family of samples.
#[derive(Debug, Clone, Copy)]
pub struct Family {
    /// Its name; the samples of a counter end in `_total`, those of an info in `_info`.
    pub name: &'static str,
    /// Its type by `OpenMetrics`.
    pub kind: &'static str,
    /// Unit of its samples; `None` for counts.
    pub unit: Option<&'static str>,
    /// Names of the labels of its samples.
    pub labels: &'static [&'static str],
    /// What it says.
    pub help: &'static str,
}

/// Every family that is served.
pub const FAMILIES: [Family; 27] = [
    Family {
        name: "tallyjaw_build",
        kind: "info",
        unit: None,
        labels: &["version"],
        help: "The version that runs.",
    },
    Family {
        name: "tallyjaw_readings",
        kind: "counter",
        unit: None,
        labels: &["station", "verdict"],
        help: "Readings by verdict, since the daemon started.",
    },
    Family {
        name: "tallyjaw_zeros",
        kind: "counter",
        unit: None,
        labels: &["station", "result"],
        help: "Zero frames that were good, or off.",
    },
    Family {
        name: "tallyjaw_retracted_readings",
        kind: "counter",
        unit: None,
        labels: &["station"],
        help: "Readings that were retracted.",
    },
    Family {
        name: "tallyjaw_restored_readings",
        kind: "counter",
        unit: None,
        labels: &["station"],
        help: "Readings that were retracted and count again.",
    },
    Family {
        name: "tallyjaw_doubted_readings",
        kind: "counter",
        unit: None,
        labels: &["station"],
        help: "Readings that a zero no longer vouches for.",
    },
    Family {
        name: "tallyjaw_crimps",
        kind: "counter",
        unit: None,
        labels: &["station"],
        help: "Crimps that were counted, with or without an open production run.",
    },
    Family {
        name: "tallyjaw_alerts",
        kind: "counter",
        unit: None,
        labels: &["station", "rule"],
        help: "Rules over several readings that held.",
    },
    Family {
        name: "tallyjaw_unread_bytes",
        kind: "counter",
        unit: Some("bytes"),
        labels: &["instrument"],
        help: "Bytes of an instrument without meaning.",
    },
    Family {
        name: "tallyjaw_run_open",
        kind: "gauge",
        unit: None,
        labels: &["station"],
        help: "1 while a production run is open.",
    },
    Family {
        name: "tallyjaw_sample_due",
        kind: "gauge",
        unit: None,
        labels: &["station"],
        help: "1 while a sample of the open production run is due.",
    },
    Family {
        name: "tallyjaw_open_crimps",
        kind: "gauge",
        unit: None,
        labels: &["station"],
        help: "Crimps of the open production run that no sample has decided about.",
    },
    Family {
        name: "tallyjaw_held_crimps",
        kind: "gauge",
        unit: None,
        labels: &["station"],
        help: "Crimps that are held and not settled.",
    },
    Family {
        name: "tallyjaw_journal_waiting_entries",
        kind: "gauge",
        unit: None,
        labels: &[],
        help: "Entries that wait for the disk.",
    },
    Family {
        name: "tallyjaw_journal_last_entry",
        kind: "gauge",
        unit: None,
        labels: &[],
        help: "The number of the newest durable entry.",
    },
    Family {
        name: "tallyjaw_journal_failed",
        kind: "gauge",
        unit: None,
        labels: &[],
        help: "1 if a write or sync failed: nothing is recorded.",
    },
    Family {
        name: "tallyjaw_journal_full",
        kind: "gauge",
        unit: None,
        labels: &[],
        help: "1 while the disk is full: nothing is recorded.",
    },
    Family {
        name: "tallyjaw_journal_stalled_seconds",
        kind: "gauge",
        unit: Some("seconds"),
        labels: &[],
        help: "For how long the disk has not answered, from two seconds on; 0 while it does.",
    },
    Family {
        name: "tallyjaw_instrument_up",
        kind: "gauge",
        unit: None,
        labels: &["station", "instrument"],
        help: "1 while an instrument's port is open.",
    },
    Family {
        name: "tallyjaw_clients",
        kind: "gauge",
        unit: None,
        labels: &["of"],
        help: "Clients of the feed socket and of the event stream.",
    },
    Family {
        name: "tallyjaw_sink_failing",
        kind: "gauge",
        unit: None,
        labels: &["sink", "kind"],
        help: "1 while a sink fails: nothing has arrived there since.",
    },
    Family {
        name: "tallyjaw_sink_behind_entries",
        kind: "gauge",
        unit: None,
        labels: &["sink", "kind"],
        help: "Durable entries that have not arrived at a sink yet.",
    },
    Family {
        name: "tallyjaw_sink_last_entry",
        kind: "gauge",
        unit: None,
        labels: &["sink", "kind"],
        help: "The number of the newest entry that has arrived at a sink.",
    },
    Family {
        name: "tallyjaw_sink_failures",
        kind: "counter",
        unit: None,
        labels: &["sink", "kind"],
        help: "Tries of a sink that failed, since the daemon started.",
    },
    Family {
        name: "tallyjaw_sink_recoveries",
        kind: "counter",
        unit: None,
        labels: &["sink", "kind"],
        help: "Failures of a sink that are over, since the daemon started.",
    },
    Family {
        name: "tallyjaw_sink_recovered_timestamp_seconds",
        kind: "gauge",
        unit: Some("seconds"),
        labels: &["sink", "kind"],
        help: "When the last failure of a sink was over, since 1970; without a sample if none was.",
    },
    Family {
        name: "tallyjaw_journal_sync_seconds",
        kind: "histogram",
        unit: Some("seconds"),
        labels: &["le"],
        help: "How long it took to write entries and make them durable.",
    },
];

impl Family {
    /// The names of its samples.
    pub fn samples(&self) -> Vec<String> {
        let ends: &[&str] = match self.kind {
            "counter" => &["_total"],
            "info" => &["_info"],
            "histogram" => &["_bucket", "_sum", "_count"],
            _ => &[""],
        };
        ends.iter()
            .map(|end| format!("{}{end}", self.name))
            .collect()
    }
}
