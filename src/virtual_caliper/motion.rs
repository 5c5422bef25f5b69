//! The movement of the jaws: their opening at each moment, and what the display shows.
//!
//! In: what the hand does, in order. Out: openings as a pure function of time, and the frames of a stream. The same
//! seed gives the same movement, so that a test can feed the core without a clock.
//!
//! The jaws accelerate evenly up to a top speed, as a hand moves them, and stop at what they meet. In the air they
//! tremble with the hand. On a piece they stand still, and only the last digit flickers.

use super::frame::{NoFrame, Resolution, Sends};
use super::random::Random;
use crate::decode::format::Ticks;
use crate::quantity::{Decimal, Length};
use std::time::Duration;

/// Acceleration by a brisk hand, in mm/s² (own estimate).
const SPEEDING_UP: i64 = 1_000;

/// Half a period of a hand's tremor, of about ten a second (common knowledge, no source).
const HALF_SWING_MICROS: u64 = 50_000;

/// Opening of the jaws over the time of a movement.
///
/// ```
/// use std::time::Duration;
/// use tallyjaw::{quantity::Length, virtual_caliper::Motion};
/// let size = Length::from_nanometres(1_620_000);
/// let mut motion = Motion::new(Length::from_nanometres(9_000_000), 7);
/// motion.move_to(size, 60).hold(Duration::from_millis(800));
/// assert_eq!(motion.opening_at(u64::MAX), size);
/// ```
#[derive(Debug, Clone)]
pub struct Motion {
    legs: Vec<Leg>,
    opening: i64,
    end: u64,
    tremor_nm: i64,
    /// Times of zero key presses, with the openings.
    zeros: Vec<(u64, i64)>,
    seed: u64,
}

#[derive(Debug, Clone, Copy)]
struct Leg {
    start: u64,
    end: u64,
    from: i64,
    to: i64,
    /// In mm/s, which is nm/µs.
    speed: i64,
    /// Whether the jaws tremble, because they are in the air.
    trembles: bool,
}

impl Motion {
    /// Jaws at this opening. The display is set so that closed jaws show zero.
    pub fn new(opening: Length, seed: u64) -> Self {
        Self {
            legs: Vec::new(),
            opening: opening.nanometres(),
            end: 0,
            tremor_nm: 0,
            zeros: Vec::new(),
            seed,
        }
    }

    /// Sets the maximum tremor in the air, to either side.
    #[must_use]
    pub fn with_tremor(mut self, tremor: Length) -> Self {
        self.tremor_nm = tremor.nanometres().max(0);
        self
    }

    /// Moves the jaws to an opening, no faster than `mm_per_s`.
    pub fn move_to(&mut self, opening: Length, mm_per_s: u32) -> &mut Self {
        let speed = i64::from(mm_per_s.max(1));
        let to = opening.nanometres();
        let way = to.abs_diff(self.opening);
        let micros = time_for(way, speed);
        self.leg(to, micros, speed, true)
    }

    /// Stands still on a piece, or on closed jaws.
    pub fn hold(&mut self, time: Duration) -> &mut Self {
        self.leg(self.opening, micros(time), 1, false)
    }

    /// Stays where it is, in the air.
    pub fn hover(&mut self, time: Duration) -> &mut Self {
        self.leg(self.opening, micros(time), 1, true)
    }

    /// Presses the zero key, so that the present opening shows as zero.
    pub fn press_zero(&mut self) -> &mut Self {
        self.zeros.push((self.end, self.opening));
        self
    }

    /// Closes on a piece of this size, stays for a time, and opens by three millimetres.
    pub fn measure(&mut self, size: Length, mm_per_s: u32, stays: Duration) -> &mut Self {
        let open = size.nanometres().saturating_add(3_000_000);
        self.move_to(size, mm_per_s)
            .hold(stays)
            .move_to(Length::from_nanometres(open), mm_per_s)
    }

    /// Total time of the movement.
    pub fn duration(&self) -> Duration {
        Duration::from_micros(self.end)
    }

    /// Opening of the jaws.
    pub fn opening_at(&self, micros: u64) -> Length {
        let index = self.legs.partition_point(|leg| leg.end <= micros);
        let Some(leg) = self.legs.get(index) else {
            return Length::from_nanometres(self.opening);
        };
        let way = way_after(micros.saturating_sub(leg.start), leg.speed);
        let whole = leg.to.saturating_sub(leg.from);
        let way = way.min(whole.saturating_abs());
        let at = leg.from.saturating_add(if whole < 0 { -way } else { way });
        let tremor = if leg.trembles {
            self.tremor_at(micros)
        } else {
            0
        };
        // Closed jaws cannot close further.
        Length::from_nanometres(at.saturating_add(tremor).max(0))
    }

    /// The opening that the display shows as zero.
    pub fn origin_at(&self, micros: u64) -> Length {
        let pressed = self.zeros.iter().rev().find(|(at, _)| *at <= micros);
        Length::from_nanometres(pressed.map_or(0, |(_, opening)| *opening))
    }

    fn leg(&mut self, to: i64, micros: u64, speed: i64, trembles: bool) -> &mut Self {
        let start = self.end;
        self.end = start.saturating_add(micros);
        self.legs.push(Leg {
            start,
            end: self.end,
            from: self.opening,
            to,
            speed,
            trembles,
        });
        self.opening = to;
        self
    }

    /// Moves evenly from one random deflection to the next.
    fn tremor_at(&self, micros: u64) -> i64 {
        if self.tremor_nm == 0 {
            return 0;
        }
        let swing = micros / HALF_SWING_MICROS;
        let into = i128::from(micros % HALF_SWING_MICROS);
        let whole = i128::from(HALF_SWING_MICROS);
        let from = i128::from(self.deflection(swing));
        let to = i128::from(self.deflection(swing.saturating_add(1)));
        i64::try_from(from + (to - from) * into / whole).unwrap_or(0)
    }

    fn deflection(&self, swing: u64) -> i64 {
        let span = self.tremor_nm.unsigned_abs().saturating_mul(2).max(1);
        let random = noise(self.seed, swing) % span;
        i64::try_from(random)
            .unwrap_or(0)
            .saturating_sub(self.tremor_nm)
    }
}

/// A pseudo-random number from both arguments.
fn noise(seed: u64, at: u64) -> u64 {
    Random::new(seed ^ at.wrapping_mul(0xd6e8_feb8_6659_fd93)).next()
}

/// Distance moved after this time: `½·a·t²` up to the top speed, then even.
fn way_after(micros: u64, speed: i64) -> i64 {
    let t = i128::from(micros);
    let (a, v) = (i128::from(SPEEDING_UP), i128::from(speed));
    let until = v * 1_000_000 / a;
    let way = if t < until {
        a * t * t / 2_000_000
    } else {
        v * t - v * until / 2
    };
    i64::try_from(way).unwrap_or(i64::MAX)
}

/// Time for a distance, which is the inverse of [`way_after`], rounded up.
fn time_for(way: u64, speed: i64) -> u64 {
    let way = u128::from(way);
    let (a, v) = (
        u128::from(SPEEDING_UP.unsigned_abs()),
        u128::from(speed.unsigned_abs()),
    );
    let until = v * 1_000_000 / a;
    let micros = if way < v * until / 2 {
        (way * 2_000_000 / a).isqrt() + 1
    } else {
        (way + v * until / 2).div_ceil(v)
    };
    u64::try_from(micros).unwrap_or(u64::MAX)
}

fn micros(time: Duration) -> u64 {
    u64::try_from(time.as_micros()).unwrap_or(u64::MAX)
}

/// Shows the opening and sends it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Display {
    /// Format of the frames.
    pub sends: Sends,
    /// Resolution of the display.
    pub resolution: Resolution,
    /// Percentage of frames that show one step more than the opening, as for a size between two steps.
    pub flicker_percent: u8,
    /// End of the battery, if it is simulated.
    pub battery: Option<Battery>,
}

/// The end of a battery.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Battery {
    /// From then on the last digit is missing.
    pub sags_at_micros: u64,
    /// From then on nothing is sent.
    pub silent_at_micros: u64,
}

impl Display {
    /// A common caliper: 0.01 mm, lines, a good battery, no flicker.
    pub const COMMON: Self = Self {
        sends: Sends::DecimalLine { with_unit: false },
        resolution: Resolution::HUNDREDTH_MM,
        flicker_percent: 0,
        battery: None,
    };

    /// The frame at a time of the movement; `None` once the battery is empty.
    pub fn frame(self, motion: &Motion, micros: u64) -> Result<Option<Frame>, NoFrame> {
        if self
            .battery
            .is_some_and(|battery| micros >= battery.silent_at_micros)
        {
            return Ok(None);
        }
        let origin = motion.origin_at(micros).nanometres();
        let shown = motion
            .opening_at(micros)
            .nanometres()
            .saturating_sub(origin);
        let percent = noise(!motion.seed, micros) % 100;
        let more = i64::from(percent < u64::from(self.flicker_percent));
        let steps = self.resolution.steps_in(shown).saturating_add(more);
        let mut digits = self.resolution.show(steps);
        if self
            .battery
            .is_some_and(|battery| micros >= battery.sags_at_micros)
        {
            digits = without_last(digits);
        }
        let bytes = self.sends_at(origin).frame(digits, self.resolution.unit)?;
        Ok(Some(Frame {
            micros,
            digits,
            bytes,
        }))
    }

    /// The format with the present origin, if its frames contain the origin.
    fn sends_at(self, origin_nm: i64) -> Sends {
        match self.sends {
            Sends::Word48 { form, origin } => {
                let ticks = i128::from(origin_nm) * 20_480 / 25_400_000;
                let moved = i32::try_from(ticks).unwrap_or(i32::MAX);
                let origin = Ticks(origin.0.saturating_add(moved));
                Sends::Word48 { form, origin }
            }
            other @ (Sends::DecimalLine { .. }
            | Sends::ChannelLine { .. }
            | Sends::Bcd13(_)
            | Sends::Word24(_)) => other,
        }
    }
}

/// `1.62` → `1.6`.
fn without_last(digits: Decimal) -> Decimal {
    match digits.decimals().checked_sub(1) {
        Some(decimals) => Decimal::new(digits.coefficient() / 10, decimals),
        None => digits,
    }
}

/// A frame of a stream.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame {
    /// Time of sending, in microseconds from the beginning of the movement.
    pub micros: u64,
    /// The digits sent.
    pub digits: Decimal,
    /// The bytes on the line, with the terminator.
    pub bytes: Vec<u8>,
}

/// Frames at `per_second`, from the beginning to the end of a movement.
///
/// Ends early at the first value that does not fit into a frame, or with the battery.
pub fn stream(
    per_second: u32,
    motion: &Motion,
    display: Display,
) -> impl Iterator<Item = Frame> + '_ {
    let per_second = u64::from(per_second.max(1));
    (0..)
        .map(move |number: u64| number.saturating_mul(1_000_000) / per_second)
        .take_while(|micros| *micros <= motion.end)
        .map_while(move |micros| display.frame(motion, micros).ok().flatten())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mm(hundredths: i64) -> Length {
        Length::from_nanometres(hundredths * 10_000)
    }

    fn shown(motion: &Motion, display: Display) -> Vec<String> {
        stream(30, motion, display)
            .map(|frame| frame.digits.to_string())
            .collect()
    }

    #[test]
    fn jaws_speed_up_and_are_stopped_by_what_they_meet() {
        let mut motion = Motion::new(mm(900), 1);
        motion.move_to(mm(163), 60).hold(Duration::from_millis(200));
        // ½·1000 mm/s²·(60 ms)² = 1.80 mm until 60 mm/s, then the other 5.57 mm take 92.8 ms.
        assert_eq!(motion.duration().as_millis(), 60 + 92 + 200);
        assert_eq!(motion.opening_at(0), mm(900));
        assert_eq!(motion.opening_at(30_000), mm(900 - 45));
        assert_eq!(motion.opening_at(60_000), mm(900 - 180));
        assert_eq!(motion.opening_at(110_000), mm(900 - 480));
        assert_eq!(motion.opening_at(153_000), mm(163));
        assert_eq!(motion.opening_at(u64::MAX), mm(163));
    }

    #[test]
    fn a_short_way_is_over_before_the_top_speed() {
        let mut motion = Motion::new(mm(200), 1);
        motion.move_to(mm(163), 500);
        let end = u64::try_from(motion.duration().as_micros()).unwrap();
        assert_eq!(motion.opening_at(end), mm(163));
        assert!(motion.opening_at(end - 200) > mm(163));
    }

    #[test]
    fn a_hand_trembles_in_the_air_and_not_on_a_piece() {
        let tremor = mm(5);
        let mut motion = Motion::new(mm(900), 3).with_tremor(tremor);
        motion.hover(Duration::from_secs(2)).move_to(mm(163), 60);
        let on_the_piece = u64::try_from(motion.duration().as_micros()).unwrap();
        motion.hold(Duration::from_secs(1));
        let openings: Vec<i64> = (0..60)
            .map(|frame| motion.opening_at(frame * 33_333).nanometres())
            .collect();
        let (least, greatest) = (
            openings.iter().min().unwrap(),
            openings.iter().max().unwrap(),
        );
        assert!(*least >= mm(895).nanometres() && *greatest <= mm(905).nanometres());
        assert!(greatest - least > tremor.nanometres(), "it hardly moves");
        for later in 0..100 {
            assert_eq!(motion.opening_at(on_the_piece + later * 9_999), mm(163));
        }
    }

    #[test]
    fn the_same_seed_gives_the_same_stream_and_another_one_does_not() {
        let display = Display {
            flicker_percent: 40,
            ..Display::COMMON
        };
        let run = |seed| {
            let mut motion = Motion::new(mm(900), seed).with_tremor(mm(3));
            motion.measure(mm(163), 60, Duration::from_secs(1));
            shown(&motion, display)
        };
        assert_eq!(run(1), run(1));
        assert_ne!(run(1), run(2));
        let flickers = run(1);
        assert!(flickers.contains(&"1.63".to_owned()) && flickers.contains(&"1.64".to_owned()));
    }

    #[test]
    fn a_zero_key_pressed_at_an_opening_moves_the_origin() {
        let mut motion = Motion::new(mm(340), 1);
        motion.hold(Duration::from_millis(100)).press_zero();
        motion.hold(Duration::from_millis(100)).move_to(mm(0), 100);
        motion.hold(Duration::from_millis(100));
        let lines = shown(&motion, Display::COMMON);
        assert_eq!(lines[..5], ["3.40", "3.40", "3.40", "0.00", "0.00"]);
        assert_eq!(lines.last().unwrap(), "-3.40");
        let sends = Sends::Word48 {
            form: crate::virtual_caliper::Form::Hex,
            origin: Ticks(0),
        };
        let frame = Display {
            sends,
            ..Display::COMMON
        }
        .frame(&motion, 110_000)
        .unwrap()
        .unwrap();
        // 3.40 mm are 2741 ticks: 0xab5.
        assert_eq!(frame.bytes, b"000AB5000000\r");
    }

    #[test]
    fn a_battery_sags_to_fewer_digits_and_then_to_silence() {
        let mut motion = Motion::new(mm(163), 1);
        motion.hold(Duration::from_secs(1));
        let battery = Battery {
            sags_at_micros: 300_000,
            silent_at_micros: 400_000,
        };
        let lines = shown(
            &motion,
            Display {
                battery: Some(battery),
                ..Display::COMMON
            },
        );
        assert_eq!(lines.len(), 12);
        assert_eq!(lines[8..], ["1.63", "1.6", "1.6", "1.6"]);
    }
}
