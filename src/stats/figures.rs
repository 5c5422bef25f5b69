//! A figure as a row of a table: its name for programs, its words for people, and how to get it.

use super::Undefined;
use super::sample::nearest;
use std::fmt;

/// What kind of number a figure is; decides how it is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FigureKind {
    /// A whole number of things.
    Count,
    /// In the unit of the readings.
    Reading,
    /// A pure number.
    Ratio,
    /// A probability between 0 and 1.
    Probability,
    /// Pieces in a million.
    PartsPerMillion,
    /// Hundredths.
    Percent,
    /// In the unit of the readings, a place.
    Slope,
    /// Where a trend stands: the number of a reading, or a time.
    Position,
}

/// A figure about an `S`.
pub struct Figure<S: ?Sized + 'static> {
    /// As in `--json`; never changes.
    pub name: &'static str,
    /// As people read it.
    pub words: &'static str,
    /// What kind of number.
    pub kind: FigureKind,
    /// Its value, or why it has none.
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

/// A figure without its function: what a list of figures shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FigureInfo {
    /// The study it belongs to.
    pub study: &'static str,
    /// As in `--json`.
    pub name: &'static str,
    /// As people read it.
    pub words: &'static str,
    /// What kind of number.
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

/// How many digits after the point it takes to tell one `step` from the next; at most 8.
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

/// The nearest whole number of millionths: for a place in a picture.
pub fn millionths(value: f64) -> i64 {
    nearest(value * 1e6)
}

/// Back from [`millionths`].
pub fn in_ones(millionths: i64) -> f64 {
    crate::stats::sample::float(millionths.into()) / 1e6
}
