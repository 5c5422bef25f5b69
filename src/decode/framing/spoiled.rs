//! Which bytes in hand the line spoiled.

use crate::decode::DecodeError;

/// The spoiled ones among the bytes in hand.
#[derive(Debug, Default)]
pub(super) struct Spoiled {
    count: usize,
    /// Place and value.
    first: Option<(usize, u8)>,
}

impl Spoiled {
    /// The byte that will be at `at` of those in hand is spoiled.
    pub(super) fn note(&mut self, at: usize, byte: u8) {
        self.count += 1;
        self.first.get_or_insert((at, byte));
    }

    pub(super) fn is_none(&self) -> bool {
        self.first.is_none()
    }

    /// The fault of the bytes in hand, if there is one, and a clean start.
    pub(super) fn take(&mut self, of: usize) -> Option<DecodeError> {
        let Self { count, first } = std::mem::take(self);
        first.map(|(at, got)| DecodeError::LineFault {
            spoiled: count,
            of,
            at,
            got,
        })
    }
}
