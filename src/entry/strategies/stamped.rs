//! Any entry at any place of a journal.

use super::entry;
use super::values::{at, seq, text};
use crate::entry::Stamped;
use proptest::option;
use proptest::prelude::*;

/// An entry of any kind with any number and time.
pub(crate) fn stamped() -> BoxedStrategy<Stamped> {
    (seq(), at(), option::of(text()), entry())
        .prop_map(|(seq, at, token, entry)| Stamped {
            seq,
            at,
            token,
            entry,
        })
        .boxed()
}
