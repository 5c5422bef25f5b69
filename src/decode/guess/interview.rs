//! Which port setting to try for the next press, and when enough is known.
//!
//! In: presses. Out: the next [`Step`]. The port is always read with eight data bits and no parity: so every bit is
//! received, and data bits and parity follow from them. Only the speed is tried, in this order:
//!
//! - the speed of a candidate that fits;
//! - a slower speed at which the bytes may have been sent;
//! - if there is neither, the fastest speed: from its bits, text sent at slower speeds is reconstructed;
//! - then the other speeds: first those whose text cannot be reconstructed, each time the most common first.

use super::{Heard, Opinion, SPEEDS, Surety, opinion, reckon};
use crate::decode::line_settings::LineSettings;

/// Presses that must be read at exactly the candidate's settings before the remaining ones are skipped.
const ENOUGH_READ: usize = 2;
/// Evidence in bits that suffices to skip the remaining presses: a fit by chance is rarer than once in 10^12.
const ENOUGH_BITS: u32 = 40;

/// What to do next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Set the port so and wait for a press.
    Press(LineSettings),
    /// Enough is known, or the maximum number of presses is reached.
    Done,
}

/// The presses so far and the opinion drawn from them.
#[derive(Debug)]
pub struct Interview {
    heard: Vec<Heard>,
    most: usize,
    line: LineSettings,
    opinion: Opinion,
}

impl Interview {
    /// Begins with the port set to `first`; at most `most` presses are requested.
    pub fn new(first: LineSettings, most: usize) -> Self {
        Self {
            heard: Vec::new(),
            most: most.max(1),
            line: first,
            opinion: Opinion::default(),
        }
    }

    /// The settings to which the port is to be set now.
    pub fn line(&self) -> LineSettings {
        self.line
    }

    /// The opinion so far.
    pub fn opinion(&self) -> &Opinion {
        &self.opinion
    }

    /// The number of presses so far.
    pub fn presses(&self) -> usize {
        self.heard.len()
    }

    /// Takes a press that was read with the port set to [`Interview::line`].
    pub fn press(&mut self, heard: Heard) -> Step {
        self.heard.push(heard);
        self.opinion = opinion(&self.heard);
        if self.heard.len() >= self.most || self.is_clear() {
            return Step::Done;
        }
        self.line.baud = self.next_speed();
        Step::Press(self.line)
    }

    fn is_clear(&self) -> bool {
        self.opinion.only().is_some_and(|only| {
            only.read >= ENOUGH_READ
                && only.different >= ENOUGH_READ
                && only.bits >= ENOUGH_BITS
                && only.surety() == Surety::Sure
        })
    }

    fn next_speed(&self) -> u32 {
        if let Some(best) = self.opinion.fits.first() {
            return best.line.baud;
        }
        let heard_at = |baud: &u32| self.heard.iter().any(|heard| heard.line.baud == *baud);
        let mut leads = self.opinion.leads.iter().map(|line| line.baud);
        if let Some(lead) = leads.find(|baud| !heard_at(baud)) {
            return lead;
        }
        let fastest = SPEEDS.into_iter().max().filter(|baud| !heard_at(baud));
        let could_be_reckoned = |baud: &u32| {
            let sent = LineSettings {
                baud: *baud,
                ..self.line
            };
            let mut heard = self.heard.iter();
            heard.any(|heard| reckon::times(heard.line, sent).is_some())
        };
        let mut untried = SPEEDS.into_iter().filter(|baud| !heard_at(baud));
        let unreckoned = untried.clone().find(|baud| !could_be_reckoned(baud));
        fastest
            .or(unreckoned)
            .or_else(|| untried.next())
            .unwrap_or(self.line.baud)
    }
}
