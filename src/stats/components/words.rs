//! Variance components in sentences.

use super::{Components, Source};
use crate::stats::sample::float_of;
use crate::stats::text::{chance, fixed};

/// The plan that balanced components rest on, in words.
pub const PLAN: &str =
    "each factor is taken as random: its levels stand for all that could have been measured";
/// Significance level of an interaction.
const LEVEL: f64 = 0.05;

impl Source {
    /// The name in words: `nest within tool`, `tool and operator together`.
    pub fn words(&self) -> String {
        if let Some((first, second)) = self.name.split_once(':') {
            return format!("{first} and {second} together");
        }
        match self.name.rsplit_once('/') {
            Some((outer, inner)) => format!("{inner} within {outer}"),
            None => self.name.clone(),
        }
    }
}

impl Components {
    /// Which source has the largest share, and what the interactions show.
    pub fn sentences(&self) -> Vec<String> {
        let mut said = Vec::new();
        let shares = self.shares();
        let mut sized: Vec<(&Source, f64)> = self
            .sources
            .iter()
            .zip(shares)
            .filter_map(|(source, share)| Some((source, share?)))
            .collect();
        sized.sort_by(|(_, a), (_, b)| b.total_cmp(a));
        let listed = sized.iter().take(3).filter(|(_, share)| *share > 0.0);
        let listed: Vec<String> = listed
            .map(|(source, share)| format!("{} {} %", source.words(), fixed(share * 100.0, 0)))
            .collect();
        if !listed.is_empty() {
            said.push(format!(
                "shares in the total variance: {}",
                listed.join(", ")
            ));
        }
        let tests: Vec<Option<f64>> = self
            .interactions()
            .map(|source| Some(self.tested(source).ok()?.p))
            .collect();
        let adjusted = holm(&tests);
        let tested = self.interactions().zip(adjusted);
        said.extend(tested.map(|(source, p)| self.interaction(source, p)));
        let together = tests.iter().flatten().count();
        if together > 1 {
            said.push(format!(
                "p of the {together} interactions are for all together (Holm)"
            ));
        }
        if self.interactions_in_rest {
            said.push(
                "no combination of levels was measured twice, so interactions are part of the rest"
                    .to_owned(),
            );
        }
        if !self.balanced {
            said.push("the plan is not balanced: sums of squares are sequential, in the order of the factors, and intervals are approximate".to_owned());
        }
        said
    }

    /// An interaction in words, with its p among all of them.
    fn interaction(&self, source: &Source, p: Option<f64>) -> String {
        let (first, second) = source.name.split_once(':').unwrap_or((&source.name, ""));
        match (p, self.tested(source)) {
            (Some(p), _) if p < LEVEL => format!(
                "an interaction of {first} and {second} is shown (p = {}): the differences by {first} depend on {second}",
                chance(p)
            ),
            (Some(p), _) => format!(
                "no interaction of {first} and {second} is shown (p = {})",
                fixed(p, 2)
            ),
            (None, Err(reason)) => {
                format!("the interaction of {first} and {second} cannot be tested: {reason}")
            }
            (None, Ok(_)) => format!("the interaction of {first} and {second} cannot be tested"),
        }
    }
}

/// P-values of several tests at once: the chance that one or more of those that are true is under its adjusted value by
/// chance is at most that value.
///
/// ```text
/// of the k-th lowest of m:   max over j ≤ k of min(1, (m - j + 1) p(j))
/// ```
///
/// Source: Holm 1979, from memory; checked against statsmodels.
fn holm(tests: &[Option<f64>]) -> Vec<Option<f64>> {
    let mut order: Vec<(usize, f64)> = tests
        .iter()
        .enumerate()
        .filter_map(|(at, p)| Some((at, (*p)?)))
        .collect();
    order.sort_by(|(_, a), (_, b)| a.total_cmp(b));
    let mut adjusted = vec![None; tests.len()];
    let (mut least, mut left) = (0.0_f64, order.len());
    for (at, p) in order {
        least = least.max((p * float_of(left)).min(1.0));
        left -= 1;
        if let Some(into) = adjusted.get_mut(at) {
            *into = Some(least);
        }
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tests_that_are_made_together_share_their_level() {
        // statsmodels.stats.multitest.multipletests(p, method="holm")
        let tests = [Some(0.01), None, Some(0.04), Some(0.03), Some(0.005)];
        let found = holm(&tests);
        let want = [Some(0.03), None, Some(0.06), Some(0.06), Some(0.02)];
        for (found, want) in found.iter().zip(want) {
            assert_eq!(found.is_some(), want.is_some());
            let off = found.unwrap_or_default() - want.unwrap_or_default();
            assert!(off.abs() < 1e-12, "{found:?} {want:?}");
        }
    }
}
