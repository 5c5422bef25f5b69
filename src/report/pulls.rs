//! Pull forces by how the pulls failed: number, minimum and share of each mode.
//!
//! In: each counted force with its mode, if a person gave one. Out: a line for each mode that occurred, and one
//! sentence with the same content.

use crate::spec::PullMode;
use crate::stats::CONFIDENCE;
use crate::stats::proportion::Share;
use std::fmt::Write as _;

/// The assumption of the intervals.
pub(crate) const INTERVALS: &str = "intervals of shares: 95 % confidence, by Clopper and Pearson; they hold for pieces that are taken at random from one process";

/// Forces by mode, each with the place `P` of its reading.
#[derive(Debug)]
pub(crate) struct ByMode<P> {
    /// The modes that occurred, in the order of the vocabulary.
    pub(crate) modes: Vec<OfMode<P>>,
    /// Number of pulls without a mode.
    pub(crate) unanswered: u64,
    /// Number of pulls with a mode.
    pub(crate) answered: u64,
    /// The mode of the lowest force of all; `None` if that pull has no mode.
    lowest: Option<PullMode>,
}

/// The pulls of one mode.
#[derive(Debug)]
pub(crate) struct OfMode<P> {
    /// How they failed.
    pub(crate) mode: PullMode,
    /// Number of pulls.
    pub(crate) count: u64,
    /// Number of pulls below the lower limit; `None` without one.
    pub(crate) below: Option<u64>,
    /// The lowest force in base units, the first of several equal ones.
    pub(crate) base: i64,
    /// The place of that reading.
    pub(crate) place: P,
    /// Number of pulls with a mode.
    answered: u64,
}

impl<P> ByMode<P> {
    /// The forces (base units) in their order, against the lower limit in base units; `None` if no mode was said.
    pub(crate) fn of(
        forces: impl IntoIterator<Item = (Option<PullMode>, i64, P)>,
        lower: Option<i64>,
    ) -> Option<Self> {
        let mut modes: Vec<OfMode<P>> = Vec::new();
        let (mut unanswered, mut answered) = (0, 0);
        let mut lowest: Option<(i64, Option<PullMode>)> = None;
        for (mode, base, place) in forces {
            if lowest.is_none_or(|(least, _)| base < least) {
                lowest = Some((base, mode));
            }
            let Some(mode) = mode else {
                unanswered += 1;
                continue;
            };
            answered += 1;
            let is_below = lower.map(|lower| u64::from(base < lower));
            let Some(known) = modes.iter_mut().find(|known| known.mode == mode) else {
                modes.push(OfMode {
                    mode,
                    count: 1,
                    below: is_below,
                    base,
                    place,
                    answered: 0,
                });
                continue;
            };
            known.count += 1;
            known.below = known.below.zip(is_below).map(|(all, one)| all + one);
            if base < known.base {
                (known.base, known.place) = (base, place);
            }
        }
        modes.sort_by_key(|known| known.mode);
        for known in &mut modes {
            known.answered = answered;
        }
        (answered > 0).then_some(Self {
            modes,
            unanswered,
            answered,
            lowest: lowest?.1,
        })
    }

    /// The modes in one sentence, without a full stop.
    pub(crate) fn sentence(&self) -> String {
        let mut said = match self.lowest {
            Some(mode) => format!("mode of the lowest force: {}", mode.words()),
            None => "the mode of the lowest force was not given".to_owned(),
        };
        let in_wire = |known: &&OfMode<P>| known.mode == PullMode::BrokeInWire;
        if let Some(known) = self.modes.iter().find(in_wire) {
            let of = if known.count == self.answered && self.unanswered == 0 {
                "in every pull".to_owned()
            } else {
                format!("in {} of {} pulls", known.count, self.answered)
            };
            let _ = write!(
                said,
                "; {of} the wire broke away from the crimp, so these crimps held more than was measured"
            );
        }
        if self.unanswered > 0 {
            let _ = write!(
                said,
                "; the mode of {} was not given",
                if self.unanswered == 1 {
                    "1 more pull".to_owned()
                } else {
                    format!("{} more pulls", self.unanswered)
                }
            );
        }
        said
    }
}

impl<P> OfMode<P> {
    /// The share of this mode with its confidence interval.
    pub(crate) fn share(&self) -> Option<Share> {
        Share::of(self.count, self.answered, CONFIDENCE).ok()
    }

    /// The share in percent with its interval: `60.0 %`, `14.7 % to 94.7 %`.
    pub(crate) fn share_words(&self) -> Option<(String, String)> {
        let [share, low, high] = self.share()?.percent();
        Some((share, format!("{low} to {high}")))
    }
}
