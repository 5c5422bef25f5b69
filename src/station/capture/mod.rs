//! From values to readings: one file for each way an instrument is used.

mod ask;
pub(super) mod origin;
mod press;
mod steady;

use crate::entry::Plateau;
use crate::quantity::{Measured, MonoMicros, Quantity};
use crate::spec::{Capture, Flicker};

pub(super) use ask::Silence;

/// What capture remembers of an instrument.
#[derive(Debug)]
pub(super) enum Capturing {
    /// A frame a press.
    Press(press::Press),
    /// A stream.
    Steady(steady::Steady),
    /// A value when asked.
    Ask(ask::Ask),
}

/// A value that is a reading or a zero.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Captured {
    /// The value, or the middle one of a plateau.
    pub(super) value: Measured,
    /// Of a stream: how it flickered.
    pub(super) flickered: Option<Flickered>,
}

/// The values of a plateau.
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

    /// Of a plateau that is judged by its worst value, the one that is nearest to zero.
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

    /// What the entry keeps of a plateau.
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

    /// The reading that `value` makes, if it makes one.
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

    /// `value` has been entered already: of a stream, nothing is taken until the jaws move away.
    pub(super) fn settle(&mut self, value: Measured) {
        match self {
            Self::Steady(steady) => steady.settle(value),
            Self::Press(_) | Self::Ask(_) => {}
        }
    }

    /// Whether frames come by themselves, so that the way of the jaws can be followed.
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

    /// The asking side, where the instrument is asked.
    pub(super) fn asking(&mut self) -> Option<&mut ask::Ask> {
        match self {
            Self::Ask(ask) => Some(ask),
            Self::Press(_) | Self::Steady(_) => None,
        }
    }

    /// When something is due without a value.
    pub(super) fn waits_until(&self) -> Option<MonoMicros> {
        match self {
            Self::Ask(ask) => ask.waits_until(),
            Self::Press(_) | Self::Steady(_) => None,
        }
    }
}
