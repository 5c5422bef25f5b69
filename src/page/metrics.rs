//! Writes counts and states as `OpenMetrics` text, or as the text format of Prometheus where a scraper prefers that.
//!
//! Times are whole microseconds until they are written. No float is used.

use super::accept::{self, Media};
use super::guard::Refusal;
use super::meter::{Counts, EDGES_MICROS, Meter};
use crate::clients::{Health, Live};
use crate::message::metrics::{FAMILIES, Family};
use crate::message::production::ProductionMessage;
use crate::message::reply::{SinkStatus, Status};
use crate::quantity::WallMicros;
use crate::spec::Verdict;
use axum::http::header::ACCEPT;
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use std::fmt::{Display, Write as _};

/// The form of the text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Form {
    /// `OpenMetrics` 1.0.
    Open,
    /// The text format of Prometheus, 0.0.4: no units, no end, and names of families are those of samples.
    Plain,
}

/// In the order of [`SERVED`].
const FORMS: [Form; 2] = [Form::Open, Form::Plain];

/// The first one is served where a client prefers none. No name has a letter that would have to be escaped, so any way of
/// escaping is met.
const SERVED: [Media; 2] = [
    Media {
        kind: "application",
        subtype: "openmetrics-text",
        parameters: &[("version", "1.0.0"), ("charset", "utf-8")],
        any: &["escaping"],
    },
    Media {
        kind: "text",
        subtype: "plain",
        parameters: &[("version", "0.0.4"), ("charset", "utf-8")],
        any: &["escaping"],
    },
];

impl Form {
    /// The form that a client prefers; `None` if it accepts neither.
    pub(super) fn accepted(headers: &HeaderMap) -> Option<Self> {
        let at = accept::chosen(headers, &SERVED)?;
        FORMS.get(at).copied()
    }

    /// The answer to a client that accepts neither: RFC 9110, section 15.5.7.
    pub(super) fn none_accepted(headers: &HeaderMap) -> Refusal {
        let got = headers.get(ACCEPT).map(HeaderValue::as_bytes);
        let got: String = String::from_utf8_lossy(got.unwrap_or_default())
            .chars()
            .take(200)
            .collect();
        Refusal::new(
            StatusCode::NOT_ACCEPTABLE,
            format!(
                "got Accept: {got:?}, want {} or {}",
                Self::Open.content_type(),
                Self::Plain.content_type()
            ),
            "leave Accept out, or send Accept: */*",
        )
    }

    pub(super) const fn content_type(self) -> &'static str {
        match self {
            Self::Open => "application/openmetrics-text; version=1.0.0; charset=utf-8",
            Self::Plain => "text/plain; version=0.0.4; charset=utf-8",
        }
    }
}

/// Numbers of connected clients.
#[derive(Debug, Clone, Copy)]
pub(super) struct Clients {
    pub(super) feed: usize,
    pub(super) events: usize,
}

/// The whole text of the metrics, with its end.
pub(super) fn text(live: &Live, meter: &Meter, clients: Clients, form: Form) -> String {
    let mut text = Text {
        form,
        said: String::new(),
    };
    let status = live.status();
    let counts = with_what_did_not_come(meter.counts(), &status);
    text.family("tallyjaw_build");
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
    text.family("tallyjaw_readings");
    for ((station, verdict), count) in &counts.readings {
        let labels = [("station", station.as_str()), ("verdict", verdict)];
        text.sample("tallyjaw_readings_total", &labels, count);
    }
    text.family("tallyjaw_zeros");
    for ((station, result), count) in &counts.zeros {
        let labels = [("station", station.as_str()), ("result", result)];
        text.sample("tallyjaw_zeros_total", &labels, count);
    }
    let by_station = [
        ("tallyjaw_retracted_readings", &counts.retracted),
        ("tallyjaw_restored_readings", &counts.restored),
        ("tallyjaw_doubted_readings", &counts.doubted),
        ("tallyjaw_crimps", &counts.crimps),
    ];
    for (name, counts) in by_station {
        text.family(name);
        for (station, count) in counts {
            text.sample(&format!("{name}_total"), &[("station", station)], count);
        }
    }
    text.family("tallyjaw_alerts");
    for ((station, rule), count) in &counts.alerts {
        let labels = [("station", station.as_str()), ("rule", rule)];
        text.sample("tallyjaw_alerts_total", &labels, count);
    }
    text.family("tallyjaw_unread_bytes");
    for (instrument, bytes) in &counts.unread_bytes {
        text.sample(
            "tallyjaw_unread_bytes_total",
            &[("instrument", instrument)],
            bytes,
        );
    }
}

/// Name of a family, and its value for a station.
type StationFamily = (&'static str, fn(&ProductionMessage) -> u64);

/// Writes the state of the production runs of each station.
fn production(text: &mut Text, status: &Status) {
    let families: [StationFamily; 4] = [
        ("tallyjaw_run_open", |known| u64::from(known.open.is_some())),
        ("tallyjaw_sample_due", |known| {
            u64::from(known.open.as_ref().is_some_and(|run| run.due))
        }),
        ("tallyjaw_open_crimps", |known| {
            known.open.as_ref().map_or(0, |run| run.open)
        }),
        ("tallyjaw_held_crimps", |known| {
            known.holds.iter().map(|hold| hold.left).sum()
        }),
    ];
    for (name, value) in families {
        text.family(name);
        for station in &status.state.stations {
            let labels = [("station", station.station.as_str())];
            let now = station.production.as_ref().map_or(0, value);
            text.sample(name, &labels, now);
        }
    }
}

/// Writes the state of the journal.
fn journal(text: &mut Text, live: &Live, meter: &Meter) {
    text.family("tallyjaw_journal_waiting_entries");
    text.sample("tallyjaw_journal_waiting_entries", &[], meter.waiting());
    text.family("tallyjaw_journal_last_entry");
    text.sample("tallyjaw_journal_last_entry", &[], live.last());
    let health = live.health();
    text.family("tallyjaw_journal_failed");
    text.sample(
        "tallyjaw_journal_failed",
        &[],
        u8::from(health == Health::Failed),
    );
    text.family("tallyjaw_journal_full");
    text.sample(
        "tallyjaw_journal_full",
        &[],
        u8::from(health == Health::Full),
    );
    text.family("tallyjaw_journal_stalled_seconds");
    text.sample(
        "tallyjaw_journal_stalled_seconds",
        &[],
        health.stalled_seconds().unwrap_or_default(),
    );
}

fn connected(text: &mut Text, status: &Status, clients: Clients) {
    text.family("tallyjaw_instrument_up");
    for known in &status.state.instruments {
        let labels = [
            ("station", known.station.as_str()),
            ("instrument", &known.instrument),
        ];
        text.sample("tallyjaw_instrument_up", &labels, u8::from(known.attached));
    }
    text.family("tallyjaw_clients");
    text.sample("tallyjaw_clients", &[("of", "feed")], clients.feed);
    text.sample("tallyjaw_clients", &[("of", "events")], clients.events);
}

/// Name of the samples of a family, and its value for a sink.
type SinkFamily = (&'static str, fn(&SinkStatus) -> u64);

/// Writes the state of the sinks.
fn sinks(text: &mut Text, sinks: &[SinkStatus]) {
    let families: [SinkFamily; 5] = [
        ("tallyjaw_sink_failing", |sink| {
            u64::from(sink.failing.is_some())
        }),
        ("tallyjaw_sink_behind_entries", |sink| sink.behind),
        ("tallyjaw_sink_last_entry", |sink| sink.after),
        ("tallyjaw_sink_failures_total", |sink| sink.failures),
        ("tallyjaw_sink_recoveries_total", |sink| sink.recoveries),
    ];
    for (name, value) in families {
        text.family(name.trim_end_matches("_total"));
        for sink in sinks {
            let labels = [("sink", sink.sink.as_str()), ("kind", &sink.kind)];
            text.sample(name, &labels, value(sink));
        }
    }
    let name = "tallyjaw_sink_recovered_timestamp_seconds";
    text.family(name);
    for sink in sinks {
        let labels = [("sink", sink.sink.as_str()), ("kind", &sink.kind)];
        if let Some(at) = recovered_at(sink) {
            text.sample(name, &labels, seconds(at));
        }
    }
}

/// When the last failure was over, in microseconds since 1970.
fn recovered_at(sink: &SinkStatus) -> Option<u64> {
    let until: WallMicros = sink.recovered.as_ref()?.until.parse().ok()?;
    u64::try_from(until.0).ok()
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
    text.family(name);
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
struct Text {
    form: Form,
    said: String,
}

impl Text {
    /// Begins a family of [`FAMILIES`].
    fn family(&mut self, name: &str) {
        let Some(family) = FAMILIES.iter().find(|family| family.name == name) else {
            return; // A test compares what is scraped with the table.
        };
        let Family { kind, help, .. } = family;
        let said = &mut self.said;
        // Writing to a String cannot fail, here and below.
        match self.form {
            Form::Open => {
                let _ = write!(said, "# TYPE {name} {kind}\n# HELP {name} {help}\n");
                if let Some(unit) = family.unit {
                    let _ = writeln!(said, "# UNIT {name} {unit}");
                }
            }
            Form::Plain => {
                let (end, kind) = match *kind {
                    "counter" => ("_total", "counter"),
                    "info" => ("_info", "gauge"), // this format has no infos
                    other => ("", other),
                };
                let _ = write!(
                    said,
                    "# HELP {name}{end} {help}\n# TYPE {name}{end} {kind}\n"
                );
            }
        }
    }

    fn sample(&mut self, name: &str, labels: &[(&str, &str)], value: impl Display) {
        let said = &mut self.said;
        said.push_str(name);
        for (index, (label, text)) in labels.iter().enumerate() {
            let before = if index == 0 { '{' } else { ',' };
            let text = text
                .replace('\\', "\\\\")
                .replace('"', "\\\"")
                .replace('\n', "\\n");
            let _ = write!(said, "{before}{label}=\"{text}\"");
        }
        let after = if labels.is_empty() { "" } else { "}" };
        let _ = writeln!(said, "{after} {value}");
    }

    fn end(mut self) -> String {
        if self.form == Form::Open {
            self.said.push_str("# EOF\n");
        }
        self.said
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
        let mut text = Text {
            form: Form::Open,
            said: String::new(),
        };
        text.sample("x", &[("a", "q\"\\\n")], 1);
        assert_eq!(text.said, "x{a=\"q\\\"\\\\\\n\"} 1\n");
    }
}
