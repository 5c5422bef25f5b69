//! Decides whether an index is demonstrated, and tests its preconditions.
//!
//! The confidence bound of Ppk is valid for a stable process with independent, normally distributed pieces. Each of
//! these preconditions is tested. If one fails or cannot be tested, the index is not demonstrated; a statement that
//! does not need it is made instead.

use super::Capability;
use crate::stats::chart::{CHARTS, FEWEST_POINTS, Groups, Input, Memory, draw, usual_rules};
use crate::stats::compare::anova;
use crate::stats::order::order;
use crate::stats::sample::float;
use crate::stats::text::fixed;
use crate::stats::{CONFIDENCE, Sample, Undefined, describe, normality, proportion};

/// With fewer pieces distribution and stability cannot be tested (common practice, no source).
pub const FEWEST_PIECES: u64 = 20;
/// Usual size of a sample for a capability study (common practice, no source).
const ENOUGH_PIECES: u64 = 25;
/// Significance level of the normality test.
const SHAPE: f64 = 0.05;
/// Significance level of each of the two tests of order, which share 5 %.
const ORDER: f64 = 0.025;

/// A precondition of the confidence bound of an index.
#[derive(Debug, Clone, PartialEq)]
pub struct Ground {
    /// Name for programs, which never changes.
    pub name: &'static str,
    /// Whether it was tested and not rejected.
    pub holds: bool,
    /// The result of the test, in words.
    pub finding: String,
    /// What to do if it does not hold.
    pub remedy: &'static str,
}

/// The statement about an index or an interval.
#[derive(Debug, Clone, PartialEq)]
pub struct Claim {
    /// The preconditions, each tested.
    pub grounds: Vec<Ground>,
    /// Whether what is required is demonstrated: the bound reaches it, and every precondition holds.
    pub shown: bool,
    /// Figure, bound, confidence and preconditions in one sentence.
    pub sentence: String,
}

/// The preconditions that fail, and what to do.
pub(in crate::stats) fn why_not(grounds: &[Ground]) -> String {
    // With too few pieces the other tests add nothing.
    let enough = grounds.first().is_none_or(|ground| ground.holds);
    let failing = || {
        let failing = grounds.iter().filter(|ground| !ground.holds);
        failing.take(if enough { usize::MAX } else { 1 })
    };
    let why: Vec<&str> = failing().map(|ground| ground.finding.as_str()).collect();
    let mut remedies: Vec<&str> = failing().map(|ground| ground.remedy).collect();
    remedies.dedup();
    format!("{}. What to do: {}", why.join("; "), remedies.join("; "))
}

impl Claim {
    /// The preconditions to show. With too few pieces only that one is shown, since the other tests add nothing.
    pub fn worth_stating(&self) -> impl Iterator<Item = &Ground> {
        let enough = self.grounds.first().is_none_or(|ground| ground.holds);
        self.grounds
            .iter()
            .take(if enough { usize::MAX } else { 1 })
    }

    /// The preconditions that fail.
    pub fn failing(&self) -> impl Iterator<Item = &Ground> {
        self.grounds.iter().filter(|ground| !ground.holds)
    }
}

impl Capability {
    /// The preconditions of every statement about pieces that were not measured, each tested.
    pub fn grounds(&self) -> Vec<Ground> {
        vec![
            self.enough(),
            self.normal_shape(),
            self.steady_chart(),
            self.same_spread(),
            self.independent(),
        ]
    }

    /// Whether the required index is demonstrated, with its preconditions.
    pub fn claim(&self) -> Claim {
        let grounds = self.grounds();
        let (pieces, required) = (self.all.count(), self.asked);
        let found = self.overall().and_then(|spread| self.centered(spread));
        let (found, least) = match (found, self.ppk_least()) {
            (Ok(found), Ok(least)) => (found, least),
            (Err(reason), _) | (_, Err(reason)) => {
                return Claim {
                    grounds,
                    shown: false,
                    sentence: format!("Ppk has no value: {reason}"),
                };
            }
        };
        let reaches = least >= required;
        let advice = self.advice(found);
        let asked = fixed(required, 2);
        let holds = grounds.iter().all(|ground| ground.holds);
        let [found, lower] = [found, least].map(|index| fixed(index, 2));
        let bound =
            format!("Ppk {found}; with {pieces} pieces the lower 95 % confidence bound is {lower}");
        let sentence = match (reaches, holds) {
            (true, true) => format!("{bound}, so {asked} is demonstrated"),
            (true, false) => {
                format!(
                    "{bound}, but {asked} is not demonstrated: {}",
                    self.instead(&grounds)
                )
            }
            (false, _) => format!("{bound}, so {asked} is not demonstrated. {advice}"),
        };
        Claim {
            grounds,
            shown: reaches && holds,
            sentence,
        }
    }

    /// What to do if the bound does not reach the required index.
    fn advice(&self, found: f64) -> String {
        let required = fixed(self.asked, 2);
        if found <= self.asked {
            return format!(
                "Ppk itself is not above {required}: centre the process or reduce its spread"
            );
        }
        if self.all.count() < ENOUGH_PIECES {
            return format!("Measure {ENOUGH_PIECES} or more");
        }
        match self.pieces_needed() {
            Ok(needed) => format!("If Ppk stays as it is, {needed} pieces demonstrate it"),
            Err(_) => {
                format!("Ppk is too near to {required}: centre the process or reduce its spread")
            }
        }
    }

    /// Why the bound is not valid, what to do, and what holds without the preconditions.
    fn instead(&self, grounds: &[Ground]) -> String {
        let mut words = why_not(grounds);
        if let (Ok(outside), Ok(most)) = (self.outside(), self.outside_at_most()) {
            let share = format!(
                ". For any distribution: {outside} of {} are outside the limits, so at most {} % of all are (upper 95 % confidence bound, pieces taken at random)",
                self.all.count(),
                fixed(100.0 * most, 1)
            );
            words.push_str(&share);
        }
        words
    }

    /// Number of pieces outside the limits.
    pub fn outside(&self) -> Result<u64, Undefined> {
        proportion::outside(&self.all, &self.limits)
    }

    /// The upper 95 % confidence bound of the share outside the limits, for any distribution.
    pub fn outside_at_most(&self) -> Result<f64, Undefined> {
        proportion::upper_bound(self.outside()?, self.all.count(), CONFIDENCE)
    }

    fn enough(&self) -> Ground {
        let pieces = self.all.count();
        Ground {
            name: "pieces",
            holds: pieces >= FEWEST_PIECES,
            finding: if pieces >= FEWEST_PIECES {
                format!("{pieces} pieces")
            } else {
                format!(
                    "too few pieces to test distribution and stability: got {pieces}, want at least {FEWEST_PIECES}"
                )
            },
            remedy: "measure more pieces",
        }
    }

    fn normal_shape(&self) -> Ground {
        let p = normality::normality_p(&self.all);
        let holds = p.is_ok_and(|p| p >= SHAPE);
        Ground {
            name: "normal",
            holds,
            finding: match p {
                Ok(p) if holds => format!("normality is not rejected (p = {})", fixed(p, 2)),
                Ok(p) => format!("the distribution is not normal (p = {})", fixed(p, 4)),
                Err(reason) => format!("normality cannot be tested: {reason}"),
            },
            remedy: match p {
                Ok(_) => {
                    "look for the cause: two nests, tools or lots mixed, an outlier, a mechanical stop"
                }
                Err(Undefined::TooFew { .. }) => "measure more pieces",
                Err(Undefined::StepOnly | Undefined::NoSpread { .. }) => {
                    "measure with a finer instrument"
                }
                Err(_) => "use the share outside the limits instead",
            },
        }
    }

    fn steady_chart(&self) -> Ground {
        let signals = self
            .order
            .as_ref()
            .map_err(|reason| *reason)
            .and_then(signals);
        let holds = signals == Ok(0);
        Ground {
            name: "stable",
            holds,
            finding: match signals {
                Ok(0) => "no signal in the control chart".to_owned(),
                Ok(1) => "1 signal in the control chart".to_owned(),
                Ok(several) => format!("{several} signals in the control chart"),
                Err(reason) => format!("stability cannot be tested: {reason}"),
            },
            remedy: match signals {
                Ok(_) => "find out what changed: tallyjaw study chart",
                Err(Undefined::TooFew { .. }) => "measure more pieces",
                Err(_) => "study fewer pieces, in the order of production",
            },
        }
    }

    /// Whether the standard deviation of all readings agrees with the short-term one, so that Cpk and Ppk agree.
    fn same_spread(&self) -> Ground {
        let p = if self.groups.is_empty() {
            self.chances().map(|chances| chances.near_p)
        } else {
            anova(&self.groups).map(|table| table.p)
        };
        let holds = p.is_ok_and(|p| p >= ORDER);
        let indices = [self.within, self.overall()]
            .map(|spread| spread.and_then(|spread| self.centered(spread)));
        let indices = match indices {
            [Ok(cpk), Ok(ppk)] => format!("Cpk {} and Ppk {}", fixed(cpk, 2), fixed(ppk, 2)),
            _ => "Cpk and Ppk".to_owned(),
        };
        Ground {
            name: "cpk_ppk",
            holds,
            finding: match p {
                Ok(_) if holds => format!("{indices} agree"),
                Ok(p) => format!(
                    "{indices} differ, so the process is not stable (p = {})",
                    fixed(p, 4)
                ),
                Err(reason) => format!("the agreement of Cpk and Ppk cannot be tested: {reason}"),
            },
            remedy: match p {
                Err(Undefined::TooFew { .. }) => "measure more pieces",
                Ok(_) | Err(_) => "find out what changed: tallyjaw study chart",
            },
        }
    }

    fn independent(&self) -> Ground {
        let p = self.chances().map(|chances| chances.lag1_p);
        let holds = p.is_ok_and(|p| p >= ORDER);
        let lag1 = describe::lag1(&self.all);
        let lag1 = lag1.map_or_else(|_| String::new(), |lag1| format!(" {}", fixed(lag1, 2)));
        Ground {
            name: "independent",
            holds,
            finding: match p {
                Ok(p) if holds => {
                    format!(
                        "lag-1 autocorrelation{lag1}, not significant (p = {})",
                        fixed(p, 2)
                    )
                }
                Ok(p) => format!(
                    "lag-1 autocorrelation{lag1}, significant (p = {})",
                    fixed(p, 4)
                ),
                Err(reason) => {
                    format!("independence of the pieces cannot be tested: {reason}")
                }
            },
            remedy: match p {
                Err(Undefined::TooFew { .. }) => "measure more pieces",
                Ok(_) | Err(_) => "take pieces further apart, and look for a drift",
            },
        }
    }

    fn chances(&self) -> Result<crate::stats::order::Order, Undefined> {
        order(self.order.as_ref().map_err(|reason| *reason)?)
    }

    /// [`Self::outside_at_most`] in percent.
    pub(super) fn outside_percent(&self) -> Result<f64, Undefined> {
        Ok(100.0 * self.outside_at_most()?)
    }

    /// [`Self::outside`] as a figure.
    pub(super) fn outside_count(&self) -> Result<f64, Undefined> {
        Ok(float(self.outside()?.into()))
    }
}

/// Number of signals of the usual rules in the chart of single readings.
fn signals(sample: &Sample) -> Result<usize, Undefined> {
    let want = u64::try_from(FEWEST_POINTS).unwrap_or(u64::MAX);
    Undefined::unless(sample.count(), want)?;
    let kind = CHARTS.iter().find(|kind| !kind.of_subgroups);
    let kind = kind.ok_or(Undefined::TooFewGroups { got: 0, want: 1 })?;
    let input = Input {
        groups: &Groups::singles(sample),
        baseline: None,
        kept: None,
        memory: Memory::default(),
    };
    let chart = draw(kind, &input)?;
    Ok(chart.signals(&usual_rules()))
}
