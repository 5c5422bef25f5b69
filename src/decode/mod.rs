//! Turns the bytes an instrument sends into values.
//!
//! In: bytes, in whatever chunks they came. Out: [`Decoded`] values, in order.
//!
//! - Nothing is dropped: the `raw` bytes of all items, joined, are the input.
//! - A frame with a spoiled byte (parity or framing error) gives no value.
//! - The result does not depend on how the bytes were cut into chunks.
//! - No clock, no port, no log line in here; the caller owns all three.

pub mod format;
pub mod framing;
pub mod guess;
pub mod line_settings;
pub mod meaning;

pub use format::{FORMATS, Fields, FrameFormat, Pattern, PatternError};
pub use line_settings::{LineSettings, LineSettingsError, Parity};

use crate::quantity::{Length, Measured, MonoMicros, Unit};
use framing::{Frame, Splitter};
use meaning::Meaning;
use std::collections::VecDeque;

/// One thing found in the byte stream.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Decoded {
    /// A value, as the instrument meant it.
    Value {
        /// The value with the digits it was sent with.
        value: Measured,
        /// The position of the display's zero on the instrument's scale, where the frame carries it.
        origin: Option<Length>,
        /// The bytes of the frame, terminator included.
        raw: Vec<u8>,
    },
    /// Terminators between frames: the LF of a CR LF, empty lines. They get no entry; they are kept here so that every
    /// byte is accounted for.
    Blank {
        /// The bytes.
        raw: Vec<u8>,
    },
    /// Bytes without meaning.
    Undecoded {
        /// The bytes.
        raw: Vec<u8>,
        /// Why.
        reason: DecodeError,
    },
}

impl Decoded {
    /// The bytes it came from.
    pub fn raw(&self) -> &[u8] {
        match self {
            Self::Value { raw, .. } | Self::Blank { raw } | Self::Undecoded { raw, .. } => raw,
        }
    }
}

/// Why a run of bytes is not a value.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DecodeError {
    /// The rest of the frame did not come.
    #[error("frame cut short: got {got} bytes and no end, want a whole frame")]
    CutShort {
        /// How many bytes came.
        got: usize,
    },
    /// The frame may have begun before these bytes.
    #[error(
        "{got} bytes that arrived {behind}: perhaps the rest of a frame, want a frame's end or a silence before them"
    )]
    MidFrame {
        /// How many bytes came.
        got: usize,
        /// The event before these bytes, in words.
        behind: &'static str,
    },
    /// More bytes without a frame end than the longest frame has.
    #[error("no end of frame in {got} bytes, want at most {most}")]
    TooLong {
        /// How many bytes came.
        got: usize,
        /// The longest frame of this format.
        most: usize,
    },
    /// Bytes that the line spoiled: errors of parity or framing, or a break.
    #[error(
        "{spoiled} of {of} bytes spoiled on the line (parity, framing or a break), the first 0x{got:02x} at {at}"
    )]
    LineFault {
        /// How many are spoiled.
        spoiled: usize,
        /// Number of bytes in all.
        of: usize,
        /// Position of the first of them.
        at: usize,
        /// As it was received.
        got: u8,
    },
    /// A byte that the format does not know.
    #[error("unexpected byte 0x{got:02x} at {at}, want {want}")]
    UnexpectedByte {
        /// Its place in the frame.
        at: usize,
        /// The byte.
        got: u8,
        /// What the format has there.
        want: &'static str,
    },
    /// No digits where a value should be.
    #[error("no digits, want a number")]
    NoDigits,
    /// More digits than are understood.
    #[error("{got} digits, want at most {most}")]
    TooManyDigits {
        /// How many came.
        got: usize,
        /// The most that are understood.
        most: usize,
    },
    /// More than 64 bits of nanometres or millinewtons.
    #[error("{got} is more than any instrument measures")]
    TooLarge {
        /// The value.
        got: String,
    },
    /// A unit that no instrument of this kind sends.
    #[error("unknown unit {got:?}, want one of mm, cm, um, in, N, kN, kgf, lbf")]
    UnknownUnit {
        /// What came.
        got: String,
    },
    /// The number of digits or bytes is not that of a frame.
    #[error("got {got} {what}, want {want}")]
    WrongLength {
        /// How many came.
        got: usize,
        /// How many a frame has.
        want: usize,
        /// Digits or bytes.
        what: &'static str,
    },
    /// A part of the frame has a value that no instrument sends.
    #[error("illegal {what}: got {got}, want {want}")]
    Illegal {
        /// Which part.
        what: &'static str,
        /// What came.
        got: String,
        /// What the format has there.
        want: &'static str,
    },
    /// A line that the pattern does not match.
    #[error("the pattern does not match {got:?}")]
    NoMatch {
        /// The line.
        got: String,
    },
    /// The instrument reports a fault of its own.
    #[error("the gauge reports a fault: {code}")]
    GaugeFault {
        /// Its code, as sent.
        code: String,
    },
}

impl DecodeError {
    /// What a person can do; printed on a line of its own, never part of the message.
    pub fn remedy(&self) -> Option<&'static str> {
        match self {
            Self::CutShort { .. } => Some(
                "press again; if it happens again, check the cable, and `line` against the manual",
            ),
            Self::MidFrame { .. } => Some("measure that piece again"),
            Self::LineFault { .. } => Some(
                "check the cable and its plug, and `line` of this instrument against its manual",
            ),
            Self::TooLong { .. }
            | Self::UnexpectedByte { .. }
            | Self::UnknownUnit { .. }
            | Self::WrongLength { .. }
            | Self::Illegal { .. } => {
                Some("check `line` and `format` of this instrument against its manual")
            }
            Self::NoDigits | Self::TooManyDigits { .. } | Self::TooLarge { .. } => {
                Some("press again")
            }
            Self::NoMatch { .. } => {
                Some("check `pattern` of this instrument: tallyjaw listen PORT shows the lines")
            }
            Self::GaugeFault { .. } => Some("look at the gauge's display and its battery"),
        }
    }
}

/// Bytes of one instrument in, values out.
#[derive(Debug)]
pub struct Decoder {
    format: &'static FrameFormat,
    pattern: Option<Pattern>,
    default_unit: Unit,
    splitter: Splitter,
    found: VecDeque<Decoded>,
}

impl Decoder {
    /// A decoder for frames of `format`; values without a unit are in `default_unit`.
    pub fn new(format: &'static FrameFormat, default_unit: Unit) -> Self {
        Self {
            format,
            pattern: None,
            default_unit,
            splitter: Splitter::new(format.framing),
            found: VecDeque::new(),
        }
    }

    /// Sets the user's own pattern, for a format that needs one.
    #[must_use]
    pub fn with_pattern(mut self, pattern: Option<Pattern>) -> Self {
        self.pattern = pattern;
        self
    }

    /// Takes bytes that came at `now`; then call [`Decoder::poll`] until `None`.
    pub fn push(&mut self, now: MonoMicros, bytes: &[u8]) {
        self.splitter.push(now, bytes);
        self.decode_frames();
    }

    /// Takes bytes with parity or framing errors, in order with the others. The frame that holds them gives no value.
    pub fn push_spoiled(&mut self, now: MonoMicros, bytes: &[u8]) {
        self.splitter.push_spoiled(now, bytes);
        self.decode_frames();
    }

    /// Takes bytes that were read at `now`. They may have waited, so they do not prove a silence before them.
    pub fn push_read(&mut self, now: MonoMicros, bytes: &[u8]) {
        self.splitter.push_read(now, bytes);
        self.decode_frames();
    }

    /// As [`Decoder::push_read`], for bytes with parity or framing errors.
    pub fn push_spoiled_read(&mut self, now: MonoMicros, bytes: &[u8]) {
        self.splitter.push_spoiled_read(now, bytes);
        self.decode_frames();
    }

    /// A silence was seen: see [`Splitter::silent_for`].
    pub fn silent_for(&mut self, lasted: std::time::Duration) {
        self.splitter.silent_for(lasted);
        self.decode_frames();
    }

    /// Bytes may be missing from here on: see [`Splitter::lose`].
    pub fn lose(&mut self, now: MonoMicros, behind: &'static str) {
        self.splitter.lose(now, behind);
        self.decode_frames();
    }

    /// The port is closed: an unfinished frame is given up.
    pub fn end(&mut self) {
        self.splitter.end();
        self.decode_frames();
    }

    /// Gives up the bytes of an unfinished frame that have waited past [`Decoder::gives_up_at`].
    pub fn give_up_on_old_bytes(&mut self, now: MonoMicros) {
        self.splitter.give_up_on_old_bytes(now);
        self.decode_frames();
    }

    /// When the unfinished frame will be given up; `None` if there is none.
    pub fn gives_up_at(&self) -> Option<MonoMicros> {
        self.splitter.gives_up_at()
    }

    /// The next item found; `None` until more bytes come.
    pub fn poll(&mut self) -> Option<Decoded> {
        self.found.pop_front()
    }

    fn decode_frames(&mut self) {
        while let Some(frame) = self.splitter.poll() {
            self.found.push_back(self.decode(frame));
        }
    }

    fn decode(&self, frame: Frame) -> Decoded {
        let meaning = self.meaning(frame.body());
        match frame {
            Frame::Whole { raw, .. } => match meaning {
                Ok(Meaning { value, origin }) => Decoded::Value { value, origin, raw },
                Err(reason) => Decoded::Undecoded { raw, reason },
            },
            Frame::Blank { raw } => Decoded::Blank { raw },
            Frame::Broken { raw, reason } => Decoded::Undecoded { raw, reason },
        }
    }

    fn meaning(&self, body: &[u8]) -> Result<Meaning, DecodeError> {
        let fields = (self.format.fields)(body, self.pattern.as_ref())?;
        meaning::meaning(&fields, self.default_unit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const START: MonoMicros = MonoMicros(0);

    fn decode<'a>(
        format: &'static FrameFormat,
        chunks: impl Iterator<Item = &'a [u8]>,
    ) -> Vec<Decoded> {
        let mut decoder = Decoder::new(format, Unit::Millimetre);
        for chunk in chunks {
            decoder.push(START, chunk);
        }
        decoder.end();
        std::iter::from_fn(|| decoder.poll()).collect()
    }

    /// Random bytes with many digits and terminators among them.
    fn bytes() -> impl Strategy<Value = Vec<u8>> {
        let byte = prop_oneof![
            3 => any::<u8>(),
            4 => prop::sample::select(b"0123456789+-. mMiInN".to_vec()),
            2 => prop::sample::select(b"\r\n".to_vec()),
        ];
        let short = prop::collection::vec(byte, 0..300);
        let long = (prop::collection::vec(any::<u8>(), 1..9), 0usize..2000)
            .prop_map(|(unit, times)| unit.repeat(times));
        prop::collection::vec(prop_oneof![4 => short, 1 => long], 0..4)
            .prop_map(|parts| parts.concat())
    }

    proptest! {
        #[test]
        fn any_bytes_cut_anywhere_decode_the_same_and_none_is_lost(
            bytes in bytes(),
            cuts in prop::collection::vec(1usize..200, 1..8),
        ) {
            for format in FORMATS.iter().copied() {
                let whole = decode(format, std::iter::once(bytes.as_slice()));
                let joined: Vec<u8> = whole.iter().flat_map(Decoded::raw).copied().collect();
                prop_assert_eq!(&joined, &bytes, "bytes lost or invented by {}", format.name);
                let mut rest = bytes.as_slice();
                let mut chunks = Vec::new();
                for cut in cuts.iter().cycle() {
                    if rest.is_empty() {
                        break;
                    }
                    let (chunk, after) = rest.split_at((*cut).min(rest.len()));
                    chunks.push(chunk);
                    rest = after;
                }
                prop_assert_eq!(decode(format, chunks.into_iter()), whole);
            }
        }
    }

    #[test]
    fn values_go_on_after_noise() {
        let line = FrameFormat::from_name("decimal-line").unwrap();
        let found = decode(line, std::iter::once(&b"\xff\x00\x7f\x1b[A\r+1.63\r"[..]));
        assert!(matches!(found[0], Decoded::Undecoded { .. }));
        assert!(
            matches!(&found[1], Decoded::Value { value, .. } if value.to_string() == "1.63 mm")
        );
        assert_eq!(found.len(), 2);
    }

    #[test]
    fn a_value_too_large_for_its_unit_is_refused() {
        let line = FrameFormat::from_name("decimal-line").unwrap();
        let found = decode(line, std::iter::once(&b"999999999999999999 in\r"[..]));
        let [Decoded::Undecoded { reason, .. }] = found.as_slice() else {
            panic!("{found:?}");
        };
        assert_eq!(
            reason.to_string(),
            "999999999999999999 in is more than any instrument measures"
        );
    }
}
