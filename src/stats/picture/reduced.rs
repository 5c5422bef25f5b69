//! Reduces a long panel to marks that stand for several points each, so that a picture shows no more than can be
//! distinguished.
//!
//! In: the points of a panel, one after the other. Out: [`Mark`]s, each for consecutive points, with the lowest, the mean and
//! the highest of them, and what a picture needs of all points: its memory does not grow with them. Signals are not
//! reduced: each keeps its own mark, up to [`SIGNALS_SHOWN`].

use crate::stats::chart::{Point, SIGNALS_SHOWN};
use crate::stats::figures::millionths;
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

/// What a picture needs of the points.
#[derive(Debug, Clone)]
pub(super) struct Reduced {
    /// In order; the last may have fewer points than the others.
    pub(super) marks: Vec<Mark>,
    /// The last point.
    pub(super) last: Point,
    /// Lowest and highest value.
    pub(super) ends: (f64, f64),
    pub(super) center: Span,
    /// `None` if the panel has no such line.
    pub(super) lower: Option<Span>,
    pub(super) upper: Option<Span>,
}

/// Lowest and highest place of a line, in millionths.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Span {
    pub(super) from: i64,
    pub(super) to: i64,
}

impl Span {
    fn of(value: f64) -> Self {
        let at = millionths(value);
        Self { from: at, to: at }
    }

    fn join(&mut self, other: Self) {
        self.from = self.from.min(other.from);
        self.to = self.to.max(other.to);
    }

    /// Whether the line is level.
    pub(super) fn is_level(self) -> bool {
        self.from == self.to
    }
}

/// Number of points of a panel of `points` that stand in one mark, where `marks` have room.
pub(super) fn points_in_mark(points: usize, marks: usize) -> usize {
    if points <= EACH_SHOWN {
        1
    } else {
        points.div_ceil(marks)
    }
}

impl Reduced {
    /// `each` consecutive points stand in a mark; the first has index `from`. `None` without points.
    pub(super) fn of(
        points: impl Iterator<Item = Point>,
        from: usize,
        each: usize,
    ) -> Option<Self> {
        let mut points = points.enumerate();
        let mut reduced = Self::begin(points.next()?.1, from);
        for (at, point) in points {
            reduced.add(point, from + at, at % each.max(1) == 0);
        }
        reduced.close();
        Some(reduced)
    }

    fn begin(point: Point, at: usize) -> Self {
        Self {
            marks: vec![Mark::begin(point, at)],
            last: point,
            ends: (point.value, point.value),
            center: Span::of(point.center),
            lower: point.lower.map(Span::of),
            upper: point.upper.map(Span::of),
        }
    }

    fn add(&mut self, point: Point, at: usize, begins: bool) {
        if let Some(mark) = self.marks.last_mut().filter(|_| !begins) {
            mark.add(point);
        } else {
            self.close();
            self.marks.push(Mark::begin(point, at));
        }
        self.last = point;
        self.ends = (self.ends.0.min(point.value), self.ends.1.max(point.value));
        self.center.join(Span::of(point.center));
        for (line, here) in [
            (&mut self.lower, point.lower),
            (&mut self.upper, point.upper),
        ] {
            if let Some((line, here)) = line.as_mut().zip(here) {
                line.join(Span::of(here));
            }
        }
    }

    /// Ends the last mark, whose mean was a sum until now.
    fn close(&mut self) {
        if let Some(mark) = self.marks.last_mut().filter(|mark| mark.count > 1) {
            mark.mean /= float_of(mark.count);
        }
    }

    /// Lowest and highest place of points and lines.
    pub(super) fn span(&self) -> Span {
        let mut span = Span::of(self.ends.0);
        span.join(Span::of(self.ends.1));
        for line in [Some(self.center), self.upper, self.lower]
            .into_iter()
            .flatten()
        {
            span.join(line);
        }
        span
    }
}

impl Mark {
    fn begin(point: Point, at: usize) -> Self {
        Self {
            at,
            count: 1,
            lowest: point.value,
            mean: point.value,
            highest: point.value,
            last: point,
        }
    }

    fn add(&mut self, point: Point) {
        self.count += 1;
        self.lowest = self.lowest.min(point.value);
        self.mean += point.value;
        self.highest = self.highest.max(point.value);
        self.last = point;
    }
}

/// How a picture was reduced, in words; `None` where each point and each signal has a mark of its own.
pub(super) fn sentence(each: usize, signals: usize) -> Option<String> {
    let marked = if signals > SIGNALS_SHOWN {
        format!("the first {SIGNALS_SHOWN} of {signals} signals are marked singly")
    } else {
        "signals are marked singly".to_owned()
    };
    if each > 1 {
        return Some(format!(
            "each mark stands for {each} consecutive points: lowest, mean, highest; {marked}"
        ));
    }
    (signals > SIGNALS_SHOWN).then_some(marked)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn what_is_drawn_has_the_ends_and_the_number_of_all_points(
            values in proptest::collection::vec(-1000_i32..1000, 1..5000),
            marks in prop_oneof![Just(40_usize), Just(MARKS)],
        ) {
            let values: Vec<f64> = values.iter().map(|value| f64::from(*value) / 100.0).collect();
            let point = |value: &f64| Point { value: *value, center: 0.0, lower: None, upper: Some(1.0) };
            let each = points_in_mark(values.len(), marks);
            let reduced = Reduced::of(values.iter().map(point), 0, each).unwrap();
            prop_assert!(reduced.marks.len() <= EACH_SHOWN);
            prop_assert_eq!(reduced.marks.iter().map(|mark| mark.count).sum::<usize>(), values.len());
            let mut points = values.chunks(each);
            for mark in &reduced.marks {
                let own = points.next().unwrap();
                prop_assert_eq!(own.len(), mark.count);
                let (lowest, highest) = own.iter().fold((own[0], own[0]), |(low, high), value| (value.min(low), value.max(high)));
                prop_assert_eq!((mark.lowest, mark.highest), (lowest, highest));
                prop_assert!((mark.mean - own.iter().sum::<f64>() / float_of(own.len())).abs() < 1e-9);
            }
            let drawn = |end: fn(f64, f64) -> f64, of: fn(&Mark) -> f64| reduced.marks.iter().map(of).reduce(end);
            prop_assert_eq!(drawn(f64::min, |mark| mark.lowest), Some(reduced.ends.0));
            prop_assert_eq!(drawn(f64::max, |mark| mark.highest), Some(reduced.ends.1));
        }
    }
}
