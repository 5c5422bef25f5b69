//! Production runs: the plans that are their samples, and how soon a sample is due.
//!
//! A production run is what was crimped between samples. It has nothing to do with the run rules of charts.

use crate::quantity::named;
use std::time::Duration;

named! {
    /// The part of a sample in a production run.
    pub enum SampleRole {
        /// A good one opens the run.
        FirstOff = "first_off",
        /// A good one vouches for the crimps since the last good sample.
        InProcess = "in_process",
        /// A good one closes the run.
        LastOff = "last_off",
    }
}

named! {
    /// What became of held crimps, as a person decided.
    #[derive(PartialOrd, Ord)]
    pub enum Settlement {
        /// They are used as they are.
        Release = "release",
        /// They are worked over.
        Rework = "rework",
        /// They are thrown away.
        Scrap = "scrap",
    }
}

/// A `[[run]]` of the configuration.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProductionRun {
    /// Its id in the configuration.
    pub id: String,
    /// The plan whose good sample opens it.
    pub first_off: String,
    /// The plan of the samples in between.
    pub in_process: String,
    /// The plan whose good sample closes it.
    pub last_off: String,
    /// A sample is due after this many crimps; `None` if only by time.
    pub every_crimps: Option<u32>,
    /// A sample is due after this many minutes; `None` if only by crimps.
    pub every_minutes: Option<u32>,
}

/// What a series is a sample of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SampleOf {
    /// The production run, as it is configured at arming.
    pub run: ProductionRun,
    /// Its part in the run.
    pub role: SampleRole,
}

impl ProductionRun {
    /// The plan of this part.
    pub fn plan(&self, role: SampleRole) -> &str {
        match role {
            SampleRole::FirstOff => &self.first_off,
            SampleRole::InProcess => &self.in_process,
            SampleRole::LastOff => &self.last_off,
        }
    }

    /// The part of a plan in the run; `None` if it is no sample of it.
    pub fn role_of(&self, plan: &str) -> Option<SampleRole> {
        let mut roles = SampleRole::ALL.into_iter();
        roles.find(|role| self.plan(*role) == plan)
    }

    /// How long after the last good sample the next one is due; `None` if only by crimps.
    pub fn every(&self) -> Option<Duration> {
        let minutes = self.every_minutes?;
        Some(Duration::from_secs(u64::from(minutes).saturating_mul(60)))
    }
}
