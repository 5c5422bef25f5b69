//! From values to readings: one file for each way an instrument is used.

mod press;

use crate::quantity::{Measured, MonoMicros};
use crate::spec::Capture;

/// What capture remembers of an instrument.
#[derive(Debug)]
pub(super) enum Capturing {
    /// A frame a press.
    Press(press::Press),
}

impl Capturing {
    pub(super) fn new(capture: Capture) -> Self {
        match capture {
            Capture::Press { bounce } => Self::Press(press::Press::new(bounce)),
        }
    }

    /// The reading that `value` makes, if it makes one.
    pub(super) fn take(&mut self, now: MonoMicros, value: Measured) -> Option<Measured> {
        match self {
            Self::Press(press) => press.take(now, value),
        }
    }
}
