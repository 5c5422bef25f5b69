//! Frames that end with CR, LF, or both.

use super::Frame;
use crate::decode::DecodeError;
use crate::quantity::MonoMicros;
use std::collections::VecDeque;
use std::time::Duration;

/// Bytes of an unfinished frame are given up after this long without another.
const PATIENCE: Duration = Duration::from_secs(1);

/// A splitter at CR, LF, or both.
#[derive(Debug)]
pub struct Delimited {
    longest: usize,
    pending: Vec<u8>,
    last_byte_at: Option<MonoMicros>,
    found: VecDeque<Frame>,
}

impl Delimited {
    pub(super) fn new(longest: usize) -> Self {
        Self {
            longest,
            pending: Vec::new(),
            last_byte_at: None,
            found: VecDeque::new(),
        }
    }

    pub(super) fn push(&mut self, now: MonoMicros, bytes: &[u8]) {
        let _ = (now, bytes);
    }

    pub(super) fn end(&mut self) {
        if !self.pending.is_empty() {
            let raw = std::mem::take(&mut self.pending);
            let reason = DecodeError::CutShort { got: raw.len() };
            self.found.push_back(Frame::Broken { raw, reason });
        }
        self.last_byte_at = None;
    }

    pub(super) fn give_up_on_old_bytes(&mut self, now: MonoMicros) {
        if self.gives_up_at().is_some_and(|at| at <= now) {
            self.end();
        }
    }

    pub(super) fn gives_up_at(&self) -> Option<MonoMicros> {
        self.last_byte_at.map(|at| at.plus(PATIENCE))
    }

    pub(super) fn poll(&mut self) -> Option<Frame> {
        let _ = self.longest;
        self.found.pop_front()
    }
}
