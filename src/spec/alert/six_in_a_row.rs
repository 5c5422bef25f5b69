//! Six values in a row, each larger than the one before, or each smaller.
//!
//! Two equal values end the row. Without drift and ties, one in 360 groups of six is such a row: 2 of 720 orders.

use super::sentence::{pace, range};
use super::{AlertRule, Seen, Sign, Way};
use crate::quantity::Measured;
use crate::spec::Limits;

const LEAST: usize = 6;

pub(super) const RULE: AlertRule = AlertRule {
    name: "six_in_a_row",
    words: "six points in a row steadily increasing or decreasing",
    source: "ISO 8258:1991, pattern 3; L. S. Nelson, J. Quality Technology 16 (1984), test 3; from memory",
    by_default: true,
    holds,
    says,
};

fn holds(values: &[i64], limits: &Limits) -> Option<Sign> {
    [Way::Up, Way::Down].into_iter().find_map(|way| {
        let pairs = values.iter().zip(values.iter().skip(1)).rev();
        let steps = pairs
            .take_while(|(before, after)| way.further(**before, **after) > 0)
            .count();
        let holds = steps + 1 >= LEAST && way.leads_to_a_limit(limits);
        holds.then_some(Sign {
            values: steps + 1,
            way,
        })
    })
}

fn says(values: &[Measured], sign: Sign, limits: &Limits) -> Seen {
    let verb = match sign.way {
        Way::Up => "has risen",
        Way::Down => "has fallen",
    };
    Seen {
        what: format!("{verb} for {} pieces in a row,", sign.values),
        values: range(values),
        outlook: pace(values, sign.way, limits),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(values: &[i64]) -> Option<(usize, Way)> {
        let limits = "1.57..1.67 mm".parse().unwrap();
        holds(values, &limits).map(|sign| (sign.values, sign.way))
    }

    #[test]
    fn the_sixth_value_that_goes_on_the_same_way_makes_the_row() {
        assert_eq!(seen(&[0, 1, 2, 3, 4]), None);
        assert_eq!(seen(&[0, 1, 2, 3, 4, 5]), Some((6, Way::Up)));
        assert_eq!(seen(&[9, 0, 1, 2, 3, 4, 9]), Some((6, Way::Up)));
        assert_eq!(seen(&[9, 8, 7, 5, 4, 1, 0]), Some((7, Way::Down)));
    }

    #[test]
    fn a_tie_or_a_step_back_ends_the_row() {
        assert_eq!(seen(&[0, 1, 2, 3, 3, 4, 5]), None);
        assert_eq!(seen(&[0, 1, 2, 3, 4, 5, 5]), None);
        assert_eq!(seen(&[0, 1, 2, 3, 4, 5, 4]), None);
    }

    #[test]
    fn with_one_limit_only_the_way_to_it_matters() {
        let limits: Limits = ">= 180 N".parse().unwrap();
        assert_eq!(holds(&[1, 2, 3, 4, 5, 6], &limits), None);
        assert!(holds(&[6, 5, 4, 3, 2, 1], &limits).is_some());
    }
}
