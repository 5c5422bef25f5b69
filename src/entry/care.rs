//! What entries amount to for the care of instruments and tools: verifications, and crimps counted.

use super::state::{SeriesState, State};
use super::{Completed, Outcome};
use crate::quantity::WallMicros;
use crate::spec::{ArmedSubject, Verified};

/// A tool and its nest.
pub(super) type Crimping = (String, Option<String>);

impl State {
    /// Remembers what came out if the series that is closed verified an instrument.
    pub(super) fn verify(&mut self, at: WallMicros, completed: &Completed) {
        let open = self.stations.get(&completed.station);
        let series = open.and_then(|station| station.series.as_ref());
        let Some(series) = series.filter(|series| series.id == completed.series) else {
            return;
        };
        let says_nothing = completed.outcome == Outcome::CutShort && completed.tally.failed == 0;
        if !matches!(series.spec.subject, ArmedSubject::Blocks(_)) || says_nothing {
            return;
        }
        let verified = Verified {
            series: completed.series.0,
            at,
            accepted: completed.outcome == Outcome::Accepted,
        };
        let names = series
            .spec
            .instruments
            .iter()
            .map(|known| known.name.clone());
        for name in names.collect::<Vec<_>>() {
            self.instruments.entry(name).or_default().verified = Some(verified);
        }
    }

    /// Counts a crimp.
    pub(super) fn crimp(&mut self, (tool, nest): Crimping) {
        let tool = self.tools.entry(tool).or_default();
        tool.crimps = tool.crimps.saturating_add(1);
        if let Some(nest) = nest {
            let nest = tool.nests.entry(nest).or_default();
            *nest = nest.saturating_add(1);
        }
    }
}

impl SeriesState {
    /// The tool that has made one more crimp, if a counted reading of `piece` is the first to show it.
    ///
    /// A series armed without a count is not counted: it is from a journal older than counting,
    /// whose segments hold states without tools, and these still follow from its entries.
    pub(super) fn crimped_with(&mut self, piece: u32) -> Option<Crimping> {
        let own = self.spec.purpose.is_of_own_crimps();
        let tool = self.spec.tool.as_ref().filter(|_| own)?;
        tool.crimps?;
        let crimping = (tool.id.clone(), tool.nest.clone());
        self.crimped.insert(piece).then_some(crimping)
    }
}
