//! Writes counts and states as `OpenMetrics` text.
//!
//! Times are whole microseconds until they are written. No float is used.

use super::meter::{Counts, EDGES_MICROS, Meter};
use crate::clients::{Health, Live};
use crate::message::production::ProductionMessage;
use crate::message::reply::{SinkStatus, Status};
use crate::spec::Verdict;
use std::fmt::{Display, Write as _};

/// Content type of the metrics.
pub(super) const CONTENT_TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Numbers of connected clients.
#[derive(Debug, Clone, Copy)]
pub(super) struct Clients {
    pub(super) feed: usize,
    pub(super) events: usize,
}

/// The whole text of the metrics, with its end.
pub(super) fn text(live: &Live, meter: &Meter, clients: Clients) -> String {
    let mut text = Text::default();
    let status = live.status();
    let counts = with_what_did_not_come(meter.counts(), &status);
    text.family("tallyjaw_build", "info", "The version that runs.");
    text.sample("tallyjaw_build_info", &[("version", &status.version)], 1);

    entries(&mut text, &counts);
    production(&mut text, &status);
    syncs(&mut text, meter);
    journal(&mut text, live, meter);
    connected(&mut text, &status, clients);
    sinks(&mut text, &status.sinks);
    text.end()
}

/// Writes the counts of entries.
fn entries(text: &mut Text, counts: &Counts) {
    text.family(
        "tallyjaw_readings",
        "counter",
        "Readings by verdict, since the daemon started.",
    );
    for ((station, verdict), count) in &counts.readings {
        let labels = [("station", station.as_str()), ("verdict", verdict)];
        text.sample("tallyjaw_readings_total", &labels, count);
    }
    text.family(
        "tallyjaw_zeros",
        "counter",
        "Zero frames that were good, or off.",
    );
    for ((station, result), count) in &counts.zeros {
        let labels = [("station", station.as_str()), ("result", result)];
        text.sample("tallyjaw_zeros_total", &labels, count);
    }
    let by_station = [
        (
            "tallyjaw_retracted_readings",
            "Readings that were retracted.",
            &counts.retracted,
        ),
        (
            "tallyjaw_restored_readings",
            "Readings that were retracted and count again.",
            &counts.restored,
        ),
        (
            "tallyjaw_doubted_readings",
            "Readings that a zero no longer vouches for.",
            &counts.doubted,
        ),
        (
            "tallyjaw_crimps",
            "Crimps that were counted, with or without an open production run.",
            &counts.crimps,
        ),
    ];
    for (name, help, counts) in by_station {
        text.family(name, "counter", help);
        for (station, count) in counts {
            text.sample(&format!("{name}_total"), &[("station", station)], count);
        }
    }
    text.family(
        "tallyjaw_alerts",
        "counter",
        "Rules over several readings that held.",
    );
    for ((station, rule), count) in &counts.alerts {
        let labels = [("station", station.as_str()), ("rule", rule)];
        text.sample("tallyjaw_alerts_total", &labels, count);
    }
    text.family(
        "tallyjaw_unread_bytes",
        "counter",
        "Bytes of an instrument without meaning.",
    );
    text.unit("tallyjaw_unread_bytes", "bytes");
    for (instrument, bytes) in &counts.unread_bytes {
        text.sample(
            "tallyjaw_unread_bytes_total",
            &[("instrument", instrument)],
            bytes,
        );
    }
}

/// Name and help of a family, and its value for a station.
type StationFamily = (&'static str, &'static str, fn(&ProductionMessage) -> u64);

/// Writes the state of the production runs of each station.
fn production(text: &mut Text, status: &Status) {
    let families: [StationFamily; 4] = [
        (
            "tallyjaw_run_open",
            "1 while a production run is open.",
            |known| u64::from(known.open.is_some()),
        ),
        (
            "tallyjaw_sample_due",
            "1 while a sample of the open production run is due.",
            |known| u64::from(known.open.as_ref().is_some_and(|run| run.due)),
        ),
        (
            "tallyjaw_open_crimps",
            "Crimps of the open production run that no sample has decided about.",
            |known| known.open.as_ref().map_or(0, |run| run.open),
        ),
        (
            "tallyjaw_held_crimps",
            "Crimps that are held and not settled.",
            |known| known.holds.iter().map(|hold| hold.left).sum(),
        ),
    ];
    for (name, help, value) in families {
        text.family(name, "gauge", help);
        for station in &status.state.stations {
            let labels = [("station", station.station.as_str())];
            let now = station.production.as_ref().map_or(0, value);
            text.sample(name, &labels, now);
        }
    }
}

/// Writes the state of the journal.
fn journal(text: &mut Text, live: &Live, meter: &Meter) {
    text.family(
        "tallyjaw_journal_waiting_entries",
        "gauge",
        "Entries that wait for the disk.",
    );
    text.sample("tallyjaw_journal_waiting_entries", &[], meter.waiting());
    text.family(
        "tallyjaw_journal_last_entry",
        "gauge",
        "The number of the newest durable entry.",
    );
    text.sample("tallyjaw_journal_last_entry", &[], live.last());
    let health = live.health();
    text.family(
        "tallyjaw_journal_failed",
        "gauge",
        "1 if a write or sync failed: nothing is recorded.",
    );
    text.sample(
        "tallyjaw_journal_failed",
        &[],
        u8::from(health == Health::Failed),
    );
    text.family(
        "tallyjaw_journal_full",
        "gauge",
        "1 while the disk is full: nothing is recorded.",
    );
    text.sample(
        "tallyjaw_journal_full",
        &[],
        u8::from(health == Health::Full),
    );
    text.family(
        "tallyjaw_journal_stalled_seconds",
        "gauge",
        "For how long the disk has not answered, from two seconds on; 0 while it does.",
    );
    text.unit("tallyjaw_journal_stalled_seconds", "seconds");
    text.sample(
        "tallyjaw_journal_stalled_seconds",
        &[],
        health.stalled_seconds().unwrap_or_default(),
    );
}

fn connected(text: &mut Text, status: &Status, clients: Clients) {
    text.family(
        "tallyjaw_instrument_up",
        "gauge",
        "1 while an instrument's port is open.",
    );
    for known in &status.state.instruments {
        let labels = [
            ("station", known.station.as_str()),
            ("instrument", &known.instrument),
        ];
        text.sample("tallyjaw_instrument_up", &labels, u8::from(known.attached));
    }
    text.family(
        "tallyjaw_clients",
        "gauge",
        "Clients of the feed socket and of the event stream.",
    );
    text.sample("tallyjaw_clients", &[("of", "feed")], clients.feed);
    text.sample("tallyjaw_clients", &[("of", "events")], clients.events);
}

/// Name, type and help of a family, and its value for a sink.
type SinkFamily = (
    &'static str,
    &'static str,
    &'static str,
    fn(&SinkStatus) -> u64,
);

/// Writes the state of the sinks.
fn sinks(text: &mut Text, sinks: &[SinkStatus]) {
    let families: [SinkFamily; 4] = [
        (
            "tallyjaw_sink_failing",
            "gauge",
            "1 while a sink fails: nothing has arrived there since.",
            |sink| u64::from(sink.failing.is_some()),
        ),
        (
            "tallyjaw_sink_behind_entries",
            "gauge",
            "Durable entries that have not arrived at a sink yet.",
            |sink| sink.behind,
        ),
        (
            "tallyjaw_sink_last_entry",
            "gauge",
            "The number of the newest entry that has arrived at a sink.",
            |sink| sink.after,
        ),
        (
            "tallyjaw_sink_failures",
            "counter",
            "Tries of a sink that failed, since the daemon started.",
            |sink| sink.failures,
        ),
    ];
    for (name, kind, help, value) in families {
        text.family(name, kind, help);
        let total = if kind == "counter" { "_total" } else { "" };
        for sink in sinks {
            let labels = [("sink", sink.sink.as_str()), ("kind", &sink.kind)];
            text.sample(&format!("{name}{total}"), &labels, value(sink));
        }
    }
}

/// Adds counts of 0, so that the first increase is seen as one.
fn with_what_did_not_come(mut counts: Counts, status: &Status) -> Counts {
    let verdicts = Verdict::ALL.map(Verdict::name);
    for station in &status.state.stations {
        for verdict in verdicts.iter().chain(&["not_counted"]) {
            counts
                .readings
                .entry((station.station.clone(), verdict))
                .or_default();
        }
        for result in ["ok", "off"] {
            counts
                .zeros
                .entry((station.station.clone(), result))
                .or_default();
        }
        counts.retracted.entry(station.station.clone()).or_default();
        counts.restored.entry(station.station.clone()).or_default();
        counts.doubted.entry(station.station.clone()).or_default();
        counts.crimps.entry(station.station.clone()).or_default();
    }
    for instrument in &status.state.instruments {
        counts
            .unread_bytes
            .entry(instrument.instrument.clone())
            .or_default();
    }
    counts
}

fn syncs(text: &mut Text, meter: &Meter) {
    let name = "tallyjaw_journal_sync_seconds";
    let syncs = meter.syncs();
    text.family(
        name,
        "histogram",
        "How long it took to write entries and make them durable.",
    );
    text.unit(name, "seconds");
    let bucket = format!("{name}_bucket");
    for (edge, count) in EDGES_MICROS.iter().zip(syncs.up_to) {
        text.sample(&bucket, &[("le", &seconds(*edge))], count);
    }
    text.sample(&bucket, &[("le", "+Inf")], syncs.count);
    text.sample(&format!("{name}_sum"), &[], seconds(syncs.sum_micros));
    text.sample(&format!("{name}_count"), &[], syncs.count);
}

/// Microseconds as seconds, with at least one decimal: `2500` is `0.0025`.
fn seconds(micros: u64) -> String {
    let text = format!("{}.{:06}", micros / 1_000_000, micros % 1_000_000);
    let short = text.trim_end_matches('0');
    if short.ends_with('.') {
        format!("{short}0")
    } else {
        short.to_owned()
    }
}

/// Text that is being written.
#[derive(Default)]
struct Text(String);

impl Text {
    fn family(&mut self, name: &str, kind: &str, help: &str) {
        // Writing to a String cannot fail, here and below.
        let _ = write!(self.0, "# TYPE {name} {kind}\n# HELP {name} {help}\n");
    }

    fn unit(&mut self, name: &str, unit: &str) {
        let _ = writeln!(self.0, "# UNIT {name} {unit}");
    }

    fn sample(&mut self, name: &str, labels: &[(&str, &str)], value: impl Display) {
        self.0.push_str(name);
        for (index, (label, text)) in labels.iter().enumerate() {
            let before = if index == 0 { '{' } else { ',' };
            let text = text
                .replace('\\', "\\\\")
                .replace('"', "\\\"")
                .replace('\n', "\\n");
            let _ = write!(self.0, "{before}{label}=\"{text}\"");
        }
        let after = if labels.is_empty() { "" } else { "}" };
        let _ = writeln!(self.0, "{after} {value}");
    }

    fn end(mut self) -> String {
        self.0.push_str("# EOF\n");
        self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn microseconds_are_written_as_seconds_to_the_last_digit() {
        for (micros, text) in [
            (0, "0.0"),
            (500, "0.0005"),
            (1_000_000, "1.0"),
            (9_003_502, "9.003502"),
        ] {
            assert_eq!(seconds(micros), text);
        }
    }

    #[test]
    fn a_label_cannot_end_its_line() {
        let mut text = Text::default();
        text.sample("x", &[("a", "q\"\\\n")], 1);
        assert_eq!(text.0, "x{a=\"q\\\"\\\\\\n\"} 1\n");
    }
}
