//! Two of the last three in the outer third between nominal and the same limit, or beyond it.
//!
//! The handbooks define zones by the standard deviation of the process: the outer third lies between two and three
//! sigma. The standard deviation of a few hand-made pieces is not known, so the zones here are thirds of the distance
//! from nominal to the limit. Both agree if the process just fills the tolerance (Cp = 1); this rule fires less often
//! for a better process and more often for a worse one. A side without a limit, or of no width, has no zone.

use super::sentence::list;
use super::{AlertRule, Seen, Sign, Way};
use crate::quantity::Measured;
use crate::spec::Limits;

const OF: usize = 3;
const LEAST: usize = 2;

pub(super) const RULE: AlertRule = AlertRule {
    name: "two_of_three_near_a_limit",
    words: "two out of three consecutive points in zone A or beyond on one side; here zone A is the outer third of the tolerance",
    source: "Western Electric, Statistical Quality Control Handbook (1956), rule 2; NIST/SEMATECH e-Handbook 6.3.2; from memory; zones by tolerance are ours",
    by_default: true,
    holds,
    says,
};

fn holds(values: &[i64], limits: &Limits) -> Option<Sign> {
    let centre = limits.centre()?;
    let from = values.len().checked_sub(OF)?;
    let latest = values.get(from..)?;
    [Way::Up, Way::Down].into_iter().find_map(|way| {
        let limit = way.limit(limits)?;
        let near = latest
            .iter()
            .filter(|value| is_near(way.further(centre, **value), way.further(centre, limit)))
            .count();
        (near >= LEAST).then_some(Sign { values: OF, way })
    })
}

/// Whether a deviation lies in the outer third of `half`, ends included, or beyond it.
fn is_near(deviation: i64, half: i64) -> bool {
    half > 0 && i128::from(deviation) * 3 >= i128::from(half) * 2
}

fn says(values: &[Measured], sign: Sign, limits: &Limits) -> Seen {
    let limit = sign.way.limit(limits).map(|limit| limits.shown(limit));
    let near = limits
        .centre()
        .zip(sign.way.limit(limits))
        .map(|(centre, limit)| {
            let half = sign.way.further(centre, limit);
            let deviation = |value: &&Measured| sign.way.further(centre, value.quantity().base());
            values
                .iter()
                .filter(|value| is_near(deviation(value), half))
                .count()
        });
    Seen {
        what: format!(
            "was near its limit {}, in the outer third of the tolerance or beyond, at {} of the last {OF} pieces,",
            limit.unwrap_or_default(),
            near.unwrap_or(LEAST),
        ),
        values: list(values),
        outlook: String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(hundredths: &[i64], limits: &str) -> Option<Way> {
        let values: Vec<i64> = hundredths.iter().map(|value| value * 10_000).collect();
        let limits = limits.parse().unwrap();
        holds(&values, &limits).map(|sign| sign.way)
    }

    #[test]
    fn two_of_the_last_three_on_the_same_side_are_enough() {
        let limits = "1.62 ±0.06 mm"; // the outer thirds: up to 1.58, from 1.66 on
        assert_eq!(seen(&[166, 166], limits), None);
        assert_eq!(seen(&[166, 162, 166], limits), Some(Way::Up));
        assert_eq!(seen(&[166, 162, 165], limits), None);
        assert_eq!(seen(&[158, 166, 158], limits), Some(Way::Down));
        assert_eq!(seen(&[158, 162, 166], limits), None);
        assert_eq!(seen(&[166, 166, 162, 162], limits), None);
        assert_eq!(seen(&[170, 162, 170], limits), Some(Way::Up));
    }

    #[test]
    fn each_side_has_its_own_thirds_and_one_of_no_width_has_none() {
        let limits = "1.62 +0.06/-0.00 mm";
        assert_eq!(seen(&[162, 162, 162], limits), None);
        assert_eq!(seen(&[150, 150, 150], limits), None);
        assert_eq!(seen(&[166, 166, 162], limits), Some(Way::Up));
        assert_eq!(seen(&[162, 162, 162], "1.62 ±0.00 mm"), None);
        assert_eq!(seen(&[30, 30, 30], "<= 0.30 mm"), None);
    }
}
