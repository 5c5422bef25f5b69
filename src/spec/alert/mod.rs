//! Run rules: signals of several successive readings of one axis.
//!
//! In: values in the order of their pieces, the oldest first, and the limits of their axis. Out: whether a rule fires,
//! and a sentence about it. An alert is a reason to look at tool and wire; it never changes a verdict.
//!
//! - Integers only. Ties are common, because values are rounded to the resolution of a display; each rule says how it
//!   treats them.
//! - To add a rule: a file beside this one, a row in [`ALERTS`], its rates in `docs/run-rules.md`.

mod eight_on_one_side;
mod sentence;
mod six_in_a_row;
mod trend;
mod two_of_three;

use super::{Limits, Purpose};
use crate::quantity::Measured;
use std::fmt;

pub use sentence::{AlertContext, sentence};

/// Maximum number of readings that a rule looks back at.
pub const MOST_VALUES: usize = 25;

/// One rule over several readings.
pub struct AlertRule {
    /// The name in plans and entries: `six_in_a_row`. It never changes.
    pub name: &'static str,
    /// What it looks for, in the words of the handbooks of statistical process control.
    pub words: &'static str,
    /// The source of the rule, and whether that source was consulted.
    pub source: &'static str,
    /// Whether the rule is in force if the plan names none.
    pub by_default: bool,
    /// The sign, if the rule fires for these values in base units, the oldest first.
    pub holds: fn(&[i64], &Limits) -> Option<Sign>,
    says: fn(&[Measured], Sign, &Limits) -> Seen,
}

/// The sign that a rule found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sign {
    /// Number of the last values that it spans.
    pub values: usize,
    /// Towards larger or smaller values.
    pub way: Way,
}

/// The parts of the sentence about a sign.
struct Seen {
    /// The text after the name of the axis.
    what: String,
    /// The values of the sign.
    values: String,
    /// The forecast; empty if there is none.
    outlook: String,
}

/// Direction of a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Towards larger values.
    Up,
    /// Towards smaller values.
    Down,
}

/// Every rule, in the order in which alerts are entered.
pub const ALERTS: &[&AlertRule] = &[
    &six_in_a_row::RULE,
    &two_of_three::RULE,
    &trend::RULE,
    &eight_on_one_side::RULE,
];

impl AlertRule {
    /// The rule of this name.
    pub fn from_name(name: &str) -> Option<&'static Self> {
        ALERTS.iter().copied().find(|rule| rule.name == name)
    }

    /// The names of all rules.
    pub fn names() -> impl Iterator<Item = &'static str> {
        ALERTS.iter().map(|rule| rule.name)
    }

    /// The rules in force if a plan names none. Only pieces made one after the other with one tool can show its drift;
    /// for other purposes there are none.
    pub fn defaults(purpose: Purpose) -> Vec<&'static Self> {
        let drifts = purpose.is_of_own_crimps();
        ALERTS
            .iter()
            .copied()
            .filter(|rule| drifts && rule.by_default)
            .collect()
    }
}

impl fmt::Debug for AlertRule {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name)
    }
}

impl PartialEq for AlertRule {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

impl Eq for AlertRule {}

impl Way {
    /// Whether there is a limit in this direction. With one limit only, a change away from it is harmless.
    fn leads_to_a_limit(self, limits: &Limits) -> bool {
        self.limit(limits).is_some()
    }

    /// The limit in this direction, in base units.
    fn limit(self, limits: &Limits) -> Option<i64> {
        let limit = match self {
            Self::Up => limits.upper(),
            Self::Down => limits.lower(),
        };
        limit.map(crate::quantity::Quantity::base)
    }

    /// The distance from `from` to `to` in this direction, in base units; negative against it.
    const fn further(self, from: i64, to: i64) -> i64 {
        match self {
            Self::Up => to.saturating_sub(from),
            Self::Down => from.saturating_sub(to),
        }
    }
}
