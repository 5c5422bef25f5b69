//! The readings of the points of a chart: single ones, or subgroups.

use super::Groups;
use super::points::{common_size, joined};
use crate::stats::{Sample, Undefined, describe};
use std::borrow::Cow;

impl<'s> Groups<'s> {
    /// Number of points.
    pub(super) fn len(self) -> usize {
        match self {
            Self::Singles(all) => all.bases().len(),
            Self::Subgroups(groups) => groups.len(),
        }
    }

    /// Number of readings in a point, which must be the same for all.
    pub(super) fn size(self) -> Result<usize, Undefined> {
        match self {
            Self::Singles(all) if all.bases().is_empty() => common_size(&[]),
            Self::Singles(_) => Ok(1),
            Self::Subgroups(groups) => common_size(groups),
        }
    }

    /// The readings of the first point.
    pub(super) fn first(self) -> Result<Cow<'s, Sample>, Undefined> {
        let none = Undefined::TooFewGroups { got: 0, want: 1 };
        match self {
            Self::Singles(all) => Ok(Cow::Owned(all.part(all.bases().get(..1).ok_or(none)?)?)),
            Self::Subgroups(groups) => groups.first().map(Cow::Borrowed).ok_or(none),
        }
    }

    /// The subgroups.
    ///
    /// # Errors
    ///
    /// [`Undefined::OutOfRange`] for single readings.
    pub(super) fn subgroups(self) -> Result<&'s [Sample], Undefined> {
        match self {
            Self::Subgroups(groups) => Ok(groups),
            Self::Singles(_) => Err(Undefined::OutOfRange {
                what: "the size of a subgroup",
            }),
        }
    }

    /// All readings, if each point is a single reading.
    pub(super) fn singles(self) -> Result<Cow<'s, Sample>, Undefined> {
        match self {
            Self::Singles(all) => Ok(Cow::Borrowed(all)),
            Self::Subgroups(groups) => joined(groups).map(Cow::Owned),
        }
    }

    /// The mean of each point; for single readings, the readings themselves.
    pub(super) fn means(self) -> Result<Vec<f64>, Undefined> {
        match self {
            Self::Singles(all) => {
                let summary = all.summary();
                Ok(all
                    .bases()
                    .iter()
                    .map(|base| summary.in_unit(*base))
                    .collect())
            }
            Self::Subgroups(groups) => {
                let means = groups.iter().map(|group| describe::mean(group.summary()));
                means.collect()
            }
        }
    }
}
