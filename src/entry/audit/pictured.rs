//! Checks that a picture belongs to a series and a piece that exist.
//!
//! The state knows only the pieces of the open series. For a closed series `verify` searches the whole journal.

use super::{Findings, shown};
use crate::entry::{Pictured, State};

impl Findings {
    pub(super) fn pictured(&mut self, before: &State, pictured: &Pictured) {
        let Pictured {
            station,
            series,
            piece,
            ..
        } = pictured;
        if before.last.is_none_or(|last| *series > last) {
            self.add("series", series.to_string(), "one that was opened before");
        }
        let open = before.stations.iter().find_map(|(name, known)| {
            let open = known.series.as_ref().filter(|open| open.id == *series)?;
            Some((name, open))
        });
        let Some((at, open)) = open else { return };
        self.compare("station", station, at, ToString::to_string);
        if let Some(piece) = piece
            && !open.has_measured(*piece)
        {
            self.add("piece", piece.to_string(), "one that was measured");
        }
        if open.pictures.len() >= crate::entry::MOST_PICTURES {
            let got = shown(&Some(open.pictures.len() + 1));
            self.add("pictures", got, crate::entry::MOST_PICTURES.to_string());
        }
    }
}
