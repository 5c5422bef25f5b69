//! Histograms: how often each value was read, with the limits.

use crate::quantity::{Quantity, Unit};
use crate::stats::figures::decimals;
use crate::stats::grid::Grid;
use crate::stats::sample::{Scale, float, nearest};
use crate::stats::text::fixed;
use crate::stats::{Limits, Summary};

/// More bars are hard to read.
const MOST_BINS: u64 = 25;
/// At least this number of bars shows a shape.
const FEWEST_BINS: u64 = 8;
/// Length of the longest bar in text form, in characters.
const BAR: f64 = 48.0;

/// The readings from `low` to `high`, both included, in base units.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bin {
    /// The lowest value.
    pub low: i64,
    /// The highest value.
    pub high: i64,
    /// Number of readings.
    pub count: u64,
    /// Whether all of these values lie outside the limits. Otherwise none does.
    pub outside: bool,
}

/// Bars of equal width, which is a whole number of resolution steps so that rounding makes no gaps. A limit always lies
/// between two bars, so a bar beside it may be narrower.
#[derive(Debug, Clone, PartialEq)]
pub struct Histogram {
    bins: Vec<Bin>,
    /// Width of a bar that no limit shortens, in base units.
    width: i64,
    /// Distance between possible values, in base units.
    step: i64,
    /// The count that the longest bar represents.
    most: u64,
    all: Summary,
    limits: Limits,
    places: usize,
}

impl Histogram {
    /// The histogram of readings, with the limits if there are any; `None` without readings.
    pub fn new(all: &Summary, limits: &Limits) -> Option<Self> {
        Self::side_by_side(&[all], limits).into_iter().next()
    }

    /// Histograms of several groups with the same bars and scale; empty without readings.
    pub fn side_by_side(groups: &[&Summary], limits: &Limits) -> Vec<Self> {
        let Some(bars) = Bars::of(groups, limits) else {
            return Vec::new();
        };
        let counted = groups.iter().map(|all| bars.counted(all));
        let counted: Vec<Vec<Bin>> = counted.collect();
        let most = counted.iter().flatten().map(|bin| bin.count).max();
        let drawn = counted.into_iter().zip(groups).map(|(bins, all)| Self {
            bins,
            width: bars.width,
            step: bars.step,
            most: most.unwrap_or(1).max(1),
            all: (*all).clone(),
            limits: *limits,
            places: decimals(all.in_unit(bars.step)),
        });
        drawn.collect()
    }

    /// The bars, ascending by value.
    pub fn bins(&self) -> &[Bin] {
        &self.bins
    }

    /// Width of a bar that no limit shortens, in base units.
    pub fn width(&self) -> i64 {
        self.width
    }

    /// Distance between possible values, in base units.
    pub fn step(&self) -> i64 {
        self.step
    }

    /// The count that the longest bar represents, which is the same for all histograms side by side.
    pub fn most(&self) -> u64 {
        self.most
    }

    pub(super) fn unit(&self) -> Unit {
        self.all.unit()
    }

    /// The lower and the upper limit, in base units.
    fn ends(&self) -> [Option<i64>; 2] {
        [self.limits.lower, self.limits.upper].map(|end| base(self.all.scale(), end))
    }

    /// The existing limits with their names.
    pub(super) fn limits(&self) -> impl Iterator<Item = (&'static str, i64)> {
        named(self.ends())
    }

    pub(super) fn in_unit(&self, base: i64) -> f64 {
        self.all.in_unit(base)
    }

    pub(super) fn digits(&self, base: i64) -> String {
        fixed(self.in_unit(base), self.places)
    }

    fn label(&self, bin: &Bin) -> String {
        if bin.low == bin.high {
            self.digits(bin.low)
        } else {
            format!("{}..{}", self.digits(bin.low), self.digits(bin.high))
        }
    }

    /// A heading, then one line for each bar, with the limits between them. Bars beyond a limit end in `outside`.
    pub fn text(&self) -> Vec<String> {
        let labels: Vec<String> = self.bins.iter().map(|bin| self.label(bin)).collect();
        let unit = self.all.unit().name();
        let names = labels.iter().map(String::as_str).chain([unit]);
        let width = names.map(|name| name.chars().count()).max().unwrap_or(0);
        let mut lines = vec![format!("{unit:>width$} │ readings")];
        let [mut lower_due, mut upper_due] = self.ends();
        for (bin, label) in self.bins.iter().zip(&labels) {
            if let Some(limit) = lower_due.take_if(|limit| bin.low >= *limit) {
                lines.push(self.rule("lower", limit));
            }
            if let Some(limit) = upper_due.take_if(|limit| bin.low > *limit) {
                lines.push(self.rule("upper", limit));
            }
            let length = float(bin.count.into()) / float(self.most.into()) * BAR;
            let bar = "█".repeat(usize::try_from(nearest(length)).unwrap_or(0));
            let words = match bin.count {
                0 => String::new(),
                count if bar.is_empty() => format!("▏ {count}"),
                count => format!("{bar} {count}"),
            };
            let mark = if bin.outside && bin.count > 0 {
                "  outside"
            } else {
                ""
            };
            lines.push(format!("{label:>width$} │{words}{mark}"));
        }
        let due = named([lower_due, upper_due]);
        lines.extend(due.map(|(name, limit)| self.rule(name, limit)));
        lines
    }

    fn rule(&self, name: &str, base: i64) -> String {
        format!(
            "{:─<60}",
            format!("── {name} limit {} ", self.limit_text(base))
        )
    }

    /// A limit with the digits of the readings; it may have more.
    pub(super) fn limit_text(&self, base: i64) -> String {
        let value = self.all.in_unit(base);
        let exact = (self.places..9)
            .map(|places| fixed(value, places))
            .find(|text| {
                text.parse::<f64>()
                    .is_ok_and(|read| (read - value).abs() < 1e-9)
            });
        let digits = exact.unwrap_or_else(|| format!("{value}"));
        format!("{digits} {}", self.all.unit())
    }

    /// The range to draw, in base units: all bars and limits, and half a bar more on each side.
    pub fn span(&self) -> (i64, i64) {
        let lows = self.bins.iter().map(|bin| bin.low);
        let highs = self.bins.iter().map(|bin| bin.high);
        let ends = || self.ends().into_iter().flatten();
        let from = lows.chain(ends()).min().unwrap_or(0);
        let to = highs.chain(ends()).max().unwrap_or(0);
        (
            from.saturating_sub(self.width),
            to.saturating_add(self.width),
        )
    }
}

fn named([lower, upper]: [Option<i64>; 2]) -> impl Iterator<Item = (&'static str, i64)> {
    let ends = [("lower", lower), ("upper", upper)].into_iter();
    ends.filter_map(|(name, limit)| Some((name, limit?)))
}

fn base(on: Scale, end: Option<Quantity>) -> Option<i64> {
    end.map(|end| on.limit(end))
}

/// Positions of the bars, and the values that they must not straddle.
struct Bars {
    /// The first value of each bar, ascending, and one value after the last.
    edges: Vec<i64>,
    width: i64,
    step: i64,
    /// A possible value.
    on_grid: i64,
    lower: Option<i64>,
    upper: Option<i64>,
}

impl Bars {
    fn of(groups: &[&Summary], limits: &Limits) -> Option<Self> {
        let on = groups.first()?.scale();
        let grids = || groups.iter().map(|all| all.grid());
        let least = grids().filter_map(Grid::least).min()?;
        let greatest = grids().filter_map(Grid::greatest).max()?;
        let count = groups.iter().map(|all| all.count()).max()?;
        // Few readings get few bars; otherwise most would be empty.
        let most_bins = (2 * count.isqrt()).clamp(FEWEST_BINS, MOST_BINS);
        let most_bins = i128::from(most_bins);
        let span = i128::from(greatest) - i128::from(least);
        let steps = groups.iter().filter_map(|all| all.step_base().ok());
        let step = match steps.min() {
            Some(step) => i128::from(step),
            None => (span / most_bins).max(1),
        };
        let cells = span / step + 1;
        let width = step * ((cells + most_bins - 1) / most_bins);
        let (lower, upper) = (base(on, limits.lower), base(on, limits.upper));
        let (least, greatest) = (i128::from(least), i128::from(greatest));
        // Bars begin at the lower limit, so that it lies between two. They begin again after the upper one.
        let origin = match lower.map(i128::from) {
            Some(lower) if lower > least && lower <= greatest => {
                let off = (lower - least).rem_euclid(step);
                let first_inside = if off == 0 { lower } else { lower + step - off };
                first_inside - width * ((first_inside - least + width - 1) / width)
            }
            Some(_) | None => least,
        };
        let past_upper = upper.map(|upper| i128::from(upper) + 1);
        let first_outside = past_upper.map(|past| {
            let off = (past - least).rem_euclid(step);
            if off == 0 { past } else { past + step - off }
        });
        let mut edges = Vec::new();
        let mut edge = origin;
        while edge <= greatest {
            edges.push(edge);
            let next = edge + width;
            edge = match first_outside {
                Some(cut) if edge < cut && cut < next => cut,
                Some(_) | None => next,
            };
        }
        edges.push(edge);
        // Values between possible ones also separate bars. The last bar ends before a limit that no reading reaches.
        let parts = [lower.map(i128::from), past_upper];
        edges.extend(
            parts
                .into_iter()
                .flatten()
                .filter(|at| origin < *at && *at < edge),
        );
        edges.sort_unstable();
        edges.dedup();
        edges.truncate(edges.partition_point(|edge| *edge <= greatest) + 1);
        let narrow = |edges: Vec<i128>| -> Option<Vec<i64>> {
            edges
                .into_iter()
                .map(|edge| i64::try_from(edge).ok())
                .collect()
        };
        Some(Self {
            edges: narrow(edges)?,
            width: i64::try_from(width).ok()?,
            step: i64::try_from(step).ok()?,
            on_grid: i64::try_from(least).ok()?,
            lower,
            upper,
        })
    }

    fn counted(&self, all: &Summary) -> Vec<Bin> {
        let mut counts = all.grid().counts().iter().peekable();
        let mut bins = Vec::new();
        for pair in self.edges.windows(2) {
            let [start, next] = *pair else { continue };
            let mut bin = Bin {
                low: start,
                high: next - 1,
                count: 0,
                outside: self.lower.is_some_and(|lower| start < lower)
                    || self.upper.is_some_and(|upper| start > upper),
            };
            while let Some((_, times)) = counts.next_if(|(value, _)| *value < next) {
                bin.count += times;
            }
            // The first and last possible value in the bar.
            let low = start + (self.on_grid - start).rem_euclid(self.step);
            let high = next - 1 - (next - 1 - self.on_grid).rem_euclid(self.step);
            if low <= high {
                (bin.low, bin.high) = (low, high);
            } else if bin.count == 0 {
                continue;
            }
            bins.push(bin);
        }
        bins
    }
}
