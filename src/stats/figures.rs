//! A figure as a row of a table: name for programs, words for people, and function.

use super::Undefined;
use super::sample::nearest;
use std::fmt;

/// The kind of number of a figure, which decides how it is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FigureKind {
    /// A count.
    Count,
    /// A value in the unit of the readings.
    Reading,
    /// A pure number that is whole, such as degrees of freedom.
    Whole,
    /// A pure number.
    Ratio,
    /// A probability between 0 and 1.
    Probability,
    /// Parts per million.
    PartsPerMillion,
    /// Per cent.
    Percent,
    /// A slope: units of the readings per place.
    Slope,
    /// A place on the axis of a trend: the number of a reading, or a time.
    Position,
}

/// A figure that is computed from an `S`.
pub struct Figure<S: ?Sized + 'static> {
    /// Name in `--json`, which never changes.
    pub name: &'static str,
    /// Name for people.
    pub words: &'static str,
    /// The kind of number.
    pub kind: FigureKind,
    /// Computes the value, or the reason why there is none.
    pub of: fn(&S) -> Result<f64, Undefined>,
}

/// A row of a table of figures.
pub(super) const fn row<S>(
    name: &'static str,
    words: &'static str,
    kind: FigureKind,
    of: fn(&S) -> Result<f64, Undefined>,
) -> Figure<S> {
    Figure {
        name,
        words,
        kind,
        of,
    }
}

/// A figure without its function, for lists of figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FigureInfo {
    /// Name of the study that has it.
    pub study: &'static str,
    /// Name in `--json`, which never changes.
    pub name: &'static str,
    /// Name for people.
    pub words: &'static str,
    /// The kind of number.
    pub kind: FigureKind,
}

impl<S: ?Sized> fmt::Debug for Figure<S> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Figure")
            .field("name", &self.name)
            .finish_non_exhaustive()
    }
}

/// The rows of one study.
pub(super) fn rows<S>(study: &'static str, figures: &'static [Figure<S>]) -> Vec<FigureInfo> {
    figures
        .iter()
        .map(|figure| FigureInfo {
            study,
            name: figure.name,
            words: figure.words,
            kind: figure.kind,
        })
        .collect()
}

/// Number of decimals that distinguishes one multiple of `step` from the next; at most 8.
///
/// ```
/// use tallyjaw::stats::figures::decimals;
/// assert_eq!([decimals(0.01), decimals(0.0005), decimals(1.0)], [2, 4, 0]);
/// ```
pub fn decimals(step: f64) -> usize {
    let mut places = 0;
    let mut scaled = step;
    while scaled < 0.999_999 && places < 8 {
        scaled *= 10.0;
        places += 1;
    }
    places
}

/// The nearest whole number.
pub fn whole(value: f64) -> i64 {
    nearest(value)
}

/// The nearest whole number of millionths, for positions in pictures.
pub fn millionths(value: f64) -> i64 {
    nearest(value * 1e6)
}

/// A percentage as a share; `None` unless it is between 0 and 100.
pub fn share(percent: f64) -> Option<f64> {
    let inside = percent > 0.0 && percent < 100.0;
    inside.then(|| percent / 100.0)
}

/// The inverse of [`millionths`].
pub fn in_ones(millionths: i64) -> f64 {
    crate::stats::sample::float(millionths.into()) / 1e6
}
