//! The plans as tiles to start from: what each measures, against which limits, and how it came out last.
//!
//! In: the configuration, and the series that were seen. Out: the tiles of a station, the last used first.

use crate::entry::{Entry, Outcome, SaidEntry, Seq, SeriesEntry, Stamped, words};
use crate::message::catalog::{LimitMessage, ToolBrief};
use crate::quantity::WallMicros;
use crate::spec::{Catalog, Plan, Subject, resolve, wire};
use serde::Serialize;
use std::cmp::Reverse;
use std::collections::BTreeMap;

/// How many operators are remembered.
const OPERATORS_MOST: usize = 12;

/// What can be chosen at a station.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PlansMessage {
    /// The plans, the last used first, those that cannot be started here last.
    pub plans: Vec<TileMessage>,
    /// Who measured of late, the last first.
    pub operators: Vec<String>,
    /// The crimp tools.
    pub tools: Vec<ToolBrief>,
}

/// A plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TileMessage {
    /// Its name.
    pub plan: String,
    /// The terminal; left out where gauge blocks are measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub terminal: Option<String>,
    /// The wire with both of its sizes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wire: Option<String>,
    /// The gauge blocks.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub blocks: Vec<String>,
    /// What is measured, with its limits where it can be started.
    pub axes: Vec<LimitMessage>,
    /// How many pieces.
    pub pieces: u32,
    /// Why.
    pub purpose: &'static str,
    /// The crimp tool.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tool: Option<String>,
    /// Its nest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nest: Option<String>,
    /// The series that it was last started as.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last: Option<UseMessage>,
    /// Why it cannot be started here.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cannot: Option<String>,
}

/// A series that a plan was started as.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct UseMessage {
    /// Its id.
    pub series: u64,
    /// When it was started.
    pub at: String,
    /// How it came out; left out while it is open.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outcome: Option<&'static str>,
}

/// When each plan was used last, and by whom.
#[derive(Debug, Default)]
pub(super) struct Uses {
    plans: BTreeMap<String, Use>,
    operators: Vec<String>,
}

#[derive(Debug)]
struct Use {
    series: Seq,
    at: WallMicros,
    outcome: Option<Outcome>,
}

impl Uses {
    pub(super) fn apply(&mut self, stamped: &Stamped) {
        match &stamped.entry {
            Entry::Series(SeriesEntry::Armed(spec)) => {
                if let Some(operator) = &spec.operator {
                    self.remember(operator);
                }
                if let Some(plan) = &spec.plan {
                    let used = Use {
                        series: stamped.seq,
                        at: stamped.at,
                        outcome: None,
                    };
                    self.plans.insert(plan.clone(), used);
                }
            }
            Entry::Series(SeriesEntry::Completed(completed)) => {
                self.came_out(completed.series, Some(completed.outcome));
            }
            Entry::Series(SeriesEntry::Resumed(resumed)) => self.came_out(resumed.series, None),
            Entry::Said(SaidEntry::OperatorSaid(said)) => self.remember(&said.operator),
            Entry::Journal(_)
            | Entry::Port(_)
            | Entry::Said(_)
            | Entry::Frame(_)
            | Entry::Series(_) => {}
        }
    }

    fn came_out(&mut self, series: Seq, outcome: Option<Outcome>) {
        let mut uses = self.plans.values_mut();
        if let Some(used) = uses.find(|used| used.series == series) {
            used.outcome = outcome;
        }
    }

    fn remember(&mut self, operator: &str) {
        self.operators.retain(|known| known != operator);
        self.operators.insert(0, operator.to_owned());
        self.operators.truncate(OPERATORS_MOST);
    }

    /// The plans of `catalog` as `station` can start them.
    pub(super) fn message(&self, catalog: &Catalog, station: &str) -> PlansMessage {
        let plans = catalog.plans.iter();
        let mut tiles: Vec<_> = plans
            .filter_map(|plan| self.tile(catalog, station, plan))
            .collect();
        tiles.sort_by_key(|tile| {
            let used = tile.last.as_ref().map(|last| last.series);
            (tile.cannot.is_some(), Reverse(used))
        });
        PlansMessage {
            plans: tiles,
            operators: self
                .operators
                .iter()
                .map(|name| words::safe(name))
                .collect(),
            tools: catalog.tools.iter().map(ToolBrief::new).collect(),
        }
    }

    /// `None` of a plan that has no name.
    fn tile(&self, catalog: &Catalog, station: &str, plan: &Plan) -> Option<TileMessage> {
        let id = plan.id.clone()?;
        let (spec, cannot) = match resolve(catalog, station, plan, None) {
            Ok(spec) => (Some(spec), None),
            Err(why) => (None, Some(why.first.to_string())),
        };
        let limits = |axis| {
            let armed = spec.as_ref().and_then(|spec| spec.axis(axis));
            armed.map_or(String::new(), |axis| axis.limits.to_string())
        };
        let axes = plan.axes.iter().map(|axis| LimitMessage {
            axis: axis.to_string(),
            limits: limits(axis),
        });
        let (terminal, wire, blocks) = match &plan.subject {
            Subject::Crimps { terminal, wire } => {
                let resolved = wire::resolve(wire);
                let words = resolved.map_or(wire.text.clone(), |wire| wire.to_string());
                (Some(terminal.clone()), Some(words), Vec::new())
            }
            Subject::Blocks { blocks, .. } => {
                (None, None, blocks.iter().map(ToString::to_string).collect())
            }
        };
        let last = self.plans.get(&id).map(|used| UseMessage {
            series: used.series.0,
            at: used.at.to_string(),
            outcome: used.outcome.map(Outcome::name),
        });
        Some(TileMessage {
            plan: id,
            terminal,
            wire,
            blocks,
            axes: axes.collect(),
            pieces: plan.pieces,
            purpose: plan.purpose.name(),
            tool: plan.tool.clone(),
            nest: plan.nest.clone(),
            last,
            cannot,
        })
    }
}
