//! The frame formats: the frames of `hardware-notes/formats.md` in both directions, and with every bit wrong.

mod bit_errors;
mod notes;
mod refusals;
mod round_trip;

use tallyjaw::decode::{DecodeError, Decoded, Decoder, FrameFormat, Pattern};
use tallyjaw::quantity::{Length, Measured, MonoMicros, Unit};

/// The result of one frame.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Outcome {
    Value(Measured, Option<Length>),
    Refused(DecodeError),
}

/// Everything that these bytes decode to, without what is between frames.
fn read(format: &str, pattern: Option<&Pattern>, unit: Unit, bytes: &[u8]) -> Vec<Outcome> {
    let format = FrameFormat::from_name(format).unwrap();
    let pattern = pattern.filter(|_| format.needs_pattern()).cloned();
    let mut decoder = Decoder::new(format, unit).with_pattern(pattern);
    decoder.push(MonoMicros(0), bytes);
    decoder.end();
    std::iter::from_fn(|| decoder.poll())
        .filter_map(|decoded| match decoded {
            Decoded::Value { value, origin, .. } => Some(Outcome::Value(value, origin)),
            Decoded::Undecoded { reason, .. } => Some(Outcome::Refused(reason)),
            Decoded::Blank { .. } => None,
        })
        .collect()
}

/// The result of these bytes, which are one frame.
fn read_one(format: &str, pattern: Option<&Pattern>, unit: Unit, bytes: &[u8]) -> Outcome {
    let mut found = read(format, pattern, unit, bytes);
    assert_eq!(found.len(), 1, "{format}: {bytes:02x?} gives {found:?}");
    found.remove(0)
}
