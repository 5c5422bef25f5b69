//! The plans as tiles: what each measures, its limits, and its last outcome.
//!
//! In: the configuration, and the series seen so far. Out: the tiles of a station, the last used first.

use crate::entry::{Entry, Outcome, Reservation, SaidEntry, Seq, SeriesEntry, Stamped, words};
use crate::message::catalog::{LimitMessage, ToolBrief};
use crate::quantity::WallMicros;
use crate::spec::{Catalog, Plan, Subject, resolve, wire};
use crate::texts::{Texts, gather};
use serde::Serialize;
use std::cmp::Reverse;
use std::collections::BTreeMap;

/// Maximum number of operators that are remembered.
const OPERATORS_MOST: usize = 12;

/// Plans, operators and tools to choose from at a station.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PlansMessage {
    /// Plans, the last used first. Those that cannot be started here come last.
    pub plans: Vec<TileMessage>,
    /// Operators of recent series, the last first; then those of the configuration.
    pub operators: Vec<String>,
    /// Crimp tools.
    pub tools: Vec<ToolBrief>,
    /// Whether these may be changed here.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub may_edit: bool,
    /// Wires, and why plans cannot be started, as keys of the table of texts, where it has them.
    #[serde(skip_serializing_if = "Texts::is_empty")]
    pub texts: Texts,
}

/// A plan that can be chosen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TileMessage {
    /// Id of the plan.
    pub plan: String,
    /// Id of the terminal; left out where gauge blocks are measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub terminal: Option<String>,
    /// Wire in words, with area and gauge.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wire: Option<String>,
    /// Sizes of the gauge blocks.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub blocks: Vec<String>,
    /// Axes, with their limits if the plan can be started.
    pub axes: Vec<LimitMessage>,
    /// Number of pieces.
    pub pieces: u32,
    /// Purpose of the pieces, such as `first_off`.
    pub purpose: &'static str,
    /// Id of the crimp tool.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tool: Option<String>,
    /// Nest of the crimp tool.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nest: Option<String>,
    /// Last series of this plan.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last: Option<UseMessage>,
    /// Why the plan cannot be started here; left out if it can.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cannot: Option<String>,
}

/// A series of a plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct UseMessage {
    /// Number of the series.
    pub series: u64,
    /// Time of its start, RFC 3339 in UTC.
    pub at: String,
    /// Outcome; left out while it is open.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outcome: Option<&'static str>,
    /// Its reservations, such as `calibration_overdue`; left out where it has none.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub reservations: Vec<&'static str>,
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
    reservations: Vec<Reservation>,
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
                        reservations: Vec::new(),
                    };
                    self.plans.insert(plan.clone(), used);
                }
            }
            Entry::Series(SeriesEntry::Completed(completed)) => {
                let outcome = Some(completed.outcome);
                self.came_out(completed.series, outcome, completed.reservations());
            }
            Entry::Series(SeriesEntry::Resumed(resumed)) => {
                self.came_out(resumed.series, None, &[]);
            }
            Entry::Said(SaidEntry::OperatorSaid(said)) => self.remember(&said.operator),
            Entry::Journal(_)
            | Entry::Port(_)
            | Entry::Said(_)
            | Entry::Frame(_)
            | Entry::Series(_)
            | Entry::Production(_) => {}
        }
    }

    fn came_out(&mut self, series: Seq, outcome: Option<Outcome>, beside: &[Reservation]) {
        let mut uses = self.plans.values_mut();
        if let Some(used) = uses.find(|used| used.series == series) {
            used.outcome = outcome;
            used.reservations = beside.to_vec();
        }
    }

    fn remember(&mut self, operator: &str) {
        self.operators.retain(|known| known != operator);
        self.operators.insert(0, operator.to_owned());
        self.operators.truncate(OPERATORS_MOST);
    }

    /// The operators of recent series, then the others of the configuration.
    fn operators_of(&self, catalog: &Catalog) -> Vec<String> {
        let configured = catalog.operators.iter();
        let others = configured.filter(|name| !self.operators.contains(name));
        let all = self.operators.iter().chain(others);
        all.map(|name| words::safe(name)).collect()
    }

    /// The plans of `catalog` as tiles for `station`.
    pub(super) fn message(&self, catalog: &Catalog, station: &str) -> PlansMessage {
        let plans = catalog.plans.iter();
        let mut tiles: Vec<_> = plans
            .filter_map(|plan| self.tile(catalog, station, plan))
            .collect();
        tiles.sort_by_key(|tile| {
            let used = tile.last.as_ref().map(|last| last.series);
            (tile.cannot.is_some(), Reverse(used))
        });
        let mut texts = Texts::new();
        gather(
            &mut texts,
            tiles.iter().flat_map(|tile| {
                tile.cannot
                    .as_deref()
                    .into_iter()
                    .chain(tile.wire.as_deref())
            }),
        );
        PlansMessage {
            texts,
            plans: tiles,
            operators: self.operators_of(catalog),
            tools: catalog.tools.iter().map(ToolBrief::new).collect(),
            may_edit: false,
        }
    }

    /// The tile of a plan; `None` if it has no id.
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
            reservations: used.reservations.iter().map(|one| one.name()).collect(),
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
