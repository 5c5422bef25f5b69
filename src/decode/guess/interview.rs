//! Which port setting to try for the next press, and when enough is known.
//!
//! In: presses. Out: the [`Step`] to take next. The port is always read with eight data bits and no
//! parity, so every bit comes through, and data bits and parity follow from the bits. Only the speed is tried:
//!
//! - While something fits, its speed.
//! - If something slower may have been sent, its speed.
//! - If nothing does, and nothing slower can, the fastest: what is slower can be reckoned from it.
//! - Then the other speeds, the likely ones first.

use super::{Heard, Opinion, SPEEDS, Surety, opinion, reckon};
use crate::decode::line_settings::LineSettings;

/// Presses that must have been read at the very settings before the rest are spared.
const ENOUGH_READ: usize = 2;
/// Sure enough to spare the rest: less than once in 10^12.
const ENOUGH_BITS: u32 = 40;

/// What to do next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Set the port so and wait for a press.
    Press(LineSettings),
    /// Enough is known, or enough was asked.
    Done,
}

/// A few presses and what is made of them.
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

    /// How the port is to be set now.
    pub fn line(&self) -> LineSettings {
        self.line
    }

    /// What is thought so far.
    pub fn opinion(&self) -> &Opinion {
        &self.opinion
    }

    /// Presses so far.
    pub fn presses(&self) -> usize {
        self.heard.len()
    }

    /// Takes a press, heard with the port set to [`Interview::line`].
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
