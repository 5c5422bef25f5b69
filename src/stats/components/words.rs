//! Variance components in sentences.

use super::{Components, Source};
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
        said.extend(self.interactions().map(|source| self.interaction(source)));
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

    fn interaction(&self, source: &Source) -> String {
        let (first, second) = source.name.split_once(':').unwrap_or((&source.name, ""));
        match self.tested(source) {
            Ok(test) if test.p < LEVEL => format!(
                "an interaction of {first} and {second} is shown (p = {}): the differences by {first} depend on {second}",
                chance(test.p)
            ),
            Ok(test) => format!(
                "no interaction of {first} and {second} is shown (p = {})",
                fixed(test.p, 2)
            ),
            Err(reason) => {
                format!("the interaction of {first} and {second} cannot be tested: {reason}")
            }
        }
    }
}
