//! Decides whether a range of x is given that keeps the lower limit of y, and tests its preconditions.

use super::{Range, Regression};
use crate::stats::capability::{Claim, Ground};
use crate::stats::figures::decimals;
use crate::stats::order::order;
use crate::stats::sample::float;
use crate::stats::text::{Digits, chance, fixed, percent};
use crate::stats::{FigureKind, Undefined};

/// With fewer pairs the preconditions cannot be tested (common practice, no source).
pub const FEWEST_PAIRS: u64 = 10;
/// Significance level of the slope.
const SLOPE: f64 = 0.05;
/// Significance level of each of the tests of fit, shape, spread and order, which share 5 %.
const EACH: f64 = 0.05 / 4.0;
/// No two neighbouring x are further apart than this share of all that was measured: three even levels are enough.
const WIDEST_GAP: f64 = 0.5;

const REFUSED: Undefined = Undefined::NotApplicable {
    why: "a precondition fails",
};

impl Regression {
    /// The range of [`Regression::keeps`], if every precondition holds.
    pub fn shown_range(&self) -> Result<Range, Undefined> {
        let range = self.keeps()?;
        let holds = self.grounds().iter().all(|ground| ground.holds);
        holds.then_some(range).ok_or(REFUSED)
    }

    /// The preconditions of a range, each tested.
    pub fn grounds(&self) -> Vec<Ground> {
        vec![
            self.enough(),
            self.slopes(),
            self.covered(),
            self.straight(),
            self.normal(),
            self.even(),
            self.independent(),
        ]
    }

    fn enough(&self) -> Ground {
        let pairs = self.x.count();
        Ground {
            name: "pairs",
            holds: pairs >= FEWEST_PAIRS,
            finding: format!("{pairs} pairs, at least {FEWEST_PAIRS} are needed"),
            remedy: "measure and pull more pieces",
        }
    }

    fn slopes(&self) -> Ground {
        let (holds, finding) = match self.slope_p() {
            Ok(p) if p < SLOPE => (true, format!("a slope is shown (p = {})", chance(p))),
            Ok(p) => (false, format!("no slope is shown (p = {})", fixed(p, 2))),
            Err(reason) => (false, format!("the slope cannot be tested: {reason}")),
        };
        Ground {
            name: "slope",
            holds,
            finding,
            remedy: "measure pieces over a wider range of x",
        }
    }

    /// Between x that are far apart nothing shows that the line is straight.
    fn covered(&self) -> Ground {
        let levels: Vec<i64> = self.levels().into_keys().collect();
        let gaps = levels.windows(2).filter_map(|pair| match pair {
            [low, high] => Some((high.saturating_sub(*low), *low, *high)),
            _ => None,
        });
        let (gap, low, high) = gaps.max().unwrap_or_default();
        let (from, to) = self.ends();
        let whole = float(to.saturating_sub(from).into());
        let holds = float(gap.into()) <= WIDEST_GAP * whole;
        let text = |base: i64| {
            let step = self.x.summary().step().unwrap_or(1e-3);
            fixed(self.x.summary().in_unit(base), decimals(step))
        };
        let name = &self.names[0];
        Ground {
            name: "covered",
            holds,
            finding: if holds {
                format!("no gap in {name} is wider than half of what was measured")
            } else {
                format!(
                    "no {name} between {} and {} {} was measured, more than half of the range",
                    text(low),
                    text(high),
                    self.x.unit()
                )
            },
            remedy: "measure pieces in between",
        }
    }

    fn straight(&self) -> Ground {
        let (holds, finding) = match self.lack_of_fit() {
            Ok(test) if test.p >= EACH => (
                true,
                format!("no lack of fit is shown (p = {})", fixed(test.p, 2)),
            ),
            Ok(test) => (
                false,
                format!("the line does not fit (p = {})", chance(test.p)),
            ),
            Err(reason) => (false, format!("lack of fit cannot be tested: {reason}")),
        };
        Ground {
            name: "lack_of_fit",
            holds,
            finding,
            remedy: "measure several pieces at each of three or more x; if the line does not fit, choose a narrower range of x",
        }
    }

    fn normal(&self) -> Ground {
        tested(
            "residuals",
            self.residuals_p(),
            "the distances from the line may be normally distributed",
            "the distances from the line are not normally distributed",
            "look for a second cause: compare tools, lots and days",
        )
    }

    fn independent(&self) -> Ground {
        let off = self.y.part(&self.residual_bases());
        tested(
            "independent",
            off.and_then(|off| order(&off))
                .map(|chances| chances.lag1_p),
            "the distances from the line may be independent of each other",
            "the distances from the line follow each other in the order of the pairs",
            "look for a drift of the puller or the tool, and take pieces in random order",
        )
    }

    fn even(&self) -> Ground {
        tested(
            "spread",
            self.even_spread_p(),
            "the spread may be the same at each x",
            "the spread changes with x",
            "choose a narrower range of x",
        )
    }

    /// The range that keeps the lower limit of y, or why none is given.
    pub fn claim(&self, digits: Digits<'_>) -> Claim {
        let grounds = self.grounds();
        let enough = grounds.first().is_none_or(|ground| ground.holds);
        let failing = || {
            let failing = grounds.iter().filter(|ground| !ground.holds);
            failing.take(if enough { usize::MAX } else { 1 })
        };
        let name = &self.names[0];
        let range = self.keeps();
        let sentence = match range {
            Err(Undefined::NoLowerLimit) => {
                format!("no range of {name} is given: there is no lower limit")
            }
            _ if failing().next().is_some() => {
                let why: Vec<&str> = failing().map(|ground| ground.finding.as_str()).collect();
                let what: Vec<&str> = failing().map(|ground| ground.remedy).collect();
                format!(
                    "no range of {name} is given: {}. What to do: {}",
                    why.join("; "),
                    what.join("; ")
                )
            }
            Ok(range) => self.range_words(range, digits),
            Err(reason) => format!("no range of {name} is given: {reason}"),
        };
        let shown = range.is_ok() && failing().next().is_none();
        Claim {
            grounds,
            shown,
            sentence,
        }
    }

    fn range_words(&self, range: Range, digits: Digits<'_>) -> String {
        let [x, y] = self.names();
        let place = |base: i64| {
            let value = self.x.summary().in_unit(base);
            digits.text(FigureKind::Position, value)
        };
        let limit = self.minimum().unwrap_or_default();
        let measured = match (range.from_measured, range.to_measured) {
            (true, true) => "; lower and higher values were not measured",
            (true, false) => "; lower values were not measured",
            (false, true) => "; higher values were not measured",
            (false, false) => "",
        };
        format!(
            "at each {x} from {} to {}, at least {} of the pieces have a {y} of {limit} {} or more, with {} confidence{measured}",
            place(range.from),
            place(range.to),
            percent(self.content),
            self.y.unit(),
            percent(self.confidence),
        )
    }

    /// The line in words.
    pub fn sentence(&self, digits: Digits<'_>) -> String {
        let [x, y] = self.names();
        let (p, bounds) = match (self.slope_p(), self.slope_bounds()) {
            (Ok(p), Ok(bounds)) => (p, bounds),
            (Err(reason), _) | (_, Err(reason)) => {
                return format!("the slope of {y} against {x} cannot be tested: {reason}");
            }
        };
        if p >= SLOPE {
            return format!("no slope of {y} against {x} is shown (p = {})", fixed(p, 2));
        }
        let slope = self.slope();
        let (low, high) = if slope < 0.0 {
            (-bounds.1, -bounds.0)
        } else {
            bounds
        };
        format!(
            "{y} {} by {} of {x} (95 % confidence interval: {} to {})",
            if slope < 0.0 { "falls" } else { "rises" },
            digits.text(FigureKind::Slope, slope.abs()),
            digits.slope(low),
            digits.slope(high)
        )
    }
}

fn tested(
    name: &'static str,
    p: Result<f64, Undefined>,
    good: &str,
    bad: &str,
    remedy: &'static str,
) -> Ground {
    let (holds, finding) = match p {
        Ok(p) if p >= EACH => (true, format!("{good} (p = {})", fixed(p, 2))),
        Ok(p) => (false, format!("{bad} (p = {})", chance(p))),
        Err(reason) => (false, format!("{good}, which cannot be tested: {reason}")),
    };
    Ground {
        name,
        holds,
        finding,
        remedy,
    }
}
