//! Which readings were read already, so that none counts twice.
//!
//! In: journal and entry of a reading, its file, and what it says. Out: whether it is new, the same again, or says
//! something else. It takes 8 bytes for each entry of a journal.

use crate::entry::Seq;
use std::collections::{BTreeMap, HashMap};
use std::hash::{DefaultHasher, Hash as _, Hasher as _};

/// Number of entries that are kept together.
const PAGE: usize = 256;
const PAGE_ENTRIES: u64 = 256;
/// Bits of the number of a file.
const FILE_BITS: u32 = 16;

/// What was seen of a reading before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Before {
    /// Nothing.
    New,
    /// The same.
    Same,
    /// Something else, in this file.
    Differs {
        /// Its number.
        file: usize,
    },
}

/// The readings that were read.
#[derive(Default)]
pub struct Seen(HashMap<u128, BTreeMap<u64, Box<[u64; PAGE]>>>);

impl Seen {
    /// Notes a reading.
    pub fn note(&mut self, (journal, seq): (u128, Seq), file: usize, says: &[&str]) -> Before {
        let mut hasher = DefaultHasher::new();
        says.hash(&mut hasher);
        // 48 bits of what it says, and the number of its file from 1: never 0.
        let mask = (1 << FILE_BITS) - 1;
        let named = u64::try_from(file + 1).unwrap_or(mask).min(mask);
        let now = (hasher.finish() & !mask) | named;
        let pages = self.0.entry(journal).or_default();
        let page = pages.entry(seq.0 / PAGE_ENTRIES);
        let page = page.or_insert_with(|| Box::new([0; PAGE]));
        let at = usize::try_from(seq.0 % PAGE_ENTRIES).unwrap_or_default();
        let Some(known) = page.get_mut(at) else {
            return Before::New;
        };
        if *known == 0 {
            *known = now;
            return Before::New;
        }
        if *known & !mask == now & !mask {
            return Before::Same;
        }
        let file = usize::try_from((*known & mask) - 1).unwrap_or_default();
        Before::Differs { file }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_is_new_once_and_then_the_same_or_another() {
        let mut seen = Seen::default();
        for (journal, seq) in [(1, 1), (1, 2), (2, 1), (1, u64::MAX)] {
            let first = seen.note((journal, Seq(seq)), 3, &["1.62", "counted"]);
            assert_eq!(first, Before::New);
            let again = seen.note((journal, Seq(seq)), 4, &["1.62", "counted"]);
            assert_eq!(again, Before::Same);
            let other = seen.note((journal, Seq(seq)), 4, &["1.62", "retracted"]);
            assert_eq!(other, Before::Differs { file: 3 });
        }
        assert_eq!(seen.0.len(), 2, "journals");
    }
}
