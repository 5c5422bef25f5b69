//! Reduces a long panel to marks that stand for several points each, so that a picture shows no more than can be
//! distinguished.
//!
//! In: the points of a panel. Out: [`Mark`]s, each for consecutive points, with the lowest, the mean and the highest of them.
//! Signals are not reduced: each keeps its own mark.

use crate::stats::chart::{Panel, Point};
use crate::stats::sample::float_of;

/// A panel with no more points than this shows each of them: two for each pixel of the field.
const EACH_SHOWN: usize = 1024;
/// Number of marks of a longer panel in a picture: one for each pixel of the field.
pub(super) const MARKS: usize = 512;

/// One or more consecutive points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Mark {
    /// Index of its first point.
    pub(super) at: usize,
    /// Number of points.
    pub(super) count: usize,
    pub(super) lowest: f64,
    pub(super) mean: f64,
    pub(super) highest: f64,
    /// The last of them, for the control limits there.
    pub(super) last: Point,
}

/// Number of points of a panel that stand in one mark, where `marks` have room.
pub(super) fn points_in_mark(panel: &Panel, marks: usize) -> usize {
    let points = panel.points.len();
    if points <= EACH_SHOWN {
        1
    } else {
        points.div_ceil(marks)
    }
}

/// The marks of a panel, in order; the last may have fewer points.
pub(super) fn marks(panel: &Panel, each: usize) -> impl Iterator<Item = Mark> + Clone {
    let groups = panel.points.chunks(each.max(1)).enumerate();
    groups.filter_map(move |(nth, points)| {
        let values = || points.iter().map(|point| point.value);
        let last = *points.last()?;
        Some(Mark {
            at: nth * each,
            count: points.len(),
            lowest: values().fold(f64::INFINITY, f64::min),
            mean: match points {
                [only] => only.value,
                several => values().sum::<f64>() / float_of(several.len()),
            },
            highest: values().fold(f64::NEG_INFINITY, f64::max),
            last,
        })
    })
}

/// How a picture was reduced, in words; `None` where each point has a mark of its own.
pub(super) fn sentence(each: usize) -> Option<String> {
    (each > 1).then(|| {
        format!("each mark stands for {each} consecutive points: lowest, mean, highest; signals are marked singly")
    })
}
