//! Detects that the caliper's zero key was pressed, and how far open the jaws were.
//!
//! In: every value with its time, and the origin where the frame contains it. Out: how far the origin moved. Where the
//! frame contains the origin, any change means the key. In a stream, the key shows as a jump to zero that no hand can
//! make: the value changes by more in one frame than the jaws can have moved.

use crate::quantity::{Dimension, Length, Measured, MonoMicros};
use std::time::Duration;

/// Highest speed of the jaws that calipers are built to follow (common practice, no source).
const FASTEST_NM_PER_MICRO: i64 = 1_500; // 1.5 m/s
/// Highest acceleration of the jaws by a hand (our own estimate, checked by a test below).
const STRONGEST_MM_PER_S2: i64 = 2_000;
/// After a longer silence the movement of the jaws is unknown, so nothing is detected.
const LONGEST_STEP: Duration = Duration::from_millis(250);

/// Follows the origin of one instrument.
#[derive(Debug, Default)]
pub(in crate::station) struct OriginWatch {
    reported: Option<Length>,
    last: Option<Frame>,
    before: Option<Frame>,
}

#[derive(Debug, Clone, Copy)]
struct Frame {
    at: MonoMicros,
    nm: i64,
}

/// Tolerances for the position of the jaws, in nanometres.
#[derive(Debug, Clone, Copy)]
pub(in crate::station) struct Band {
    /// A value this close to zero counts as at the origin.
    pub(in crate::station) zero: i64,
    /// If the origin moved by no more than this, the zero key was pressed with closed jaws.
    pub(in crate::station) closed: i64,
}

impl OriginWatch {
    /// How far the origin moved with this frame, in nanometres, if the zero key was pressed.
    pub(in crate::station) fn moved(
        &mut self,
        now: MonoMicros,
        value: Measured,
        origin: Option<Length>,
        streams: bool,
        band: Band,
    ) -> Option<i64> {
        if let Some(origin) = origin {
            let before = self.reported.replace(origin)?;
            let moved = origin.nanometres().saturating_sub(before.nanometres());
            return (moved.saturating_abs() > band.closed).then_some(moved);
        }
        // A force drops to zero at once when a wire breaks; only lengths have a speed limit.
        if !streams || value.quantity().dimension() != Dimension::Length {
            return None;
        }
        let frame = Frame {
            at: now,
            nm: value.quantity().base(),
        };
        let moved = self.jumped(frame, band);
        // Values before a jump refer to the old origin and say nothing about speed.
        self.before = if moved.is_some() { None } else { self.last };
        self.last = Some(frame);
        moved
    }

    /// Forgets the last frames: while the port was closed the key may have been pressed.
    pub(in crate::station) fn forget(&mut self) {
        *self = Self::default();
    }

    fn jumped(&self, frame: Frame, band: Band) -> Option<i64> {
        let last = self.last?;
        let step = frame.at.since(last.at);
        let moved = last.nm.saturating_sub(frame.nm);
        let to_zero =
            frame.nm.saturating_abs() <= band.zero && moved.saturating_abs() > band.closed;
        let known = step <= LONGEST_STEP && !step.is_zero();
        (to_zero && known && moved.saturating_abs() > self.reach(last, step)).then_some(moved)
    }

    /// The furthest that the jaws can move within `step`, given their movement in the step before.
    fn reach(&self, last: Frame, step: Duration) -> i64 {
        let micros = |step: Duration| i64::try_from(step.as_micros()).unwrap_or(i64::MAX);
        let step = micros(step);
        let fastest = step.saturating_mul(FASTEST_NM_PER_MICRO);
        let Some(before) = self.before else {
            return fastest;
        };
        let earlier = micros(last.at.since(before.at)).max(1);
        let came = last.nm.saturating_sub(before.nm).saturating_abs();
        let going_on = if came < speeding_up(earlier, earlier) {
            // They may have started within the step before: v² = 2·a·s.
            let square = u128::from(came.unsigned_abs())
                * u128::from(step.unsigned_abs()).pow(2)
                * u128::from((2 * STRONGEST_MM_PER_S2).unsigned_abs())
                / 1_000_000;
            i64::try_from(square.isqrt()).unwrap_or(i64::MAX)
        } else {
            // Mean speed of the step before, plus what acceleration added by the end of it.
            (came.saturating_mul(step) / earlier).saturating_add(speeding_up(earlier, step))
        };
        going_on
            .saturating_add(speeding_up(step, step))
            .min(fastest)
    }
}

/// `½·a·t·u` in nanometres, for times in microseconds: 1 mm/s² times 1 µs² is 10⁻⁶ nm.
fn speeding_up(t: i64, u: i64) -> i64 {
    STRONGEST_MM_PER_S2.saturating_mul(t.saturating_mul(u)) / 2_000_000
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Decimal, Unit};

    const BAND: Band = Band {
        zero: 20_000,
        closed: 50_000,
    };

    /// Feeds values in hundredths of a millimetre at thirty a second. Returns each frame at which the origin moved, and
    /// how far, in hundredths.
    fn moved(hundredths: &[i64]) -> Vec<(usize, i64)> {
        let mut watch = OriginWatch::default();
        let frames = hundredths.iter().enumerate().filter_map(|(index, value)| {
            let at = MonoMicros(u64::try_from(index).unwrap() * 33_333);
            let value = Measured::new(Decimal::new(*value, 2), Unit::Millimetre).unwrap();
            let moved = watch.moved(at, value, None, true, BAND)?;
            Some((index, moved / 10_000))
        });
        frames.collect()
    }

    #[test]
    fn an_origin_set_at_an_opening_is_noticed_at_the_very_frame() {
        assert_eq!(moved(&[300, 240, 211, 210, 210, 0, 0, 0]), [(5, 210)]);
        assert_eq!(moved(&[210, 210, 210, 1]), [(3, 209)]);
    }

    #[test]
    fn zeroing_with_closed_jaws_reverses_the_move() {
        assert_eq!(
            moved(&[210, 210, 0, 0, -40, -130, -208, -210, -210, 0, 0]),
            [(2, 210), (9, -210)]
        );
    }

    #[test]
    fn jaws_that_are_closed_by_hand_are_no_jump() {
        // From rest at 3 mm with 1.5 m/s² until the jaws meet: half a t² in hundredths of a millimetre.
        let closing: Vec<i64> = (0..6)
            .map(|frame: i64| (300 - 150_000 * (frame * 33).pow(2) / 2_000_000).max(0))
            .collect();
        let mut stream = vec![300, 300];
        stream.extend(closing);
        stream.extend([0, 0]);
        assert_eq!(moved(&stream), []);
        assert_eq!(
            moved(&[30, 30, 0, 0]),
            [],
            "a small step from rest is in reach of a hand"
        );
    }

    #[test]
    fn a_force_that_is_gone_when_the_wire_breaks_is_no_moved_origin() {
        let mut watch = OriginWatch::default();
        for (at, newtons) in [(0, 5_000), (33_333, 5_000), (66_666, 0)] {
            let value = Measured::new(Decimal::new(newtons, 0), Unit::Newton).unwrap();
            assert_eq!(watch.moved(MonoMicros(at), value, None, true, BAND), None);
        }
    }

    #[test]
    fn after_a_silence_nothing_is_known() {
        let mut watch = OriginWatch::default();
        let value =
            |hundredths| Measured::new(Decimal::new(hundredths, 2), Unit::Millimetre).unwrap();
        for (at, hundredths) in [(0, 210), (33_333, 210), (400_000, 0)] {
            let moved = watch.moved(MonoMicros(at), value(hundredths), None, true, BAND);
            assert_eq!(moved, None, "{at}");
        }
    }

    #[test]
    fn a_frame_with_the_origin_needs_no_guess() {
        let mut watch = OriginWatch::default();
        let value = Measured::new(Decimal::new(0, 2), Unit::Millimetre).unwrap();
        let mut origin_at = |nm: i64| {
            let origin = Some(Length::from_nanometres(nm));
            watch.moved(MonoMicros(0), value, origin, false, BAND)
        };
        assert_eq!(origin_at(5_000_000), None, "the first says where it is");
        assert_eq!(
            origin_at(5_030_000),
            None,
            "a drift taken out with closed jaws"
        );
        assert_eq!(origin_at(7_130_000), Some(2_100_000));
    }
}
