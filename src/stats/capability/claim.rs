//! Whether an index is shown, and on what grounds that stands.
//!
//! A bound of Ppk holds for a normal process that stays what it is and whose pieces do not know of each other. Each
//! of these is tested; where one fails, or cannot be tested, nothing is claimed, and what can be said instead is.

use super::Capability;
use crate::stats::chart::{CHARTS, FEWEST_POINTS, Input, Memory, draw, usual_rules};
use crate::stats::compare::anova;
use crate::stats::order::order;
use crate::stats::sample::float;
use crate::stats::text::fixed;
use crate::stats::{CONFIDENCE, Sample, Undefined, describe, normality, proportion};

/// Fewer pieces show neither a shape nor a change (common practice, no source).
pub const FEWEST_PIECES: u64 = 20;
/// Shapes with a lower chance are not taken for normal.
const SHAPE: f64 = 0.05;
/// Orders with a lower chance are not taken for chance; two tests of order share 5 %.
const ORDER: f64 = 0.025;

/// Something that must hold for a bound of an index to mean anything.
#[derive(Debug, Clone, PartialEq)]
pub struct Ground {
    /// For programs; never changes.
    pub name: &'static str,
    /// Whether it was tested and not found wrong.
    pub holds: bool,
    /// What was found.
    pub finding: String,
    /// What to do where it does not hold.
    pub remedy: &'static str,
}

/// What is said about an index.
#[derive(Debug, Clone, PartialEq)]
pub struct Claim {
    /// The grounds, each tested.
    pub grounds: Vec<Ground>,
    /// Whether the index asked for is shown: the bound reaches it, and every ground holds.
    pub shown: bool,
    /// Index, bound, confidence and preconditions in one sentence.
    pub sentence: String,
}

impl Claim {
    /// The grounds worth telling: with too few pieces the other tests tell nothing more.
    pub fn worth_stating(&self) -> impl Iterator<Item = &Ground> {
        let enough = self.grounds.first().is_none_or(|ground| ground.holds);
        self.grounds
            .iter()
            .take(if enough { usize::MAX } else { 1 })
    }

    /// The grounds that fail.
    pub fn failing(&self) -> impl Iterator<Item = &Ground> {
        self.grounds.iter().filter(|ground| !ground.holds)
    }
}

impl Capability {
    /// Whether the index asked for is shown, and on what grounds.
    pub fn claim(&self) -> Claim {
        let grounds = vec![
            self.enough(),
            self.normal_shape(),
            self.steady_chart(),
            self.same_spread(),
            self.independent(),
        ];
        let (pieces, asked) = (self.all.count(), self.asked);
        let found = self.overall().and_then(|spread| self.centered(spread));
        let (found, least) = match (found, self.ppk_least()) {
            (Ok(found), Ok(least)) => (found, least),
            (Err(reason), _) | (_, Err(reason)) => {
                return Claim {
                    grounds,
                    shown: false,
                    sentence: format!("nothing is shown about the limits: {reason}"),
                };
            }
        };
        let reaches = least >= asked;
        let holds = grounds.iter().all(|ground| ground.holds);
        let [found, least, asked] = [found, least, asked].map(|index| fixed(index, 2));
        let bound = format!("Ppk is {found}, lower confidence bound (95 %) {least}");
        let not_shown = format!("at least {asked} is not shown by {pieces} pieces");
        let sentence = match (reaches, holds) {
            (true, true) => format!("at least {asked} is shown by {pieces} pieces: {bound}"),
            (true, false) => format!("{not_shown}: {bound}, but {}", self.instead(&grounds)),
            (false, _) => match self.pieces_needed() {
                Ok(needed) => {
                    let needed = needed.max(FEWEST_PIECES);
                    format!("{not_shown}: {bound}; if it stays so, it would take {needed}")
                }
                Err(_) => {
                    format!("{not_shown}, nor would more of the same show it: Ppk is {found}")
                }
            },
        };
        Claim {
            grounds,
            shown: reaches && holds,
            sentence,
        }
    }

    /// Why the bound means nothing here, what to do, and what holds all the same.
    fn instead(&self, grounds: &[Ground]) -> String {
        // with too few pieces the other tests tell nothing more
        let enough = grounds.first().is_none_or(|ground| ground.holds);
        let failing = || {
            let failing = grounds.iter().filter(|ground| !ground.holds);
            failing.take(if enough { usize::MAX } else { 1 })
        };
        let why: Vec<&str> = failing().map(|ground| ground.finding.as_str()).collect();
        let mut remedies: Vec<&str> = failing().map(|ground| ground.remedy).collect();
        remedies.dedup();
        let mut words = format!(
            "that bound has no ground: {}; what to do: {}",
            why.join("; "),
            remedies.join("; ")
        );
        if let (Ok(outside), Ok(most)) = (self.outside(), self.outside_at_most()) {
            let share = format!(
                "; of any shape: {outside} of {} lie outside the limits, so at most {} % do (upper confidence bound, 95 %, if pieces were taken at random)",
                self.all.count(),
                fixed(100.0 * most, 1)
            );
            words.push_str(&share);
        }
        words
    }

    /// How many pieces lie outside the limits.
    pub fn outside(&self) -> Result<u64, Undefined> {
        proportion::outside(&self.all, &self.limits)
    }

    /// What share of all pieces lies outside the limits at most, 95 % sure, whatever the shape.
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
                    "too few pieces to tell shape or stability: got {pieces}, want at least {FEWEST_PIECES}"
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
                Ok(p) if holds => format!("the shape may well be normal (p = {})", fixed(p, 2)),
                Ok(p) => format!("the shape is not normal (p = {})", fixed(p, 4)),
                Err(reason) => format!("whether the shape is normal cannot be told: {reason}"),
            },
            remedy: match p {
                Ok(_) => {
                    "look for the cause of the shape: two nests, tools or batches mixed, an outlier, a stop"
                }
                Err(Undefined::TooFew { .. }) => "measure more pieces",
                Err(Undefined::StepOnly | Undefined::NoSpread { .. }) => {
                    "measure with a finer instrument"
                }
                Err(_) => "go by the share outside the limits instead",
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
                Err(reason) => format!("whether it is stable cannot be told: {reason}"),
            },
            remedy: match signals {
                Ok(_) => "look for what changed: tallyjaw study chart",
                Err(Undefined::TooFew { .. }) => "measure more pieces",
                Err(_) => "study fewer pieces, in the order in which they were made",
            },
        }
    }

    /// Does the spread of all exceed the spread within a short time, so that Cpk and Ppk part?
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
                    "{indices} part (p = {} if it had stayed what it was)",
                    fixed(p, 4)
                ),
                Err(reason) => format!("whether Cpk and Ppk agree cannot be told: {reason}"),
            },
            remedy: match p {
                Err(Undefined::TooFew { .. }) => "measure more pieces",
                Ok(_) | Err(_) => "look for what changed: tallyjaw study chart",
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
                    format!("lag-1 autocorrelation{lag1}: chance (p = {})", fixed(p, 2))
                }
                Ok(p) => format!(
                    "lag-1 autocorrelation{lag1} is not chance (p = {})",
                    fixed(p, 4)
                ),
                Err(reason) => {
                    format!("whether pieces know of each other cannot be told: {reason}")
                }
            },
            remedy: match p {
                Err(Undefined::TooFew { .. }) => "measure more pieces",
                Ok(_) | Err(_) => "take pieces further apart, and look for what wanders",
            },
        }
    }

    fn chances(&self) -> Result<crate::stats::order::Order, Undefined> {
        order(self.order.as_ref().map_err(|reason| *reason)?)
    }

    /// In percent, for a figure.
    pub(super) fn outside_percent(&self) -> Result<f64, Undefined> {
        Ok(100.0 * self.outside_at_most()?)
    }

    /// As a figure.
    pub(super) fn outside_count(&self) -> Result<f64, Undefined> {
        Ok(float(self.outside()?.into()))
    }
}

/// How many signals the usual rules find in the chart of single readings.
fn signals(sample: &Sample) -> Result<usize, Undefined> {
    let want = u64::try_from(FEWEST_POINTS).unwrap_or(u64::MAX);
    Undefined::unless(sample.count(), want)?;
    let kind = CHARTS.iter().find(|kind| !kind.of_subgroups);
    let kind = kind.ok_or(Undefined::TooFewGroups { got: 0, want: 1 })?;
    let singles = sample.bases().iter().map(|base| sample.part(&[*base]));
    let singles = singles.collect::<Result<Vec<_>, _>>()?;
    let chart = draw(
        kind,
        &Input {
            groups: &singles,
            baseline: None,
            kept: None,
            memory: Memory::default(),
        },
    )?;
    Ok(chart.signals(&usual_rules()))
}
