//! Forces in whole millinewtons.

use super::{Quantity, Unit, length::write_shortest};
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
    /// In newtons, with as many digits after the point as the value needs.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_shortest(f, Quantity::Force(*self), Unit::Newton, 0, 3)
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Length(length) => length.fmt(f),
            Self::Force(force) => force.fmt(f),
        }
    }
}
