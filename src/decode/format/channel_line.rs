//! `channel-line`.

use super::{Fields, FrameFormat};
use crate::decode::DecodeError;
use crate::decode::framing::Framing;

pub(super) const FORMAT: FrameFormat = FrameFormat {
    name: "channel-line",
    framing: Framing::Delimited { longest: 64 },
    fields,
};

fn fields(body: &[u8]) -> Result<Fields, DecodeError> {
    Err(DecodeError::CutShort { got: body.len() })
}
