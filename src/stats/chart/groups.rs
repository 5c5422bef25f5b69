//! The readings of the points of a chart: single ones, or subgroups.

use crate::stats::moments::Moments;
use crate::stats::packed::Packed;
use crate::stats::sample::{Scale, base_in, float, float_of};
use crate::stats::{Sample, Undefined, describe};
use std::sync::Arc;

/// Readings in order, of which as many in a row as a subgroup has are a point.
#[derive(Debug, Clone)]
pub struct Groups {
    bases: Packed,
    sizes: Sizes,
    scale: Scale,
    step: Option<i64>,
}

/// The number of readings in each point.
#[derive(Debug, Clone)]
enum Sizes {
    /// The same in each. A last subgroup that is not full is left out.
    Equal(usize),
    /// Those of the points, in order.
    Each(Arc<[usize]>),
}

impl Groups {
    /// Subgroups of `size` readings in a row, in base units of `scale`; 1 for single readings. A last subgroup that is not
    /// full is left out. `step` is the resolution, if it is known.
    pub fn new(bases: Packed, size: usize, scale: Scale, step: Option<i64>) -> Self {
        Self {
            bases,
            sizes: Sizes::Equal(size.max(1)),
            scale,
            step,
        }
    }

    /// Each reading is a point.
    pub fn singles(sample: &Sample) -> Self {
        let bases = sample.bases().iter().copied().collect();
        Self::new(bases, 1, sample.scale(), sample.summary().step_base().ok())
    }

    /// Each of these subgroups is a point.
    ///
    /// # Errors
    ///
    /// [`Undefined::TooFewGroups`] if there are none.
    pub fn subgroups(groups: &[Sample]) -> Result<Self, Undefined> {
        let first = groups.first().ok_or(NONE)?;
        let step = first.summary().step_base().ok();
        Self::of_lists(groups.iter().map(Sample::bases), first.scale(), step)
    }

    /// Each of these lists of readings is a point, in base units of `scale`. Errors as of [`Groups::subgroups`].
    pub fn of_lists<'b>(
        lists: impl Iterator<Item = &'b [i64]> + Clone,
        scale: Scale,
        step: Option<i64>,
    ) -> Result<Self, Undefined> {
        let sizes: Arc<[usize]> = lists.clone().map(<[i64]>::len).collect();
        let first = *sizes.first().ok_or(NONE)?;
        let bases = lists.flatten().copied().collect();
        if sizes.iter().all(|size| *size == first) {
            return Ok(Self::new(bases, first, scale, step));
        }
        Ok(Self {
            bases,
            sizes: Sizes::Each(sizes),
            scale,
            step,
        })
    }

    /// Number of points.
    pub fn len(&self) -> usize {
        match &self.sizes {
            Sizes::Equal(size) => self.bases.len() / size,
            Sizes::Each(sizes) => sizes.len(),
        }
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Number of readings after the last full subgroup.
    pub fn left(&self) -> usize {
        match &self.sizes {
            Sizes::Equal(size) => self.bases.len() % size,
            Sizes::Each(_) => 0,
        }
    }

    /// Number of readings in a point.
    ///
    /// # Errors
    ///
    /// [`Undefined::TooFewGroups`] without points, [`Undefined::Unequal`] if they differ.
    pub(super) fn size(&self) -> Result<usize, Undefined> {
        if self.is_empty() {
            return Err(NONE);
        }
        let sizes = match &self.sizes {
            Sizes::Equal(size) => return Ok(*size),
            Sizes::Each(sizes) => sizes,
        };
        let count = |size: Option<&usize>| {
            let size = size.copied().unwrap_or(0);
            u64::try_from(size).unwrap_or(u64::MAX)
        };
        Err(Undefined::Unequal {
            fewest: count(sizes.iter().min()),
            most: count(sizes.iter().max()),
        })
    }

    /// Number of readings in a point for a [`Baseline`](super::Baseline), which says if they differ.
    pub fn size_or_several(&self) -> usize {
        self.size().unwrap_or(super::Baseline::SEVERAL)
    }

    /// Number of readings in each point, in order.
    pub(super) fn sizes(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.len()).map(|at| self.size_at(at))
    }

    /// Number of readings in the point at this place; beyond the last one the sizes begin again.
    fn size_at(&self, at: usize) -> usize {
        match &self.sizes {
            Sizes::Equal(size) => *size,
            Sizes::Each(sizes) => {
                let nth = at.checked_rem(sizes.len()).unwrap_or(0);
                sizes.get(nth).copied().unwrap_or(1)
            }
        }
    }

    /// The mean number of readings in a point, rounded up.
    pub(super) fn typical(&self) -> usize {
        match &self.sizes {
            Sizes::Equal(size) => *size,
            Sizes::Each(sizes) => self.bases.len().div_ceil(sizes.len().max(1)).max(1),
        }
    }

    pub(super) fn scale(&self) -> Scale {
        self.scale
    }

    /// The resolution, in base units.
    pub(super) fn step(&self) -> Option<i64> {
        self.step
    }

    /// The first reading.
    pub(super) fn first(&self) -> Option<i64> {
        self.bases.iter().next()
    }

    /// As many points of the same sizes, of other readings.
    pub(super) fn made(&self, points: usize, mut reading: impl FnMut() -> i64) -> Self {
        let sizes = match &self.sizes {
            Sizes::Equal(size) => Sizes::Equal(*size),
            Sizes::Each(_) => Sizes::Each((0..points).map(|at| self.size_at(at)).collect()),
        };
        let count: usize = (0..points).map(|at| self.size_at(at)).sum();
        Self {
            bases: (0..count).map(|_| reading()).collect(),
            sizes,
            scale: self.scale,
            step: self.step,
        }
    }

    /// The readings of all full subgroups, in order.
    pub(super) fn bases(&self) -> impl Iterator<Item = i64> + '_ {
        self.bases.iter().take(self.bases.len() - self.left())
    }

    /// What `of` finds in the readings of each point.
    fn of_each<'g, T: 'g>(&'g self, of: impl Fn(&[i64]) -> T + 'g) -> impl Iterator<Item = T> + 'g {
        let mut bases = self.bases();
        let mut group = Vec::with_capacity(self.typical());
        self.sizes().map(move |size| {
            group.clear();
            group.extend(bases.by_ref().take(size));
            of(&group)
        })
    }

    /// A number of base units, in the unit of the readings.
    pub(super) fn in_unit(&self, base: i64) -> f64 {
        base_in(self.scale, float(base.into()))
    }

    /// The mean of each point: an exact sum, divided once.
    pub(super) fn means(&self) -> impl Iterator<Item = f64> + '_ {
        self.of_each(move |group| {
            let total: i128 = group.iter().map(|base| i128::from(*base)).sum();
            base_in(self.scale, float(total) / float_of(group.len()))
        })
    }

    /// The range of each point, in base units.
    pub(super) fn ranges(&self) -> impl Iterator<Item = i64> + '_ {
        self.of_each(|group| {
            let ends = group.iter().max().zip(group.iter().min());
            ends.map_or(0, |(highest, lowest)| highest.saturating_sub(*lowest))
        })
    }

    /// The standard deviation of each point.
    pub(super) fn sds(&self) -> impl Iterator<Item = Result<f64, Undefined>> + '_ {
        self.of_each(|group| {
            let mut moments = Moments::default();
            group.iter().try_for_each(|base| moments.push(*base))?;
            describe::sd_of(&moments, self.scale)
        })
    }
}

/// What a chart without points is refused with.
const NONE: Undefined = Undefined::TooFewGroups { got: 0, want: 1 };
