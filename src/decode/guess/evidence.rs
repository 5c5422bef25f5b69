//! The weight of a frame that fits a format: how improbable it is that random bytes would fit as well.
//!
//! The weight is counted, not assumed. Each byte of the frame is replaced in turn by all 256 bytes; the number that
//! still give a frame with a value of a caliper or force gauge is counted.

use super::plausible;
use crate::decode::format::FrameFormat;
use crate::decode::{Decoded, Decoder};
use crate::quantity::{MonoMicros, Unit};

/// The weight of a frame in eighths of a bit: a byte for which half of all bytes fit is worth eight.
pub(super) fn eighths(format: &'static FrameFormat, raw: &[u8]) -> u32 {
    let mut trial = raw.to_vec();
    let mut total = 0;
    for at in 0..raw.len() {
        let fitting = (0..=u8::MAX).filter(|byte| {
            if let Some(place) = trial.get_mut(at) {
                *place = *byte;
            }
            is_frame(format, &trial)
        });
        total += eighths_of(fitting.count());
        if let Some((place, byte)) = trial.get_mut(at).zip(raw.get(at)) {
            *place = *byte;
        }
    }
    total
}

/// `8 log2(256 / fitting)`, rounded down.
fn eighths_of(fitting: usize) -> u32 {
    let eighth_power = u128::try_from(fitting.max(1)).map_or(u128::MAX, |count| count.pow(8));
    ((1_u128 << 64) / eighth_power).checked_ilog2().unwrap_or(0)
}

/// Whether these bytes are exactly one frame with a plausible value.
fn is_frame(format: &'static FrameFormat, raw: &[u8]) -> bool {
    let mut decoder = Decoder::new(format, Unit::Millimetre);
    decoder.push(MonoMicros(0), raw);
    decoder.end();
    let first = decoder.poll();
    let only = decoder.poll().is_none();
    matches!(first, Some(Decoded::Value { value, origin, .. }) if only && plausible(value, origin))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bits(format: &str, raw: &[u8]) -> u32 {
        eighths(FrameFormat::from_name(format).unwrap(), raw) / 8
    }

    #[test]
    fn a_byte_of_which_one_in_so_many_fits_is_worth_its_logarithm() {
        assert_eq!([1, 2, 16, 128, 256].map(eighths_of), [64, 56, 32, 8, 0]);
        assert_eq!(eighths_of(10), 37); // 8 log2(25.6) = 37.4
    }

    #[test]
    fn redundant_frames_say_more_than_those_that_use_every_bit() {
        let packed = bits("bcd13-packed", b"\xff\xff\x00\x00\x16\x32\x00");
        // Valid nibbles: 1 of 16 for each of four F, 2 for the sign, 10 for each digit, 6 for the point, 2 for the
        // unit, 1 for the last half.
        assert!((28..=36).contains(&packed), "{packed}");
        assert!(bits("decimal-line", b"+1.63\r") > 20);
        // All 48 bits carry meaning; only the length of the longest caliper restricts them.
        let word48 = bits("word48-packed", b"\x22\x05\x00\x22\x05\x00");
        assert!((3..=8).contains(&word48), "{word48}");
    }
}
