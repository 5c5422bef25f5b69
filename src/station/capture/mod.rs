//! From values to readings: one file for each way an instrument is used.

mod ask;
pub(super) mod origin;
mod press;
mod steady;

use crate::entry::Plateau;
use crate::quantity::{Measured, MonoMicros, Quantity};
use crate::spec::{Capture, Flicker};

pub(super) use ask::Silence;

/// What capture keeps in memory for one instrument, by the way it is used.
#[derive(Debug)]
pub(super) enum Capturing {
    /// The instrument sends one frame for each press of its data key.
    Press(press::Press),
    /// The instrument sends values all the time.
    Steady(steady::Steady),
    /// The instrument sends a value on request.
    Ask(ask::Ask),
}

/// A value that capture has taken: it will be a reading or a zero.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Captured {
    /// The value, or the middle one of a plateau.
    pub(super) value: Measured,
    /// Range and number of frames of the plateau; `None` where the value is one frame.
    pub(super) flickered: Option<Flickered>,
}

/// The values of a plateau: their extremes, their number, and which of them is judged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Flickered {
    pub(super) least: Measured,
    pub(super) greatest: Measured,
    pub(super) frames: u32,
    pub(super) judged: Flicker,
}

impl Captured {
    fn pressed(value: Measured) -> Self {
        Self {
            value,
            flickered: None,
        }
    }

    /// The value that is judged: the one furthest from `nominal`, in base units.
    pub(super) fn judged(&self, nominal: i64) -> Measured {
        match &self.flickered {
            Some(flickered) if flickered.judged == Flicker::Worst => {
                let off = |value: Measured| value.quantity().base().abs_diff(nominal);
                [flickered.least, flickered.greatest].into_iter().fold(
                    self.value,
                    |worst, value| {
                        if off(value) > off(worst) {
                            value
                        } else {
                            worst
                        }
                    },
                )
            }
            Some(_) | None => self.value,
        }
    }

    /// As [`Captured::judged`] for a zero: of a plateau judged by its worst value, the value nearest to zero.
    pub(super) fn nearest_to_zero(&self) -> Measured {
        match &self.flickered {
            Some(flickered) if flickered.judged == Flicker::Worst => {
                let shown = [self.value, flickered.least, flickered.greatest];
                let off = |value: &Measured| value.quantity().base().unsigned_abs();
                shown.into_iter().min_by_key(off).unwrap_or(self.value)
            }
            Some(_) | None => self.value,
        }
    }

    /// The plateau as the journal stores it.
    pub(super) fn plateau(&self) -> Option<Plateau> {
        self.flickered.as_ref().map(|flickered| Plateau {
            median: self.value.quantity(),
            least: flickered.least.quantity(),
            greatest: flickered.greatest.quantity(),
            frames: flickered.frames,
        })
    }
}

impl Capturing {
    pub(super) fn new(capture: &Capture, resolution: Quantity) -> Self {
        match capture {
            Capture::Press { bounce } => Self::Press(press::Press::new(*bounce)),
            Capture::Steady {
                hold,
                frames,
                release_counts,
                flicker,
            } => {
                let settings = steady::Settings {
                    hold: *hold,
                    frames: *frames,
                    count: resolution.base(),
                    release: resolution.base().saturating_mul(i64::from(*release_counts)),
                    flicker: *flicker,
                };
                Self::Steady(steady::Steady::new(settings))
            }
            Capture::Ask {
                request,
                timeout,
                every,
            } => Self::Ask(ask::Ask::new(request.clone(), *timeout, *every)),
        }
    }

    /// Takes a value of the instrument. Returns it if it becomes a reading or a zero.
    pub(super) fn take(&mut self, now: MonoMicros, value: Measured) -> Option<Captured> {
        match self {
            Self::Press(press) => press.take(now, value).map(Captured::pressed),
            Self::Steady(steady) => steady.take(now, value),
            Self::Ask(ask) => {
                ask.answered();
                Some(Captured::pressed(value))
            }
        }
    }

    /// Marks `value` as already entered: a stream takes nothing more until the jaws move away.
    pub(super) fn settle(&mut self, value: Measured) {
        match self {
            Self::Steady(steady) => steady.settle(value),
            Self::Press(_) | Self::Ask(_) => {}
        }
    }

    /// Whether the instrument sends values all the time, so that the movement of the jaws can be followed.
    pub(super) fn streams(&self) -> bool {
        match self {
            Self::Steady(_) => true,
            Self::Press(_) | Self::Ask(_) => false,
        }
    }

    /// The newest value of a stream and its time, while the value does not stand still.
    pub(super) fn moving(&self) -> Option<(MonoMicros, Measured)> {
        match self {
            Self::Steady(steady) => steady.moving(),
            Self::Press(_) | Self::Ask(_) => None,
        }
    }

    /// The request state of an instrument that is read on request.
    pub(super) fn asking(&mut self) -> Option<&mut ask::Ask> {
        match self {
            Self::Ask(ask) => Some(ask),
            Self::Press(_) | Self::Steady(_) => None,
        }
    }

    /// The next time at which something is due even if no value comes.
    pub(super) fn waits_until(&self) -> Option<MonoMicros> {
        match self {
            Self::Ask(ask) => ask.waits_until(),
            Self::Press(_) | Self::Steady(_) => None,
        }
    }
}
