//! Production runs at the bench: crimps that are counted, samples that become due, held crimps that are settled.
//!
//! What follows from a sample (a run that opens or closes, crimps that are held) is decided by the fold
//! ([`crate::entry::production::fold`]) and only entered here.

use super::commands::checked_words;
use super::{Core, Refusal, Settling};
use crate::entry::production::fold::{Hold, OpenRun, Owed};
use crate::entry::{Crimped, Means, SampleDue, Seq, Settled};
use crate::quantity::{Now, WallMicros};
use std::time::Duration;

/// The most crimps that a person counts at once; more is a slip of the hand.
pub(super) const MOST_CRIMPS: u32 = 100_000;

impl Core {
    /// Enters crimps that a person counted.
    pub(super) fn count_crimps(
        &mut self,
        now: Now,
        station: Option<String>,
        crimps: u32,
        by: Means,
    ) -> Result<Seq, Refusal> {
        let station = self.station_named(station)?;
        if !(1..=MOST_CRIMPS).contains(&crimps) {
            return Err(Refusal::Crimps { got: crimps });
        }
        Ok(self.append_crimps(now, station, crimps, None, Some(by)))
    }

    /// Enters crimps for the open run of the station, if one is open.
    pub(super) fn append_crimps(
        &mut self,
        now: Now,
        station: String,
        crimps: u32,
        instrument: Option<String>,
        by: Option<Means>,
    ) -> Seq {
        let crimped = Crimped {
            run: self.open_run(&station).map(|run| run.id),
            station,
            crimps,
            instrument,
            by,
        };
        self.append(now, crimped)
    }

    fn open_run(&self, station: &str) -> Option<&OpenRun> {
        self.state.stations.get(station)?.production.run.as_ref()
    }

    /// Enters what a person decided about held crimps.
    pub(super) fn settle(
        &mut self,
        now: Now,
        station: Option<String>,
        decision: Settling,
    ) -> Result<Seq, Refusal> {
        let station = self.station_named(station)?;
        checked_words("a reason", &decision.reason)?;
        let known = self.state.stations.get(&station);
        let holds = known.into_iter().flat_map(|known| &known.production.holds);
        let holds: Vec<(Seq, &Hold)> = holds.map(|(by, hold)| (*by, hold)).collect();
        let listed = || holds.iter().map(|(by, hold)| (*by, hold.left())).collect();
        let (by, hold) = match (decision.held, holds.as_slice()) {
            (_, []) => return Err(Refusal::NothingHeld { station }),
            (None, [only]) => *only,
            (None, _) => {
                let known = listed();
                return Err(Refusal::WhichHeld { station, known });
            }
            (Some(got), all) => {
                let named = all.iter().find(|(by, _)| *by == got).copied();
                named.ok_or_else(|| Refusal::NotHeld {
                    got,
                    known: listed(),
                })?
            }
        };
        let (run, left) = (hold.run, hold.left());
        let crimps = decision.crimps.unwrap_or(left);
        if !(1..=left).contains(&crimps) {
            return Err(Refusal::NotThatMany {
                got: crimps,
                held: by,
                left,
            });
        }
        let settled = Settled {
            run,
            held: by,
            crimps,
            settlement: decision.settlement,
            reason: decision.reason,
            operator: known.and_then(|known| known.operator.clone()),
            by: decision.by,
            station,
        };
        Ok(self.append(now, settled))
    }

    /// Enters what the last sample causes: held crimps, a run that closes, a run that opens.
    pub(super) fn append_owed(&mut self, now: Now, station: &str) {
        while let Some(owed) = self.owed(station) {
            match owed {
                Owed::Hold(held) => self.append_one(now, held),
                Owed::Close(closed) => self.append_one(now, closed),
                Owed::Open(opened) => self.append_one(now, opened),
            };
        }
    }

    fn owed(&self, station: &str) -> Option<Owed> {
        let station = self.state.stations.get(station)?;
        station.production.owed.front().cloned()
    }

    /// Enters each sample that has become due by time.
    pub(super) fn append_due_samples(&mut self, now: Now) {
        if self.sample_due_at.is_none_or(|at| at > now.mono) {
            return;
        }
        let due: Vec<SampleDue> = self
            .timed_runs()
            .filter(|(_, _, due_at)| *due_at <= now.wall)
            .map(|(station, run, _)| SampleDue {
                station: station.clone(),
                run: run.id,
                reason: format!(
                    "the last good sample was at least {} minutes ago",
                    run.settings.every_minutes.unwrap_or_default()
                ),
            })
            .collect();
        for entry in due {
            self.append(now, entry);
        }
        self.schedule_next_sample(now);
    }

    /// Computes when the next sample becomes due by time.
    pub(super) fn schedule_next_sample(&mut self, now: Now) {
        let waits = self.timed_runs().map(|(_, _, due_at)| {
            let left = u64::try_from(due_at.0.saturating_sub(now.wall.0)).unwrap_or_default();
            // At least a millisecond, so that a clock that was set cannot make the core spin.
            Duration::from_micros(left).max(Duration::from_millis(1))
        });
        let soonest = waits.min();
        self.sample_due_at = soonest.map(|wait| now.mono.plus(wait));
    }

    /// Open runs whose next sample becomes due by time and is not due yet, with that time.
    fn timed_runs(&self) -> impl Iterator<Item = (&String, &OpenRun, WallMicros)> {
        let stations = self.state.stations.iter();
        stations.filter_map(|(name, station)| {
            let run = station.production.run.as_ref()?;
            let due_at = run.due_at().filter(|_| !run.time_due)?;
            Some((name, run, due_at))
        })
    }
}
