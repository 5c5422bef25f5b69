//! The readings of the points of a chart: single ones, or subgroups.

use crate::stats::moments::Moments;
use crate::stats::packed::Packed;
use crate::stats::sample::{Scale, base_in, float, float_of};
use crate::stats::{Sample, Undefined, describe};

/// Readings in order, of which as many in a row as a subgroup has are a point.
#[derive(Debug, Clone)]
pub struct Groups {
    bases: Packed,
    size: usize,
    scale: Scale,
    step: Option<i64>,
}

impl Groups {
    /// Subgroups of `size` readings in a row, in base units of `scale`; 1 for single readings. A last subgroup that is not
    /// full is left out. `step` is the resolution, if it is known.
    pub fn new(bases: Packed, size: usize, scale: Scale, step: Option<i64>) -> Self {
        Self {
            bases,
            size: size.max(1),
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
    /// [`Undefined::Unequal`] if they differ in their number of readings, [`Undefined::TooFewGroups`] if there are none.
    pub fn subgroups(groups: &[Sample]) -> Result<Self, Undefined> {
        let first = groups.first().ok_or(NONE)?;
        let step = first.summary().step_base().ok();
        Self::equal(groups.iter().map(Sample::bases), first.scale(), step)
    }

    /// Each of these lists of readings is a point, in base units of `scale`. Errors as of [`Groups::subgroups`].
    pub fn equal<'b>(
        lists: impl Iterator<Item = &'b [i64]> + Clone,
        scale: Scale,
        step: Option<i64>,
    ) -> Result<Self, Undefined> {
        let size = common_size(lists.clone().map(<[i64]>::len))?;
        let bases = lists.flatten().copied().collect();
        Ok(Self::new(bases, size, scale, step))
    }

    /// Number of points.
    pub fn len(&self) -> usize {
        self.bases.len() / self.size
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Number of readings after the last full subgroup.
    pub fn left(&self) -> usize {
        self.bases.len() % self.size
    }

    /// Number of readings in a point.
    ///
    /// # Errors
    ///
    /// [`Undefined::TooFewGroups`] without points.
    pub(super) fn size(&self) -> Result<usize, Undefined> {
        if self.is_empty() {
            return Err(NONE);
        }
        Ok(self.size)
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

    /// The same form of readings, with other readings.
    pub(super) fn with(&self, bases: Packed) -> Self {
        Self::new(bases, self.size, self.scale, self.step)
    }

    /// The readings of all full subgroups, in order.
    pub(super) fn bases(&self) -> impl Iterator<Item = i64> + '_ {
        self.bases.iter().take(self.len() * self.size)
    }

    /// What `of` finds in the readings of each point.
    fn of_each<'g, T: 'g>(&'g self, of: impl Fn(&[i64]) -> T + 'g) -> impl Iterator<Item = T> + 'g {
        let mut bases = self.bases();
        let mut group = Vec::with_capacity(self.size);
        std::iter::from_fn(move || {
            group.clear();
            group.extend(bases.by_ref().take(self.size));
            (!group.is_empty()).then(|| of(&group))
        })
    }

    /// A number of base units, in the unit of the readings.
    pub(super) fn in_unit(&self, base: i64) -> f64 {
        base_in(self.scale, float(base.into()))
    }

    /// The mean of each point: an exact sum, divided once.
    pub(super) fn means(&self) -> impl Iterator<Item = f64> + '_ {
        let n = float_of(self.size);
        self.of_each(move |group| {
            let total: i128 = group.iter().map(|base| i128::from(*base)).sum();
            base_in(self.scale, float(total) / n)
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

/// The number of readings in each subgroup, which must be the same.
fn common_size(sizes: impl Iterator<Item = usize> + Clone) -> Result<usize, Undefined> {
    let ends = sizes.clone().min().zip(sizes.max());
    let (fewest, most) = ends.ok_or(NONE)?;
    if fewest == most {
        return Ok(fewest);
    }
    let count = |size: usize| u64::try_from(size).unwrap_or(u64::MAX);
    Err(Undefined::Unequal {
        fewest: count(fewest),
        most: count(most),
    })
}
