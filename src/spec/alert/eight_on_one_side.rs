//! Eight in a row on the same side of nominal.
//!
//! The handbooks count from the process mean. A few pieces give no reliable mean, so this rule counts from nominal, or
//! from the middle of a range without one. It therefore also fires for a stable tool that is set off nominal, and so
//! it is off by default. A value on nominal is on neither side and ends the row. With one limit only, the rule never
//! fires.

use super::sentence::range;
use super::{AlertRule, Seen, Sign, Way};
use crate::quantity::Measured;
use crate::spec::Limits;

const LEAST: usize = 8;

pub(super) const RULE: AlertRule = AlertRule {
    name: "eight_on_one_side",
    words: "eight consecutive points on one side of the centre line, here: of nominal",
    source: "Western Electric, Statistical Quality Control Handbook (1956), rule 4; NIST/SEMATECH e-Handbook 6.3.2; from memory",
    by_default: false,
    holds,
    says,
};

fn holds(values: &[i64], limits: &Limits) -> Option<Sign> {
    let centre = limits.centre()?;
    [Way::Up, Way::Down].into_iter().find_map(|way| {
        let beyond = |value: &&i64| way.further(centre, **value) > 0;
        let values = values.iter().rev().take_while(beyond).count();
        (values >= LEAST).then_some(Sign { values, way })
    })
}

fn says(values: &[Measured], sign: Sign, limits: &Limits) -> Seen {
    let side = match sign.way {
        Way::Up => "above",
        Way::Down => "below",
    };
    let centre = limits.centre().map(|centre| limits.shown(centre));
    let centre = centre.as_deref().unwrap_or("nominal");
    Seen {
        what: format!(
            "has been {side} {centre} for {} pieces in a row,",
            sign.values
        ),
        values: range(values),
        outlook: String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(values: &[i64], limits: &str) -> Option<(usize, Way)> {
        let limits = limits.parse().unwrap();
        holds(values, &limits).map(|sign| (sign.values, sign.way))
    }

    #[test]
    fn the_eighth_value_on_one_side_makes_the_row() {
        let above = [1_630_000; 9];
        assert_eq!(seen(&above[..7], "1.62 ±0.05 mm"), None);
        assert_eq!(seen(&above[..8], "1.62 ±0.05 mm"), Some((8, Way::Up)));
        assert_eq!(seen(&above, "1.62 ±0.05 mm"), Some((9, Way::Up)));
        assert_eq!(seen(&above, "1.60..1.70 mm"), Some((9, Way::Down)));
    }

    #[test]
    fn a_value_on_nominal_is_on_neither_side_and_ends_the_row() {
        let mut values = [1_610_000; 9];
        assert_eq!(seen(&values, "1.62 ±0.05 mm"), Some((9, Way::Down)));
        values[4] = 1_620_000;
        assert_eq!(seen(&values, "1.62 ±0.05 mm"), None);
    }

    #[test]
    fn limits_of_no_width_still_have_sides_and_a_single_limit_has_none() {
        assert_eq!(seen(&[1_630_000; 8], "1.62 ±0.00 mm"), Some((8, Way::Up)));
        assert_eq!(seen(&[190_000; 25], ">= 180 N"), None);
    }
}
