//! What the operator should do next, and why; told from the state alone.

use crate::entry::State;
use crate::entry::state::Slot;
use std::fmt;

/// What to do next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Prompt {
    /// Nothing is armed.
    Arm,
    /// The instrument is not connected.
    Connect {
        /// The instrument.
        instrument: String,
    },
    /// A zero is due.
    Zero {
        /// Why, in words.
        why: String,
    },
    /// A slot is to be measured.
    Measure(Slot),
}

impl fmt::Display for Prompt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Arm => f.write_str("arm a plan"),
            Self::Connect { instrument } => write!(f, "connect {instrument}"),
            Self::Zero { why } => write!(f, "close the jaws and send a zero: {why}"),
            Self::Measure(slot) => write!(f, "piece {}: {}", slot.piece, slot.axis.words()),
        }
    }
}

/// What `station` should do next.
pub fn prompt(state: &State, station: &str) -> Prompt {
    let _ = (state, station);
    Prompt::Arm
}
