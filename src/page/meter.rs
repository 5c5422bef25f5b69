//! Counts for metrics, since the daemon started. Counting never delays anything.

use crate::entry::{Entry, FrameEntry, ProductionEntry, SeriesEntry, Stamped, Standing};
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// Upper bounds of the classes of sync times, in microseconds: from a fast SSD to a failing disk.
pub(super) const EDGES_MICROS: [u64; 11] = [
    500, 1_000, 2_500, 5_000, 10_000, 25_000, 50_000, 100_000, 250_000, 1_000_000, 5_000_000,
];

/// The counts of a daemon.
#[derive(Debug, Default)]
pub struct Meter {
    classes: [AtomicU64; EDGES_MICROS.len()],
    syncs: AtomicU64,
    sync_micros: AtomicU64,
    waiting: AtomicU64,
    counts: Mutex<Counts>,
}

/// Counts of entries.
#[derive(Debug, Clone, Default)]
pub(super) struct Counts {
    /// By station and verdict, or `not_counted`.
    pub(super) readings: BTreeMap<(String, &'static str), u64>,
    /// By station and whether it was good.
    pub(super) zeros: BTreeMap<(String, &'static str), u64>,
    /// By instrument.
    pub(super) unread_bytes: BTreeMap<String, u64>,
    /// By station.
    pub(super) retracted: BTreeMap<String, u64>,
    pub(super) restored: BTreeMap<String, u64>,
    /// By station.
    pub(super) doubted: BTreeMap<String, u64>,
    /// By station.
    pub(super) crimps: BTreeMap<String, u64>,
    /// By station and rule.
    pub(super) alerts: BTreeMap<(String, String), u64>,
}

/// Sync times by class.
#[derive(Debug, Clone, Copy)]
pub(super) struct Syncs {
    /// Number of syncs that took no longer than each bound.
    pub(super) up_to: [u64; EDGES_MICROS.len()],
    pub(super) count: u64,
    pub(super) sum_micros: u64,
}

impl Meter {
    /// Counts a write and sync of the journal, which took this time.
    pub fn synced(&self, took: Duration) {
        let micros = u64::try_from(took.as_micros()).unwrap_or(u64::MAX);
        let class = EDGES_MICROS.iter().position(|edge| micros <= *edge);
        if let Some(class) = class.and_then(|class| self.classes.get(class)) {
            class.fetch_add(1, Ordering::Relaxed);
        }
        self.sync_micros.fetch_add(micros, Ordering::Relaxed);
        self.syncs.fetch_add(1, Ordering::Relaxed);
    }

    /// Sets the number of entries that wait for the disk.
    pub fn set_waiting(&self, entries: usize) {
        let entries = u64::try_from(entries).unwrap_or(u64::MAX);
        self.waiting.store(entries, Ordering::Relaxed);
    }

    pub(super) fn waiting(&self) -> u64 {
        self.waiting.load(Ordering::Relaxed)
    }

    pub(super) fn syncs(&self) -> Syncs {
        let count = self.syncs.load(Ordering::Relaxed);
        let mut up_to = [0; EDGES_MICROS.len()];
        let mut sum: u64 = 0;
        for (so_far, class) in up_to.iter_mut().zip(&self.classes) {
            sum = sum.saturating_add(class.load(Ordering::Relaxed));
            *so_far = sum;
        }
        Syncs {
            up_to,
            // A sync that was counted between the two loads is in its class already.
            count: count.max(sum),
            sum_micros: self.sync_micros.load(Ordering::Relaxed),
        }
    }

    /// Nothing can fail while the lock is held, so a poisoned lock still protects valid data.
    fn lock(&self) -> MutexGuard<'_, Counts> {
        self.counts.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn counts(&self) -> Counts {
        self.lock().clone()
    }

    /// Counts a durable entry.
    pub(super) fn count(&self, stamped: &Stamped) {
        let mut counts = self.lock();
        let counts = &mut *counts;
        match &stamped.entry {
            Entry::Journal(_) | Entry::Port(_) | Entry::Said(_) => {}
            Entry::Production(entry) => counts.production(entry),
            Entry::Frame(entry) => counts.frame(entry),
            Entry::Series(entry) => counts.series(entry),
        }
    }
}

impl Counts {
    fn frame(&mut self, entry: &FrameEntry) {
        match entry {
            FrameEntry::Zeroed(zeroed) => {
                let result = if zeroed.ok { "ok" } else { "off" };
                add(&mut self.zeros, (zeroed.station.clone(), result), 1);
            }
            FrameEntry::Reading(reading) => {
                let verdict = match (&reading.standing, reading.verdict()) {
                    (Standing::Counted, Some(verdict)) => verdict.name(),
                    (Standing::Counted | Standing::NotCounted { .. }, _) => "not_counted",
                };
                add(
                    &mut self.readings,
                    (reading.station.to_string(), verdict),
                    1,
                );
            }
            FrameEntry::Unread(unread) => {
                let bytes = unread.bytes;
                add(&mut self.unread_bytes, unread.instrument.clone(), bytes);
            }
        }
    }

    fn production(&mut self, entry: &ProductionEntry) {
        match entry {
            ProductionEntry::Crimped(crimped) => {
                let crimps = u64::from(crimped.crimps);
                add(&mut self.crimps, crimped.station.clone(), crimps);
            }
            ProductionEntry::RunOpened(_)
            | ProductionEntry::SampleDue(_)
            | ProductionEntry::Held(_)
            | ProductionEntry::Settled(_)
            | ProductionEntry::RunClosed(_) => {}
        }
    }

    fn series(&mut self, entry: &SeriesEntry) {
        match entry {
            SeriesEntry::Doubted(doubted) => {
                let readings = u64::try_from(doubted.readings.len()).unwrap_or(u64::MAX);
                add(&mut self.doubted, doubted.station.clone(), readings);
            }
            SeriesEntry::Retracted(body) => add(&mut self.retracted, body.station.clone(), 1),
            SeriesEntry::Restored(body) => add(&mut self.restored, body.station.clone(), 1),
            SeriesEntry::Alerted(alerted) => {
                let rule = (alerted.station.clone(), alerted.rule.clone());
                add(&mut self.alerts, rule, 1);
            }
            SeriesEntry::Armed(_)
            | SeriesEntry::Disarmed(_)
            | SeriesEntry::Completed(_)
            | SeriesEntry::Resumed(_)
            | SeriesEntry::ZeroDue(_)
            | SeriesEntry::Looked(_)
            | SeriesEntry::Pulled(_)
            | SeriesEntry::Pictured(_) => {}
        }
    }
}

fn add<K: Ord>(counts: &mut BTreeMap<K, u64>, key: K, more: u64) {
    let count = counts.entry(key).or_default();
    *count = count.saturating_add(more);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_of_sync_times_hold_all_that_took_no_longer() {
        let meter = Meter::default();
        for micros in [1, 500, 501, 2_500, 9_000_000] {
            meter.synced(Duration::from_micros(micros));
        }
        let syncs = meter.syncs();
        assert_eq!(syncs.up_to, [2, 3, 4, 4, 4, 4, 4, 4, 4, 4, 4]);
        assert_eq!((syncs.count, syncs.sum_micros), (5, 9_003_502));
    }
}
