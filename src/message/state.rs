//! The full state, sent first on the feed and as the answer to `status`.
//!
//! In: the state that follows from the durable entries, and the configuration. Out: one message. For each station it
//! gives the open series, the next action and the last reading.
//!
//! What is unknown is left out, never 0.

use super::VERSION;
use super::armed::{ArmedMessage, JobMessage, ToolMessage};
use super::production::ProductionMessage;
use crate::entry::Digits;
use crate::entry::state::{InstrumentState, StationState};
use crate::entry::{
    Counts, Outcome, Reading, RefusedSaying, Reservation, Seq, Standing, State, Tally, words,
};
use crate::quantity::Quantity;
use crate::spec::Catalog;
use crate::station::prompt::{Prompt, prompt, sentence};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// State that follows from the durable entries.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct StateMessage {
    /// Always `state`.
    pub kind: String,
    /// Version of the message.
    pub v: u32,
    /// Newest entry that the state includes; left out before the first.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub seq: Option<u64>,
    /// Stations of the configuration, then removed stations whose series is still open.
    pub stations: Vec<StationMessage>,
    /// Instruments of the configuration.
    pub instruments: Vec<InstrumentMessage>,
}

/// Open series, next action and last reading of a station.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct StationMessage {
    /// Name of the station.
    pub station: String,
    /// Operator; left out before one was named.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub operator: Option<String>,
    /// Crimp tool in use; left out before one was named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tool: Option<ToolMessage>,
    /// The job that the pieces are for, as it was set last.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<JobMessage>,
    /// The lot of the terminals in use.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub terminal_lot: Option<String>,
    /// The lot of the wire in use.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wire_lot: Option<String>,
    /// The last refused command, until another command or value comes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refused: Option<RefusedSaying>,
    /// Open series; left out if none is open.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub armed: Option<Box<ArmedMessage>>,
    /// Slot that is measured next; left out if something other than a reading is next.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next: Option<NextMessage>,
    /// Next action, in words.
    pub prompt: String,
    /// Next action, for programs: `arm`, `crimp`, `sample`, `connect`, `adapter`, `shared`, `zero`, `measure`, `look` or
    /// `pull_mode`. Also `wait`, while the disk does not answer (not at a broker), and `end` for a station that was
    /// removed from the configuration.
    pub prompt_kind: String,
    /// Production runs; left out where none is open, nothing is held, and no crimps were counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub production: Option<ProductionMessage>,
    /// Last reading, counted or not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last: Option<LastMessage>,
    /// Outcome of the last closed series.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outcome: Option<OutcomeMessage>,
}

/// Place for a reading: piece and axis.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct NextMessage {
    /// The piece, from 1.
    pub piece: u32,
    /// Name of the axis, such as `core_crimp_height`.
    pub axis: String,
}

/// A reading, for example the last one of a station.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct LastMessage {
    /// `seq` of its entry.
    pub seq: u64,
    /// Name of the instrument in the configuration.
    pub instrument: String,
    /// Value with the digits that the instrument showed.
    pub value: Digits,
    /// Unit that the instrument showed.
    pub unit: String,
    /// Length in nanometres.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value_nm: Option<i64>,
    /// Force in millinewtons.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value_mn: Option<i64>,
    /// Number of the series; left out if none was open.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub series: Option<u64>,
    /// Number of the piece, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub piece: Option<u32>,
    /// Name of the axis, such as `core_crimp_height`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub axis: Option<String>,
    /// Verdict; left out if the reading does not count.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub verdict: Option<String>,
    /// `counted` or `not_counted`, as decided when it was entered.
    pub standing: String,
    /// Why it does not count.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// Likely cause, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hint: Option<String>,
}

/// Outcome of a closed series.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct OutcomeMessage {
    /// `seq` of the entry `armed` that opened it.
    pub series: u64,
    /// `accepted`, `rejected`, `undecided`, `cut_short` or `measured`.
    pub outcome: String,
    /// Reservations, such as `calibration_overdue`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reservations: Vec<String>,
    /// Reservations in words: ` (calibration overdue)`.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub beside: String,
    /// Numbers of readings by verdict and disposition.
    pub tally: Tally,
    /// What a display shows of it; left out where its entry `completed` has none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counts: Option<Counts>,
}

/// Port and adapter of an instrument.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct InstrumentMessage {
    /// Name of the instrument.
    pub instrument: String,
    /// Name of the station in the configuration.
    pub station: String,
    /// Whether its port is open.
    pub attached: bool,
    /// Path of the open port.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub port: Option<String>,
    /// Line settings, such as `9600 8N1`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub line: Option<String>,
    /// Vendor, product and serial number that the adapter reports.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub identity: Option<String>,
    /// Socket that the adapter is plugged into.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub socket: Option<String>,
    /// Confirmed adapter, while another one is plugged in: no reading counts until a person confirms the new one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub adapter_meant: Option<String>,
    /// Other programs that have the port open: no reading counts while there are any.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rivals: Vec<String>,
    /// Why the port was last closed; left out while it is open.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub detached_because: Option<String>,
    /// Whether the operator announced that the next value is a zero.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub zero_said: bool,
}

impl StateMessage {
    /// The message for `state`, with all stations and instruments of `catalog`.
    pub fn new(state: &State, catalog: &Catalog) -> Self {
        let known = |name: &String| catalog.stations.contains(name);
        let open_elsewhere = state
            .stations
            .iter()
            .filter(|(name, station)| !known(name) && station.series.is_some())
            .map(|(name, _)| name);
        let stations = catalog.stations.iter().chain(open_elsewhere);
        Self {
            kind: "state".to_owned(),
            v: VERSION,
            seq: state.last.map(|seq| seq.0),
            stations: stations
                .map(|name| {
                    let text = StationMessage::new(state, name);
                    if known(name) { text } else { text.left() }
                })
                .collect(),
            instruments: instruments(state, catalog),
        }
    }

    /// Changes the prompts to waiting, because the disk has not answered for this many seconds and no reading can be
    /// shown.
    pub fn waits_for_disk(&mut self, seconds: u64) {
        for station in &mut self.stations {
            station.prompt = format!("wait: the disk has not answered for {seconds} s");
            "wait".clone_into(&mut station.prompt_kind);
        }
    }

    /// The station with this name.
    pub fn station(&self, name: &str) -> Option<&StationMessage> {
        self.stations.iter().find(|station| station.station == name)
    }
}

fn instruments(state: &State, catalog: &Catalog) -> Vec<InstrumentMessage> {
    let configured: BTreeSet<&str> = catalog
        .instruments
        .iter()
        .map(|instrument| instrument.name.as_str())
        .collect();
    let of_catalog = catalog
        .instruments
        .iter()
        .map(|known| InstrumentMessage::new(&known.name, &known.station, state));
    let attached_elsewhere = state
        .instruments
        .iter()
        .filter(|(name, known)| !configured.contains(name.as_str()) && known.attached.is_some())
        .map(|(name, known)| InstrumentMessage::new(name, &known.station, state));
    of_catalog.chain(attached_elsewhere).collect()
}

impl StationMessage {
    /// The message for the station `name`.
    pub fn new(state: &State, name: &str) -> Self {
        let nothing = StationState::default();
        let station = state.stations.get(name).unwrap_or(&nothing);
        let prompt = prompt(state, name);
        let next = prompt.slot().map(|slot| NextMessage {
            piece: slot.piece,
            axis: slot.axis.to_string(),
        });
        Self {
            station: name.to_owned(),
            operator: station.operator.clone(),
            tool: station.tool.as_ref().map(ToolMessage::in_hand),
            job: station.job.as_ref().map(JobMessage::new),
            terminal_lot: station.lots.terminal.clone(),
            wire_lot: station.lots.wire.clone(),
            refused: station.refused.clone(),
            armed: station
                .series
                .as_ref()
                .map(|series| Box::new(ArmedMessage::new(series))),
            next,
            prompt: sentence(state, name),
            prompt_kind: kind_of(&prompt).to_owned(),
            production: ProductionMessage::new(&station.production),
            last: station
                .last_reading
                .as_ref()
                .map(|(seq, reading)| LastMessage::new(*seq, reading)),
            outcome: station.last_outcome.map(|last| OutcomeMessage {
                counts: station.last_counts,
                ..OutcomeMessage::new(last, &station.last_reservations)
            }),
        }
    }
}

impl StationMessage {
    /// The message for a station that was removed from the configuration: its series can only be closed.
    fn left(self) -> Self {
        Self {
            prompt: left_open(&self.station),
            prompt_kind: "end".to_owned(),
            next: None,
            ..self
        }
    }
}

/// What to do about an open series at a station that was removed from the configuration.
pub fn left_open(station: &str) -> String {
    format!(
        "{station} is not in the configuration any more: end its series (tallyjaw disarm --station {station}), or put the station back"
    )
}

fn kind_of(prompt: &Prompt) -> &'static str {
    match prompt {
        Prompt::Arm => "arm",
        Prompt::Run(need) if need.is_now() => "sample",
        Prompt::Run(_) => "crimp",
        Prompt::Connect { .. } => "connect",
        Prompt::Adapter { .. } => "adapter",
        Prompt::Shared { .. } => "shared",
        Prompt::Zero { .. } => "zero",
        Prompt::Look { .. } => "look",
        Prompt::PullMode { .. } => "pull_mode",
        Prompt::Measure { .. } | Prompt::SetBlock { .. } => "measure",
    }
}

impl LastMessage {
    /// The message for the reading in entry `seq`.
    pub fn new(seq: Seq, reading: &Reading) -> Self {
        let slot = reading.slot.as_ref();
        let (reason, hint) = match &reading.standing {
            Standing::Counted => (None, None),
            Standing::NotCounted { reason, hint } => (Some(reason.name().to_owned()), hint.clone()),
        };
        let (value_nm, value_mn) = match reading.value.quantity() {
            Quantity::Length(length) => (Some(length.nanometres()), None),
            Quantity::Force(force) => (None, Some(force.millinewtons())),
        };
        Self {
            seq: seq.0,
            instrument: reading.instrument.to_string(),
            value: reading.value.digits().into(),
            unit: reading.value.unit().name().to_owned(),
            value_nm,
            value_mn,
            series: slot.map(|slot| slot.series.0),
            piece: slot.map(|slot| slot.piece),
            axis: slot.map(|slot| slot.axis.to_string()),
            verdict: slot
                .and_then(|slot| slot.verdict)
                .map(|verdict| verdict.name().to_owned()),
            standing: if reason.is_none() {
                "counted".to_owned()
            } else {
                "not_counted".to_owned()
            },
            reason,
            hint,
        }
    }
}

impl OutcomeMessage {
    fn new((series, outcome, tally): (Seq, Outcome, Tally), beside: &[Reservation]) -> Self {
        Self {
            series: series.0,
            outcome: outcome.name().to_owned(),
            reservations: beside.iter().map(|one| one.name().to_owned()).collect(),
            beside: words::beside(beside),
            tally,
            counts: None,
        }
    }
}

impl InstrumentMessage {
    fn new(name: &str, station: &str, state: &State) -> Self {
        let nothing = InstrumentState::default();
        let known = state.instruments.get(name).unwrap_or(&nothing);
        let attached = known.attached.as_ref();
        Self {
            instrument: name.to_owned(),
            station: station.to_owned(),
            attached: attached.is_some(),
            port: attached.map(|attached| attached.port.clone()),
            line: attached.map(|attached| attached.line.clone()),
            identity: attached.and_then(|attached| attached.identity.clone()),
            socket: attached.and_then(|attached| attached.socket.clone()),
            adapter_meant: known.another().map(|(was, _)| was),
            rivals: known.rivals.clone(),
            detached_because: known.detached_because.clone(),
            zero_said: known.zero_said,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::{Attached, Entry, Stamped};
    use crate::quantity::WallMicros;

    #[test]
    fn a_station_without_entries_prompts_to_arm_and_unknown_fields_are_left_out() {
        let catalog = Catalog {
            stations: vec!["bench-1".to_owned()],
            ..Catalog::default()
        };
        let message = StateMessage::new(&State::default(), &catalog);
        let json = serde_json::to_string(&message).unwrap();
        assert_eq!(
            json,
            r#"{"kind":"state","v":1,"stations":[{"station":"bench-1","prompt":"start a plan","prompt_kind":"arm"}],"instruments":[]}"#
        );
    }

    #[test]
    fn an_attached_instrument_is_in_the_state_and_the_message_reads_back() {
        let mut state = State::default();
        state.apply(&Stamped {
            token: None,
            seq: Seq(1),
            at: WallMicros(0),
            entry: Entry::from(Attached {
                instrument: "caliper-1".to_owned(),
                station: "bench-1".to_owned(),
                port: "/dev/ttyUSB0".to_owned(),
                line: "9600 8N1".to_owned(),
                identity: None,
                socket: None,
                ambiguous: false,
                read_by: None, // The core knows how it is read.
            }),
        });
        let message = StateMessage::new(&state, &Catalog::default());
        let json = serde_json::to_string(&message).unwrap();
        let back: StateMessage = serde_json::from_str(&json).unwrap();
        assert_eq!(back.instruments, message.instruments);
        assert!(back.instruments[0].attached);
        assert_eq!(back.seq, Some(1));
    }
}
