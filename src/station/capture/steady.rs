//! Reads a stream. A value is taken when it stands still, and the next one only after the jaws moved away.
//!
//! In: every value of the stream with its time. Out: one reading for each plateau. A value stands still if it stays
//! within one resolution step (the flicker of the last digit) for the required time and number of frames.

use super::{Captured, Flickered};
use crate::quantity::{Measured, MonoMicros};
use crate::spec::Flicker;
use std::collections::VecDeque;
use std::time::Duration;

/// Number of values of a plateau that are kept for its median; only a faulty instrument sends more.
const KEPT: usize = 256;

/// Settings of a stream; lengths in base units.
#[derive(Debug, Clone, Copy)]
pub(in crate::station) struct Settings {
    pub(super) hold: Duration,
    pub(super) frames: u32,
    pub(super) count: i64,
    pub(super) release: i64,
    pub(super) flicker: Flicker,
}

/// State of one stream.
#[derive(Debug)]
pub(in crate::station) struct Steady {
    settings: Settings,
    /// The longest run of values up to now that lie within one resolution step.
    plateau: VecDeque<(MonoMicros, Measured)>,
    /// Time of the plateau's first value, which may no longer be among those kept.
    since: Option<MonoMicros>,
    frames: u32,
    /// Range of the value that was taken, until the jaws move away from it.
    held: Option<Span>,
}

/// The minimum and the maximum of some values, in base units.
#[derive(Debug, Clone, Copy)]
struct Span {
    least: i64,
    greatest: i64,
}

impl Span {
    fn of(value: i64) -> Self {
        Self {
            least: value,
            greatest: value,
        }
    }

    fn with(self, value: i64) -> Self {
        Self {
            least: self.least.min(value),
            greatest: self.greatest.max(value),
        }
    }

    fn width(self) -> i64 {
        self.greatest.saturating_sub(self.least)
    }

    /// Distance of `value` from the span; 0 inside.
    fn distance(self, value: i64) -> i64 {
        self.least
            .saturating_sub(value)
            .max(value.saturating_sub(self.greatest))
            .max(0)
    }
}

impl Steady {
    pub(super) fn new(settings: Settings) -> Self {
        Self {
            settings,
            plateau: VecDeque::new(),
            since: None,
            frames: 0,
            held: None,
        }
    }

    pub(super) fn take(&mut self, now: MonoMicros, value: Measured) -> Option<Captured> {
        if let Some(held) = self.held {
            if held.distance(value.quantity().base()) <= self.settings.release {
                return None;
            }
            self.held = None;
        }
        self.extend(now, value);
        let stood = self.since.map_or(Duration::ZERO, |since| now.since(since));
        if stood < self.settings.hold || self.frames < self.settings.frames {
            return None;
        }
        let captured = self.captured();
        self.hold();
        captured
    }

    /// The newest value and its time, while the value does not stand still.
    pub(super) fn moving(&self) -> Option<(MonoMicros, Measured)> {
        self.plateau.back().copied()
    }

    /// Takes nothing until the jaws have moved away from `value`.
    pub(super) fn settle(&mut self, value: Measured) {
        self.forget();
        self.held = Some(Span::of(value.quantity().base()));
    }

    /// Adds a value, and drops the oldest values until all lie within one resolution step.
    fn extend(&mut self, now: MonoMicros, value: Measured) {
        let mut span = Span::of(value.quantity().base());
        let fitting = self
            .plateau
            .iter()
            .rev()
            .take_while(|(_, before)| {
                span = span.with(before.quantity().base());
                span.width() <= self.settings.count
            })
            .count();
        let dropped = self.plateau.len().saturating_sub(fitting);
        if dropped > 0 || self.plateau.is_empty() {
            self.plateau.drain(..dropped);
            self.since = self
                .plateau
                .front()
                .map_or(Some(now), |(since, _)| Some(*since));
            self.frames = u32::try_from(self.plateau.len()).unwrap_or(u32::MAX);
        }
        self.plateau.push_back((now, value));
        self.frames = self.frames.saturating_add(1);
        if self.plateau.len() > KEPT {
            self.plateau.pop_front();
        }
    }

    fn captured(&self) -> Option<Captured> {
        let mut values: Vec<Measured> = self.plateau.iter().map(|(_, value)| *value).collect();
        values.sort_by_key(|value| value.quantity().base());
        let flickered = Flickered {
            least: *values.first()?,
            greatest: *values.last()?,
            frames: self.frames,
            judged: self.settings.flicker,
        };
        // Of an even number of values the lower middle one, because the median must be a value that was displayed.
        let value = *values.get((values.len() - 1) / 2)?;
        Some(Captured {
            value,
            flickered: Some(flickered),
        })
    }

    fn hold(&mut self) {
        let mut bases = self
            .plateau
            .iter()
            .map(|(_, value)| value.quantity().base());
        let first = bases.next();
        self.held = first.map(|first| bases.fold(Span::of(first), Span::with));
        self.forget();
    }

    fn forget(&mut self) {
        self.plateau.clear();
        self.since = None;
        self.frames = 0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Decimal, Unit};

    fn steady() -> Steady {
        Steady::new(Settings {
            hold: Duration::from_millis(500),
            frames: 3,
            count: 10_000,
            release: 50_000,
            flicker: Flicker::Worst,
        })
    }

    /// Feeds values in hundredths at thirty frames a second; returns each reading in hundredths.
    fn readings(steady: &mut Steady, start: u64, hundredths: &[i64]) -> Vec<(i64, i64, i64)> {
        let base = |value: Measured| value.quantity().base() / 10_000;
        let mut found = Vec::new();
        for (frame, value) in hundredths.iter().enumerate() {
            let at = MonoMicros(start + u64::try_from(frame).unwrap() * 33_333);
            let value = Measured::new(Decimal::new(*value, 2), Unit::Millimetre).unwrap();
            if let Some(captured) = steady.take(at, value) {
                let flickered = captured.flickered.unwrap();
                found.push((
                    base(flickered.least),
                    base(captured.value),
                    base(flickered.greatest),
                ));
            }
        }
        found
    }

    #[test]
    fn a_flickering_plateau_is_one_reading_with_minimum_median_and_maximum() {
        let mut stream = vec![210, 190, 175, 165];
        stream.extend([163, 164].repeat(30));
        assert_eq!(readings(&mut steady(), 0, &stream), [(163, 163, 164)]);
    }

    #[test]
    fn the_next_is_taken_only_after_the_jaws_moved_away() {
        let mut stream = vec![163; 60];
        stream.extend([165; 60]);
        assert_eq!(
            readings(&mut steady(), 0, &stream).len(),
            1,
            "two resolution steps are no release"
        );
        stream.extend([169, 180, 200, 180, 170]);
        stream.extend([163; 60]);
        assert_eq!(readings(&mut steady(), 0, &stream).len(), 2);
    }

    #[test]
    fn a_hand_that_moves_slowly_gives_nothing() {
        let creeping: Vec<i64> = (0..200).map(|frame| 300 - frame / 5).collect();
        assert_eq!(readings(&mut steady(), 0, &creeping), []);
    }

    #[test]
    fn three_frames_are_needed_however_slow_the_stream_is() {
        let mut steady = steady();
        let value = Measured::new(Decimal::new(163, 2), Unit::Millimetre).unwrap();
        assert_eq!(steady.take(MonoMicros(0), value), None);
        assert_eq!(steady.take(MonoMicros(2_000_000), value), None);
        assert!(steady.take(MonoMicros(4_000_000), value).is_some());
    }

    #[test]
    fn a_flood_of_one_value_keeps_little() {
        let mut steady = steady();
        let value = Measured::new(Decimal::new(163, 2), Unit::Millimetre).unwrap();
        for at in 0..400_000 {
            assert_eq!(steady.take(MonoMicros(at), value), None);
        }
        assert!(steady.plateau.len() <= KEPT);
        assert!(steady.take(MonoMicros(500_000), value).is_some());
    }
}
