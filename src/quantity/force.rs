//! Forces in whole millinewtons.

use super::Quantity;
use std::fmt;

/// A force in whole millinewtons.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Force(i64);

impl Force {
    /// From whole millinewtons.
    pub const fn from_millinewtons(millinewtons: i64) -> Self {
        Self(millinewtons)
    }

    /// Whole millinewtons.
    pub const fn millinewtons(self) -> i64 {
        self.0
    }
}

impl fmt::Display for Force {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        Quantity::Force(*self).fmt(f)
    }
}
