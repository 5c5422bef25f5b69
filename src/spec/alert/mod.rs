//! Run rules: what several readings of one axis in a row say that none of them says by itself.
//!
//! In: values in the order of their pieces, the oldest first, and the limits of their axis. Out:
//! whether a rule holds, and a plain sentence. An alert is a reason to look; it never changes a
//! verdict, and nobody is blamed by it.
//!
//! - Integers only. A tie is a tie: values are rounded to the resolution of a display.
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

/// How many readings a rule may look back at.
pub const MOST_VALUES: usize = 25;

/// One rule over several readings.
pub struct AlertRule {
    /// As in plans and entries: `six_in_a_row`. It never changes.
    pub name: &'static str,
    /// What it looks for, in the words of the handbooks of statistical process control.
    pub words: &'static str,
    /// Where it is from, and whether that was seen.
    pub source: &'static str,
    /// In force where a plan says nothing.
    pub by_default: bool,
    /// Whether it holds of values, the oldest first.
    pub holds: fn(&[i64], &Limits) -> Option<Sign>,
    says: fn(&[Measured], Sign, &Limits) -> Seen,
}

/// What a rule saw.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sign {
    /// In how many of the last values.
    pub values: usize,
    /// Towards larger or smaller values.
    pub way: Way,
}

/// What is seen, as a sentence is made of it.
struct Seen {
    /// What goes on after the name of the axis.
    what: String,
    /// The values it is seen in.
    values: String,
    /// Where that leads; empty where nothing can be said.
    outlook: String,
}

/// Up or down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// To larger values.
    Up,
    /// To smaller ones.
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

    /// The rules in force where a plan names none. Pieces that were not made one after the other by
    /// the tool in hand show no drift of it, so for those there are none.
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
    /// Whether going this way leads to a limit that there is. With one limit only, going away from
    /// it is no trouble.
    fn leads_to_a_limit(self, limits: &Limits) -> bool {
        self.limit(limits).is_some()
    }

    /// The limit that lies this way, in base units.
    fn limit(self, limits: &Limits) -> Option<i64> {
        let limit = match self {
            Self::Up => limits.upper(),
            Self::Down => limits.lower(),
        };
        limit.map(crate::quantity::Quantity::base)
    }

    /// How much further `to` lies this way than `from`.
    const fn further(self, from: i64, to: i64) -> i64 {
        match self {
            Self::Up => to.saturating_sub(from),
            Self::Down => from.saturating_sub(to),
        }
    }
}
