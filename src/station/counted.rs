//! Crimps that a counter counts, entered at most once a second.
//!
//! The first crimp after a pause is entered at once; those that follow within a second are entered together. Before a
//! reading counts, or a series is opened or closed, all crimps counted at the station are entered, because a sample
//! vouches only for the crimps before it. A kill loses at most the crimps of the last second.

use super::Core;
use crate::entry::{Entry, FrameEntry, SeriesEntry};
use crate::quantity::{MonoMicros, Now};
use std::time::Duration;

/// Crimps within this time after an entry are entered together.
const BATCH: Duration = Duration::from_secs(1);

/// The crimps of a counter that are not entered yet.
#[derive(Debug, Default)]
pub(super) struct Counted {
    crimps: u32,
    entered: Option<MonoMicros>,
}

impl Counted {
    pub(super) fn add(&mut self, crimps: u32) {
        self.crimps = self.crimps.saturating_add(crimps);
    }

    /// The time at which the crimps must be entered; `None` if there are none.
    pub(super) fn due_at(&self) -> Option<MonoMicros> {
        let entered = self.entered.unwrap_or(MonoMicros(0));
        (self.crimps > 0).then(|| entered.plus(BATCH))
    }

    /// Whether the crimps must be entered now.
    fn is_due(&self, now: MonoMicros) -> bool {
        let due_at = self.due_at();
        due_at.is_some_and(|due_at| self.entered.is_none() || due_at <= now)
    }

    /// Takes the crimps out, to be entered now.
    pub(super) fn take(&mut self, now: MonoMicros) -> u32 {
        if self.crimps > 0 {
            self.entered = Some(now);
        }
        std::mem::take(&mut self.crimps)
    }
}

impl Core {
    /// Enters the crimps of this counter, if a second has passed since the last entry.
    pub(super) fn enter_counted(&mut self, now: Now, name: &str) {
        let live = self.signals.get_mut(name);
        if live.is_some_and(|live| live.counted().is_due(now.mono)) {
            self.enter_all_counted(now, name);
        }
    }

    /// Enters the crimps of this counter at once.
    pub(super) fn enter_all_counted(&mut self, now: Now, name: &str) {
        let Some(live) = self.signals.get_mut(name) else {
            return;
        };
        let station = live.station().to_owned();
        let crimps = live.counted().take(now.mono);
        if crimps > 0 {
            let counter = Some(name.to_owned());
            self.append_crimps(now, station, crimps, counter, None);
        }
    }

    /// Enters the crimps counted at the station before an entry that decides about them.
    pub(super) fn enter_counted_before(&mut self, now: Now, entry: &Entry) {
        let station = match entry {
            Entry::Frame(FrameEntry::Reading(reading)) => &*reading.station,
            Entry::Series(SeriesEntry::Armed(spec)) => &spec.station,
            Entry::Series(SeriesEntry::Completed(completed)) => &completed.station,
            Entry::Journal(_)
            | Entry::Port(_)
            | Entry::Said(_)
            | Entry::Frame(_)
            | Entry::Series(_)
            | Entry::Production(_) => return,
        };
        let here = self.signals.iter();
        let here = here.filter(|(_, live)| live.station() == station);
        let names: Vec<String> = here.map(|(name, _)| name.clone()).collect();
        for name in names {
            self.enter_all_counted(now, &name);
        }
    }
}
