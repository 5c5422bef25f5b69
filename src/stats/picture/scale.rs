//! Round numbers along an axis.

use crate::stats::figures::decimals;
use crate::stats::sample::{float, nearest};

/// A number on an axis.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tick {
    /// Where, from 0 to 1.
    pub(super) share: f64,
    /// What stands there.
    pub(super) label: String,
    whole: bool,
}

impl Tick {
    /// Whether it is a whole number.
    pub(super) fn is_whole(&self) -> bool {
        self.whole
    }
}

/// Four to nine round numbers between `low` and `high`, in steps of 1, 2 or 5.
pub(super) fn ticks(low: f64, high: f64) -> Vec<Tick> {
    let span = high - low;
    if !(span > 0.0 && span.is_finite()) {
        return Vec::new();
    }
    let base = 10_f64.powf((span / 4.0).log10().floor());
    let step = [5.0, 2.0]
        .map(|times| times * base)
        .into_iter()
        .find(|step| span / step >= 4.0)
        .unwrap_or(base);
    let places = decimals(step);
    let mut ticks = Vec::new();
    let mut number = nearest((low / step).ceil());
    while float(number.into()) * step <= high + step * 1e-9 && ticks.len() < 20 {
        let value = float(number.into()) * step;
        ticks.push(Tick {
            share: ((value - low) / span).clamp(0.0, 1.0),
            label: format!("{value:.places$}"),
            whole: (value - value.round()).abs() < 1e-9,
        });
        number += 1;
    }
    ticks
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_axis_has_four_to_ten_round_numbers() {
        for (low, high) in [
            (1.59, 1.68),
            (0.0, 11.0),
            (-3.2, 180.0),
            (0.0, 1.0),
            (0.001, 0.0042),
        ] {
            let ticks = ticks(low, high);
            assert!((3..=10).contains(&ticks.len()), "{low} {high}: {ticks:?}");
            assert!(ticks.iter().all(|tick| (0.0..=1.0).contains(&tick.share)));
        }
        let labels: Vec<String> = ticks(0.0, 11.0)
            .into_iter()
            .map(|tick| tick.label)
            .collect();
        assert_eq!(labels, ["0", "2", "4", "6", "8", "10"]);
        assert!(ticks(1.0, 1.0).is_empty());
    }
}
