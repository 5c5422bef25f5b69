//! Appends, at the next start, an entry that the process owed when it was killed.
//!
//! A kill or power cut can fall between two entries that belong together: a zero that is off and the readings that it
//! puts in doubt; the last reading and the closing of its series; that closing and the next arming of a plan that
//! repeats, or what it means for a production run. Nobody was shown the second entry. But what follows from the journal must not depend on the moment at which
//! the power failed.

use super::Core;
use crate::entry::{Doubted, Seq};
use crate::quantity::Now;

impl Core {
    /// Appends what the journal still owes; after an orderly stop that is nothing.
    pub(super) fn catch_up(&mut self, now: Now) {
        let stations: Vec<_> = self.state.stations.keys().cloned().collect();
        for station in stations {
            let owed: Vec<_> = self.owed_doubts(&station);
            for doubted in owed {
                self.append(now, doubted);
            }
            self.append_owed(now, &station);
            self.complete_if_full(now, &station);
            self.arm_again(now, &station);
        }
    }

    /// Readings that an off zero puts in doubt, where their `doubted` entry is missing.
    fn owed_doubts(&self, station: &str) -> Vec<Doubted> {
        let Some(series) = self.series(station) else {
            return Vec::new();
        };
        let off = series.zeros.iter().filter(|(_, zero)| zero.off);
        off.filter_map(|(instrument, _)| {
            let readings: Vec<Seq> = series.unvouched(instrument);
            (!readings.is_empty()).then(|| Doubted {
                station: station.to_owned(),
                series: series.id,
                readings,
                reason: format!(
                    "the last zero of {instrument} was off, so the readings since its last good zero are in doubt"
                ),
            })
        })
        .collect()
    }
}
