//! Version 1 as it is on disks; never edited after release.

use super::Stamped;
use super::line::{Digest, LineError};

/// The number of this version.
pub(super) const VERSION: u64 = 1;

pub(super) fn encode(stamped: &Stamped, prev: Digest) -> Vec<u8> {
    format!("{{\"v\":1,\"seq\":{},\"prev\":\"{prev}\"}}", stamped.seq).into_bytes()
}

pub(super) fn decode(line: &[u8]) -> Result<(Stamped, Digest), LineError> {
    let _ = line;
    Err(LineError::NotAnEntry {
        cause: String::new(),
    })
}

pub(super) fn unhex(text: &str) -> Option<Vec<u8>> {
    text.as_bytes()
        .chunks(2)
        .map(|pair| u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok())
        .collect()
}
