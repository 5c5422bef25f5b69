//! Keeps verifications of instruments and crimp counts of tools in the state.

use super::state::{SeriesState, State};
use super::{Completed, Outcome};
use crate::quantity::WallMicros;
use crate::spec::{ArmedSubject, Verified};

/// Id of a tool, and its nest where it has several.
pub(super) type Crimping = (String, Option<String>);

impl State {
    /// Stores the result, if the closed series verified an instrument.
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

    /// Adds a crimp to the tool and its nest.
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
    /// The tool and nest to count a crimp for, if this counted reading is the first of `piece`.
    ///
    /// A series armed without a count adds none. It is from a release that did not count, and the states in its
    /// segments have no tools; they must still follow from its entries.
    pub(super) fn crimped_with(&mut self, piece: u32) -> Option<Crimping> {
        let own = self.spec.purpose.is_of_own_crimps();
        let tool = self.spec.tool.as_ref().filter(|_| own)?;
        tool.crimps?;
        let crimping = (tool.id.clone(), tool.nest.clone());
        self.crimped.insert(piece).then_some(crimping)
    }
}
