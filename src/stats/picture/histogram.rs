//! How often each value was read, against the limits.

use super::svg::Svg;
use crate::stats::figures::decimals;
use crate::stats::sample::{float, nearest};
use crate::stats::{Limits, Summary};

/// More bars than this are hard to read.
const MOST_BINS: u64 = 25;
/// As few as this show a shape.
const FEWEST_BINS: u64 = 8;
/// The longest bar of the text form.
const BAR: f64 = 48.0;

/// Readings from `low` up to `high`, both included, in base units.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bin {
    /// The least value.
    pub low: i64,
    /// The greatest value.
    pub high: i64,
    /// How many readings.
    pub count: u64,
}

/// Bars of equal width, each a whole number of the instrument's steps, so that rounding makes no gaps.
#[derive(Debug, Clone, PartialEq)]
pub struct Histogram {
    bins: Vec<Bin>,
    all: Summary,
    limits: Limits,
    places: usize,
}

impl Histogram {
    /// Of readings, with limits where there are some. `None` without readings.
    pub fn new(all: &Summary, limits: &Limits) -> Option<Self> {
        let grid = all.grid();
        let (least, greatest) = grid.least().zip(grid.greatest())?;
        // few readings are few bars, else most of them would be empty
        let most_bins = (2 * all.count().isqrt()).clamp(FEWEST_BINS, MOST_BINS);
        let most_bins = i128::from(most_bins);
        let span = i128::from(greatest) - i128::from(least);
        let step = match all.step_base() {
            Ok(step) => i128::from(step),
            Err(_) => (span / most_bins).max(1),
        };
        let cells = span / step + 1;
        let width = step * ((cells + most_bins - 1) / most_bins);
        let mut bins: Vec<Bin> = Vec::new();
        let mut low = i128::from(least);
        while low <= i128::from(greatest) {
            bins.push(Bin {
                low: i64::try_from(low).ok()?,
                high: i64::try_from(low + width - 1).unwrap_or(i64::MAX),
                count: 0,
            });
            low += width;
        }
        let mut counts = grid.counts().iter().peekable();
        for bin in &mut bins {
            while let Some((_, times)) = counts.next_if(|(value, _)| *value <= bin.high) {
                bin.count += times;
            }
            // the last value on the grid that falls into it
            bin.high = bin.low + i64::try_from(width - step).ok()?;
        }
        Some(Self {
            bins,
            all: all.clone(),
            limits: *limits,
            places: decimals(all.in_unit(i64::try_from(step).ok()?)),
        })
    }

    /// The bars, ascending.
    pub fn bins(&self) -> &[Bin] {
        &self.bins
    }

    fn ends(&self) -> (Option<i64>, Option<i64>) {
        let base =
            |end: Option<crate::quantity::Quantity>| end.map(crate::quantity::Quantity::base);
        (base(self.limits.lower), base(self.limits.upper))
    }

    fn digits(&self, base: i64) -> String {
        format!("{:.places$}", self.all.in_unit(base), places = self.places)
    }

    fn label(&self, bin: &Bin) -> String {
        if bin.low == bin.high {
            self.digits(bin.low)
        } else {
            format!("{}..{}", self.digits(bin.low), self.digits(bin.high))
        }
    }

    /// A line a bar, the limits between them; bars beyond a limit end in `out`.
    pub fn text(&self) -> Vec<String> {
        let (lower, upper) = self.ends();
        let most = self
            .bins
            .iter()
            .map(|bin| bin.count)
            .max()
            .unwrap_or(1)
            .max(1);
        let labels: Vec<String> = self.bins.iter().map(|bin| self.label(bin)).collect();
        let width = labels
            .iter()
            .map(|label| label.chars().count())
            .max()
            .unwrap_or(0);
        let mut lines = Vec::new();
        let rule = |name: &str, base: i64| {
            format!(
                "{:─<60}",
                format!("── {name} {} ", self.digits_of_limit(base))
            )
        };
        let mut lower_due = lower;
        let mut upper_due = upper;
        for (bin, label) in self.bins.iter().zip(&labels) {
            if let Some(limit) = lower_due.filter(|limit| bin.low >= *limit) {
                lines.push(rule("lower limit", limit));
                lower_due = None;
            }
            if let Some(limit) = upper_due.filter(|limit| bin.low > *limit) {
                lines.push(rule("upper limit", limit));
                upper_due = None;
            }
            let out = lower.is_some_and(|limit| bin.low < limit)
                || upper.is_some_and(|limit| bin.high > limit);
            let length = float(bin.count.into()) / float(most.into()) * BAR;
            let bar = "█".repeat(usize::try_from(nearest(length)).unwrap_or(0));
            let bar = if bin.count > 0 && bar.is_empty() {
                "▏".to_owned()
            } else {
                bar
            };
            let count = if bin.count > 0 {
                format!(" {}", bin.count)
            } else {
                String::new()
            };
            let mark = if out && bin.count > 0 { "  out" } else { "" };
            lines.push(format!("{label:>width$} │{bar}{count}{mark}"));
        }
        if let Some(limit) = lower_due {
            lines.push(rule("lower limit", limit));
        }
        if let Some(limit) = upper_due {
            lines.push(rule("upper limit", limit));
        }
        lines
    }

    /// A limit may have more digits than the readings.
    fn digits_of_limit(&self, base: i64) -> String {
        let value = self.all.in_unit(base);
        let exact = (self.places..9)
            .map(|places| format!("{value:.places$}"))
            .find(|text| {
                text.parse::<f64>()
                    .is_ok_and(|read| (read - value).abs() < 1e-9)
            });
        let digits = exact.unwrap_or_else(|| format!("{value}"));
        format!("{digits} {}", self.all.unit())
    }

    /// The same as an SVG document.
    pub fn svg(&self, title: &str) -> String {
        let (lower, upper) = self.ends();
        let first = self.bins.first().map_or(0, |bin| bin.low);
        let last = self.bins.last().map_or(0, |bin| bin.high);
        let step = self.bins.first().map_or(1, |bin| {
            let next = self.bins.get(1).map_or(bin.high + 1, |next| next.low);
            (next - bin.low).max(1)
        });
        let (from, to) = (
            lower.map_or(first, |limit| limit.min(first)) - step,
            upper.map_or(last, |limit| limit.max(last)) + step,
        );
        let most = self
            .bins
            .iter()
            .map(|bin| bin.count)
            .max()
            .unwrap_or(1)
            .max(1);
        let mut svg = Svg::new(title);
        let x = |base: i64| float((base - from).into()) / float((to - from).max(1).into());
        let wide = float(step.into()) / float((to - from).max(1).into());
        for bin in self.bins.iter().filter(|bin| bin.count > 0) {
            let out = lower.is_some_and(|limit| bin.low < limit)
                || upper.is_some_and(|limit| bin.high > limit);
            let middle = f64::midpoint(x(bin.low), x(bin.high));
            let high = float(bin.count.into()) / float(most.into());
            svg.bar(middle - wide * 0.45, wide * 0.9, high, out);
        }
        for (limit, name) in [(lower, "lower limit"), (upper, "upper limit")] {
            if let Some(limit) = limit {
                svg.upright(x(limit), &format!("{name} {}", self.digits_of_limit(limit)));
            }
        }
        for base in [first, last] {
            svg.below(x(base), &self.digits(base));
        }
        svg.finish()
    }
}
