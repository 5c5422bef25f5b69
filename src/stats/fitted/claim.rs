//! Decides whether an index by quantiles is demonstrated, and tests its preconditions.

use super::{Chosen, Family, Fitted};
use crate::stats::capability::{Capability, Claim, Ground};
use crate::stats::figures::whole;
use crate::stats::text::fixed;
use crate::stats::{Limits, Sample};

/// Significance level of the test of the fit.
const SHAPE: f64 = 0.05;
/// Scores are kept as whole millionths.
const MILLIONTHS: f64 = 1e6;

impl Fitted {
    /// Whether the required index is demonstrated. The preconditions are those of [`Capability::claim`], with the fitted
    /// distribution in place of the normal one; the control chart is of the normal scores of the readings.
    ///
    /// Nothing is demonstrated by a distribution that was chosen from the same readings: its bounds do not allow for the choice.
    pub fn claim(&self) -> Claim {
        let own = self.capability.claim().grounds;
        let of_scores = self.scores().map(|scores| {
            let scores = Capability::of_singles(&scores, Limits::default());
            scores.claim().grounds
        });
        let of_scores = of_scores.unwrap_or_else(|| own.clone());
        let named = |grounds: &[Ground], name: &str| {
            let mut grounds = grounds.iter();
            grounds.find(|ground| ground.name == name).cloned()
        };
        let mut grounds = Vec::new();
        grounds.extend(named(&own, "pieces"));
        grounds.extend(self.shape());
        grounds.extend(named(&of_scores, "stable"));
        grounds.extend(named(&own, "independent"));
        let asked = fixed(self.capability.asked(), 2);
        let (found, least) = match (self.centered(), self.least()) {
            (Ok(found), Ok(least)) => (found, least),
            (Err(reason), _) => return none(grounds, format!("Ppk has no value: {reason}")),
            (Ok(found), Err(reason)) => {
                let found = fixed(found, 2);
                let sentence = format!(
                    "Ppk {found} ({}); its bound has no value: {reason}",
                    self.name()
                );
                return none(grounds, sentence);
            }
        };
        let reaches = least >= self.capability.asked();
        let holds = grounds.iter().all(|ground| ground.holds);
        let bound = format!(
            "Ppk {} ({}); with {} pieces the lower 95 % confidence bound is {}",
            fixed(found, 2),
            self.name(),
            self.all().count(),
            fixed(least, 2)
        );
        let sentence = if reaches && holds {
            format!("{bound}, so {asked} is demonstrated")
        } else if reaches {
            let failing = grounds.iter().filter(|ground| !ground.holds);
            let why: Vec<&str> = failing.map(|ground| ground.finding.as_str()).collect();
            format!(
                "{bound}, but {asked} is not demonstrated: {}",
                why.join("; ")
            )
        } else {
            format!("{bound}, so {asked} is not demonstrated")
        };
        Claim {
            shown: reaches && holds,
            grounds,
            sentence,
        }
    }

    /// The distribution in words.
    pub fn name(&self) -> String {
        match (self.chosen, self.known_member()) {
            (Chosen::Percentile, _) => "percentiles of the readings".to_owned(),
            (_, Ok(member)) => member.family.name().replace('_', " "),
            (_, Err(_)) => "no distribution".to_owned(),
        }
    }

    /// That the distribution fits, and that it was not chosen from the same readings.
    fn shape(&self) -> Vec<Ground> {
        if self.chosen == Chosen::Percentile {
            return Vec::new();
        }
        let (name, p) = (self.name(), self.fit_p());
        let holds = p.is_ok_and(|p| p >= SHAPE);
        let fits = Ground {
            name: "distribution",
            holds,
            finding: match p {
                Ok(p) if holds => format!(
                    "the {name} distribution is not rejected (p = {})",
                    fixed(p, 2)
                ),
                Ok(p) => format!("the distribution is not {name} (p = {})", fixed(p, 4)),
                Err(reason) => format!("the fit cannot be tested: {reason}"),
            },
            remedy: "look for the cause, or choose another distribution: --distribution",
        };
        let before = Ground {
            name: "chosen_before",
            holds: false,
            finding: format!(
                "{name} was chosen from these same readings, which the bound does not allow for"
            ),
            remedy: "name the distribution before the next readings are taken",
        };
        let of_same = (self.chosen == Chosen::Likeliest).then_some(before);
        let is_folded = self
            .known_member()
            .is_ok_and(|member| member.family == Family::FoldedNormal);
        let short = is_folded.then(|| Ground {
            name: "bound_holds",
            holds: false,
            finding: "the bound of a folded normal distribution holds in 84 to 97 % of simulated sets, and not in 95 %".to_owned(),
            remedy: "use the share outside the limits instead",
        });
        std::iter::once(fits).chain(of_same).chain(short).collect()
    }

    /// The normal scores of the readings, in order; `None` of percentiles.
    fn scores(&self) -> Option<Sample> {
        let member = self.known_member().ok()?;
        let scores = self
            .sample
            .values()
            .map(|value| whole(member.score(value - self.origin) * MILLIONTHS));
        Sample::from_bases(scores.collect(), self.sample.unit()).ok()
    }
}

fn none(grounds: Vec<Ground>, sentence: String) -> Claim {
    Claim {
        grounds,
        shown: false,
        sentence,
    }
}
