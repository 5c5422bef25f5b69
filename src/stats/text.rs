//! Formats figures for people: digits, units, confidence intervals.

use super::figures::{self, Figure, FigureKind};
use super::{Summary, Undefined};
use crate::quantity::{Unit, WallMicros, Zone};
use core::fmt;

/// A figure with its value, or the reason why it has none.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shown {
    /// Name in `--json`.
    pub name: &'static str,
    /// Name for people.
    pub words: &'static str,
    /// The kind of number.
    pub kind: FigureKind,
    /// The value, or the reason why there is none.
    pub value: Result<f64, Undefined>,
}

/// The values of all figures of a table.
pub fn all<S>(rows: &'static [Figure<S>], of: &S) -> Vec<Shown> {
    rows.iter()
        .map(|row| Shown {
            name: row.name,
            words: row.words,
            kind: row.kind,
            value: (row.of)(of),
        })
        .collect()
}

/// A line of a table of figures.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Name for people.
    pub words: &'static str,
    /// The value as text, or the reason why there is none.
    pub value: Result<String, Undefined>,
    /// The confidence interval as text, if it has one.
    pub bounds: Option<(String, String)>,
}

/// A line for each figure, with its confidence interval.
pub fn lines(shown: &[Shown], digits: Digits<'_>) -> Vec<Line> {
    let named = |name: &str| shown.iter().find(|figure| figure.name == name);
    let is_bound = |figure: &Shown| {
        let base = figure
            .name
            .strip_suffix("_low")
            .or_else(|| figure.name.strip_suffix("_high"));
        base.is_some_and(|base| named(base).is_some())
    };
    let bound = |row: &Shown, end: &str| {
        let value = named(&format!("{}_{end}", row.name))?.value.ok()?;
        Some(if row.kind == FigureKind::Slope {
            digits.slope(value)
        } else {
            digits.text(row.kind, value)
        })
    };
    shown
        .iter()
        .filter(|figure| !is_bound(figure))
        .map(|row| Line {
            words: row.words,
            value: row.value.map(|value| digits.text(row.kind, value)),
            bounds: bound(row, "low").zip(bound(row, "high")),
        })
        .collect()
}

/// A probability as text. A small one is never shown as 0.
pub fn chance(p: f64) -> String {
    if p < 0.0001 {
        "under 0.0001".to_owned()
    } else {
        fixed(p, 4)
    }
}

/// A share in percent, without zeros at the end: `95 %`, `98.3333 %`.
pub fn percent(share: f64) -> String {
    let digits = fixed(100.0 * share, 4);
    format!("{} %", digits.trim_end_matches('0').trim_end_matches('.'))
}

/// A probability in percent with one decimal. Neither 0 nor 100 is shown for one between them.
pub fn about_percent(share: f64) -> String {
    match fixed(100.0 * share, 1).as_str() {
        "100.0" if share < 1.0 => "over 99.9 %".to_owned(),
        "0.0" if share > 0.0 => "under 0.1 %".to_owned(),
        digits => format!("{digits} %"),
    }
}

/// A number with `places` decimals. A value that rounds to zero has no sign.
pub fn fixed(value: f64, places: usize) -> String {
    let line = format!("{value:.places$}");
    match line.strip_prefix('-') {
        Some(rest) if !rest.contains(|digit| matches!(digit, '1'..='9')) => rest.to_owned(),
        Some(_) | None => line,
    }
}

/// A number in scientific notation with `places` decimals.
pub fn powers(value: f64, places: usize) -> String {
    format!("{:.places$e}", value + 0.0)
}

/// Settings for showing numbers.
#[derive(Debug, Clone, Copy)]
pub struct Digits<'z> {
    unit: Unit,
    /// Number of decimals of a figure in the unit of the readings.
    pub places: usize,
    /// The zone of positions that are times of the journal; `None` where positions are numbers.
    pub zone: Option<&'z Zone>,
    /// The distance that a slope refers to.
    pub per: Per<'z>,
}

/// The distance between two places that a slope refers to: `reading`, `100 readings`, `1000 in column made`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Per<'p> {
    /// The unit of the places.
    pub unit: PlaceUnit<'p>,
    /// Number of units: 1, 10, 100, …
    pub times: u32,
}

/// The unit of the places of a trend.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlaceUnit<'p> {
    /// Numbers of readings.
    Reading,
    /// Days.
    Day,
    /// Months of 30.44 days.
    Month,
    /// The values of this column of a file.
    Column(&'p str),
    /// This unit of the quantity across, whose values are shown with this number of decimals.
    Across(Unit, usize),
}

impl Per<'_> {
    /// One reading.
    pub const READING: Self = Self {
        unit: PlaceUnit::Reading,
        times: 1,
    };
}

impl fmt::Display for Per<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.unit, self.times) {
            (PlaceUnit::Reading, 1) => write!(f, "reading"),
            (PlaceUnit::Day, 1) => write!(f, "day"),
            (PlaceUnit::Month, 1) => write!(f, "month"),
            (PlaceUnit::Month, times) => write!(f, "{times} months"),
            (PlaceUnit::Reading, times) => write!(f, "{times} readings"),
            (PlaceUnit::Day, times) => write!(f, "{times} days"),
            (PlaceUnit::Column(name), times) => write!(f, "{times} in column {name}"),
            (PlaceUnit::Across(unit, _), 1) => write!(f, "{unit}"),
            (PlaceUnit::Across(unit, _), times) => write!(f, "{times} {unit}"),
        }
    }
}

impl Digits<'_> {
    /// For figures that have no unit, because there are no readings.
    pub const OF_NO_READINGS: Self = Self {
        unit: Unit::Millimetre,
        places: 4,
        zone: None,
        per: Per::READING,
    };

    /// Two decimals more than the readings have.
    pub fn of(all: &Summary) -> Self {
        let step = all.step().unwrap_or(0.001);
        Self {
            unit: all.unit(),
            places: figures::decimals(step) + 2,
            zone: None,
            per: Per::READING,
        }
    }

    /// Three significant digits of `smallest`, for figures that are not of readings.
    pub fn of_size(unit: Unit, smallest: f64) -> Self {
        Self {
            unit,
            places: figures::decimals(smallest.abs()) + 2,
            zone: None,
            per: Per::READING,
        }
    }

    /// A slope over the distance of [`Digits::per`]: `0.0202 mm`.
    pub fn slope(self, value: f64) -> String {
        let over = value * f64::from(self.per.times);
        let number = match fixed(over, self.places) {
            zero if value != 0.0 && zero.parse() == Ok(0.0) => powers(over, 3),
            number => number,
        };
        format!("{number} {}", self.unit)
    }

    /// A value of this kind as text. A value that rounds to zero has no sign.
    pub fn text(self, kind: FigureKind, value: f64) -> String {
        match kind {
            FigureKind::Reading => format!("{} {}", fixed(value, self.places), self.unit),
            FigureKind::Ratio => fixed(value, 3),
            FigureKind::Probability => chance(value),
            FigureKind::PartsPerMillion if value < 0.1 => "under 0.1".to_owned(),
            FigureKind::PartsPerMillion => fixed(value, 1),
            FigureKind::Percent => format!("{} %", fixed(value, 1)),
            FigureKind::Slope => format!("{} per {}", self.slope(value), self.per),
            FigureKind::Position => match (self.zone, self.per.unit) {
                (Some(zone), _) => WallMicros(figures::whole(value)).local_minute(zone),
                (None, PlaceUnit::Across(unit, places)) => {
                    format!("{} {unit}", fixed(value, places))
                }
                (
                    None,
                    PlaceUnit::Reading | PlaceUnit::Day | PlaceUnit::Month | PlaceUnit::Column(_),
                ) => fixed(value, 0),
            },
            FigureKind::Count | FigureKind::Whole => fixed(value, 0),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_rounds_to_zero_has_no_sign() {
        let digits = Digits {
            unit: Unit::Millimetre,
            places: 4,
            zone: None,
            per: Per::READING,
        };
        for (kind, value, line) in [
            (FigureKind::Ratio, -0.0001, "0.000"),
            (FigureKind::Reading, -0.000_01, "0.0000 mm"),
            (FigureKind::Percent, -0.01, "0.0 %"),
            (FigureKind::Count, -0.2, "0"),
            (FigureKind::Ratio, -0.0006, "-0.001"),
            (FigureKind::Slope, -1e-9, "-1.000e-9 mm per reading"),
        ] {
            assert_eq!(digits.text(kind, value), line);
        }
    }
}
