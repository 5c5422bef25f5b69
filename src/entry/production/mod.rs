//! Production runs: their entries. The state that follows from them is in [`fold`].
//!
//! A production run is what was crimped between samples: a good first-off sample opens it, a good last-off closes it. It
//! has nothing to do with the run rules of charts ([`super::runs`]).

pub mod fold;
pub mod history;

use super::{Entry, JournalEntry, Means, ProductionEntry, Seq, Stamped, State};
use crate::quantity::named;
use crate::spec::{ProductionRun, Settlement};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A good first-off sample opened a production run. Its number is that of this entry.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RunOpened {
    /// Name of the station in the configuration.
    pub station: String,
    /// The series of the first-off sample.
    pub series: Seq,
    /// Its `[[run]]` in the configuration, as it was when the sample was armed.
    #[serde(rename = "production_run", with = "RunForm")]
    #[schemars(with = "RunForm")]
    pub settings: ProductionRun,
}

/// Crimps were counted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Crimped {
    /// Name of the station in the configuration.
    pub station: String,
    /// The open production run; `None` if none was open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<Seq>,
    /// Number of crimps since the last such entry.
    pub crimps: u32,
    /// The counter that counted them; `None` if a person gave the number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument: Option<String>,
    /// How a person gave the number; `None` if a counter counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<Means>,
}

/// A sample became due by time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SampleDue {
    /// Name of the station in the configuration.
    pub station: String,
    /// The open production run.
    pub run: Seq,
    /// Why a sample is due, in words.
    pub reason: String,
}

/// Crimps of a production run are held: no good sample vouches for them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Held {
    /// Name of the station in the configuration.
    pub station: String,
    /// The production run.
    pub run: Seq,
    /// The series that caused it.
    pub series: Seq,
    /// Number of the first crimp in the run, from 1.
    #[serde(rename = "first_crimp")]
    pub first: u64,
    /// Number of the last crimp.
    #[serde(rename = "last_crimp")]
    pub last: u64,
    /// Why they are held.
    pub cause: HoldCause,
}

impl Held {
    /// How many crimps.
    pub const fn size(&self) -> u64 {
        fold::size(self.first, self.last)
    }
}

named! {
    /// Why crimps are held.
    pub enum HoldCause {
        /// A bad sample: these are the crimps since the last good one.
        BadSample = "bad_sample",
        /// They were counted between a bad sample and the next good one.
        AfterBadSample = "after_bad_sample",
        /// The run was closed after the last good sample that could vouch for them.
        NotSampled = "not_sampled",
    }
}

/// A person decided what becomes of held crimps.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Settled {
    /// Name of the station in the configuration.
    pub station: String,
    /// The production run.
    pub run: Seq,
    /// The entry `held` that is settled, or a part of it.
    pub held: Seq,
    /// Number of crimps.
    pub crimps: u64,
    /// What becomes of them.
    pub settlement: Settlement,
    /// The person's reason.
    pub reason: String,
    /// The operator of the station; `None` if nobody was named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<String>,
    /// How the command was given.
    pub by: Means,
}

/// A production run was closed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RunClosed {
    /// Name of the station in the configuration.
    pub station: String,
    /// The production run.
    pub run: Seq,
    /// The series that caused it.
    pub series: Seq,
    /// What closed it.
    #[serde(rename = "closed_by")]
    pub end: RunEnd,
}

named! {
    /// What closed a production run.
    pub enum RunEnd {
        /// A good last-off sample.
        LastOff = "last_off",
        /// A good first-off sample of another run at the same station.
        AnotherRun = "another_run",
    }
}

impl Entry {
    /// The production run that the entry is about.
    pub fn run(&self) -> Option<Seq> {
        let Self::Production(entry) = self else {
            return None;
        };
        match entry {
            ProductionEntry::RunOpened(_) => None,
            ProductionEntry::Crimped(body) => body.run,
            ProductionEntry::SampleDue(body) => Some(body.run),
            ProductionEntry::Held(body) => Some(body.run),
            ProductionEntry::Settled(body) => Some(body.run),
            ProductionEntry::RunClosed(body) => Some(body.run),
        }
    }
}

impl State {
    /// A production run depends on every entry of its station, and on changes of the clock.
    pub(super) fn produce(&mut self, stamped: &Stamped) {
        match (&stamped.entry, stamped.entry.station()) {
            (Entry::Production(_) | Entry::Series(_), Some(station)) => {
                self.station(station).production.apply(stamped);
            }
            (Entry::Frame(_), Some(station)) => {
                if let Some(station) = self.stations.get_mut(station) {
                    station.production.apply(stamped);
                }
            }
            (Entry::Journal(JournalEntry::ClockStepped(_)), _) => {
                for station in self.stations.values_mut() {
                    station.production.apply(stamped);
                }
            }
            (
                Entry::Journal(_)
                | Entry::Port(_)
                | Entry::Said(_)
                | Entry::Frame(_)
                | Entry::Series(_)
                | Entry::Production(_),
                _,
            ) => {}
        }
    }
}

/// A production run's settings on disk.
#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(remote = "ProductionRun")]
#[schemars(rename = "ProductionRun")]
pub(super) struct RunForm {
    id: String,
    first_off: String,
    in_process: String,
    last_off: String,
    #[serde(
        rename = "sample_every_crimps",
        default,
        skip_serializing_if = "Option::is_none"
    )]
    every_crimps: Option<u32>,
    #[serde(
        rename = "sample_every_minutes",
        default,
        skip_serializing_if = "Option::is_none"
    )]
    every_minutes: Option<u32>,
}
