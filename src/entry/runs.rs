//! The last readings of each axis over all series of a station: the input of the run rules.
//!
//! In: counted readings, and readings that no longer count. Out: runs. A run is of one axis of one terminal on one
//! wire, crimped with one tool in one nest, measured with one instrument against the same limits.
//!
//! - A run continues over series and restarts, because a hand tool wears over many series of five pieces.
//! - Without a tool it continues with its plan. Without either, or where pieces are not made one after the other
//!   (reference pieces, gauge studies), it ends with its series.
//! - Memory is bounded: the last [`MOST_VALUES`] readings of a run, and the last [`MOST_RUNS`] runs.
//! - A zero between two readings changes nothing.

use super::Seq;
use super::state::{CountedReading, SeriesState, StationState};
use crate::quantity::{Area, Measured};
use crate::spec::alert::{ALERTS, AlertContext, MOST_VALUES, Sign, sentence};
use crate::spec::{AlertRule, AxisName, Crimp, Limits};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Maximum number of runs kept for a station.
pub const MOST_RUNS: usize = 32;

/// Maximum number of alerts kept for an open series. The journal keeps all of them.
pub const MOST_ALERTS: usize = 20;

/// The runs of a station, the one measured last first.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Runs(pub Vec<Run>);

/// Readings of the same kind, in the order of their pieces.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Run {
    /// Terminal id and wire size; `None` for a gauge block.
    pub crimp: Option<(String, Area)>,
    /// What connects one piece to the next.
    pub maker: Maker,
    /// Name of the axis in the plan, for example `core_crimp_height`.
    pub axis: AxisName,
    /// The instrument. Two instruments may show different values of one piece.
    pub instrument: String,
    /// The limits of the sheet.
    pub limits: Limits,
    /// The last readings, oldest first.
    pub points: Vec<Point>,
    /// Rules that fired and still hold; they fire again only after they stopped holding.
    pub signalled: Vec<&'static AlertRule>,
}

/// What connects one piece to the next in a run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Maker {
    /// The tool and its nest.
    Tool {
        /// The id of the tool in the configuration.
        id: String,
        /// The nest in the tool; `None` if the tool has only one.
        nest: Option<String>,
    },
    /// The plan, where it names no tool.
    Plan(String),
    /// The series only, by its id.
    Series(Seq),
}

/// A reading of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Point {
    /// `seq` of the entry `reading`.
    pub seq: Seq,
    /// `seq` of the entry `armed` that opened its series.
    pub series: Seq,
    /// Number of the piece, from 1.
    pub piece: u32,
    /// The value with the unit that the instrument showed.
    pub value: Measured,
}

/// An alert of an open series.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Alert {
    /// `seq` of the entry `alerted`.
    pub seq: Seq,
    /// Name of the run rule.
    pub rule: String,
    /// The sentence for the operator.
    pub text: String,
    /// The readings of the pattern, by the numbers of their entries.
    pub readings: Vec<Seq>,
}

impl Runs {
    /// Adds a counted reading of `series`, if a run rule is in force there.
    pub(super) fn take(&mut self, series: &SeriesState, reading: &CountedReading) {
        let limits = series.spec.axis(&reading.axis).map(|axis| &axis.limits);
        let Some(limits) = limits.filter(|_| !series.spec.alerts.is_empty()) else {
            return;
        };
        let known = self
            .0
            .iter()
            .position(|run| run.is_of(series, reading, limits));
        if let Some(before) = known.and_then(|at| self.0.get_mut(..=at)) {
            before.rotate_right(1);
        } else {
            self.0.truncate(MOST_RUNS - 1);
            self.0.insert(0, Run::new(series, reading, limits));
        }
        if let Some(run) = self.0.first_mut() {
            run.take(Point {
                seq: reading.seq,
                series: series.id,
                piece: reading.piece,
                value: reading.value,
            });
        }
    }

    /// Removes readings that no longer count.
    pub(super) fn take_out(&mut self, readings: &[Seq]) {
        for run in &mut self.0 {
            let before = run.points.len();
            run.points.retain(|point| !readings.contains(&point.seq));
            if run.points.len() != before {
                run.forget_ended_signals();
            }
        }
        self.0.retain(|run| !run.points.is_empty());
    }

    /// Stores that `rule` has fired for `readings`.
    pub(super) fn mark_fired(&mut self, rule: &str, readings: &[Seq]) {
        let holds = |run: &&mut Run| {
            let mut points = run.points.iter();
            points.any(|point| readings.contains(&point.seq))
        };
        let run = self.0.iter_mut().find(holds);
        if let Some((run, rule)) = run.zip(AlertRule::from_name(rule))
            && !run.signalled.contains(&rule)
        {
            run.signalled.push(rule);
        }
    }
}

impl Run {
    fn new(series: &SeriesState, reading: &CountedReading, limits: &Limits) -> Self {
        let spec = &series.spec;
        Self {
            crimp: (spec.subject.crimp()).map(|crimp| (crimp.terminal.clone(), crimp.wire.area)),
            maker: Maker::of(series),
            axis: reading.axis.clone(),
            instrument: reading.instrument.to_string(),
            limits: limits.clone(),
            points: Vec::new(),
            signalled: Vec::new(),
        }
    }

    fn is_of(&self, series: &SeriesState, reading: &CountedReading, limits: &Limits) -> bool {
        let spec = &series.spec;
        self.axis == reading.axis
            && *self.instrument == *reading.instrument
            && self.is_on(spec.subject.crimp())
            && self.limits == *limits
            && self.maker.is_of(series)
    }

    fn is_on(&self, crimp: Option<&Arc<Crimp>>) -> bool {
        match (&self.crimp, crimp) {
            (Some((terminal, wire)), Some(crimp)) => {
                *terminal == crimp.terminal && *wire == crimp.wire.area
            }
            (None, None) => true,
            (Some(_), None) | (None, Some(_)) => false,
        }
    }

    /// Adds a point in the order of pieces. A piece that is measured again replaces its older point.
    fn take(&mut self, point: Point) {
        let place = |point: &Point| (point.series, point.piece);
        let before = |known: &Point| place(known) <= place(&point);
        self.points
            .insert(self.points.partition_point(before), point);
        let surplus = self.points.len().saturating_sub(MOST_VALUES);
        self.points.drain(..surplus);
        self.forget_ended_signals();
    }

    /// Lets a rule fire again once it no longer holds.
    fn forget_ended_signals(&mut self) {
        if self.signalled.is_empty() {
            return;
        }
        let mut room = [0; MOST_VALUES];
        let values = values(&self.points, &mut room);
        let limits = &self.limits;
        self.signalled
            .retain(|rule| (rule.holds)(values, limits).is_some());
    }

    fn due(&self, rule: &'static AlertRule, sign: Sign, series: &SeriesState) -> Option<DueAlert> {
        let from = self.points.len().checked_sub(sign.values)?;
        let points = self.points.get(from..)?;
        let values: Vec<_> = points.iter().map(|point| point.value).collect();
        let context = AlertContext {
            spec: &series.spec,
            axis: &self.axis,
            instrument: &self.instrument,
            limits: &self.limits,
            values: &values,
            since: &since(points.first()?, series.id),
        };
        Some(DueAlert {
            rule,
            text: sentence(rule, sign, &context),
            readings: points.iter().map(|point| point.seq).collect(),
        })
    }
}

/// The newest values of a run in base units, at most [`MOST_VALUES`].
fn values<'r>(points: &[Point], room: &'r mut [i64; MOST_VALUES]) -> &'r [i64] {
    let latest = points.get(points.len().saturating_sub(MOST_VALUES)..);
    let latest = latest.unwrap_or_default();
    for (value, point) in room.iter_mut().zip(latest) {
        *value = point.value.quantity().base();
    }
    room.get(..latest.len()).unwrap_or_default()
}

/// Names the series of a point, if it is not the open one.
fn since(point: &Point, open: Seq) -> String {
    if point.series == open {
        format!("piece {}", point.piece)
    } else {
        format!("piece {} of series {}", point.piece, point.series)
    }
}

/// An alert that must be entered now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DueAlert {
    /// The rule that holds.
    pub rule: &'static AlertRule,
    /// The sentence for the operator.
    pub text: String,
    /// The readings of the pattern, in the order of their pieces.
    pub readings: Vec<Seq>,
}

impl Maker {
    fn of(series: &SeriesState) -> Self {
        let spec = &series.spec;
        match (&spec.tool, &spec.plan) {
            _ if !spec.purpose.is_of_own_crimps() => Self::Series(series.id),
            (Some(tool), _) => Self::Tool {
                id: tool.id.clone(),
                nest: tool.nest.clone(),
            },
            (None, Some(plan)) => Self::Plan(plan.clone()),
            (None, None) => Self::Series(series.id),
        }
    }

    /// `Maker::of(series) == *self` without copies, since it runs for every reading.
    fn is_of(&self, series: &SeriesState) -> bool {
        let spec = &series.spec;
        let goes_on = spec.purpose.is_of_own_crimps();
        match self {
            Self::Tool { id, nest } => spec
                .tool
                .as_ref()
                .is_some_and(|tool| goes_on && tool.id == *id && tool.nest == *nest),
            Self::Plan(plan) => goes_on && spec.tool.is_none() && spec.plan.as_ref() == Some(plan),
            Self::Series(id) => *id == series.id,
        }
    }
}

impl StationState {
    /// The alerts that are due after a counted reading: rules in force that hold for its run and did not hold before,
    /// in the order of [`ALERTS`].
    pub fn alerts_due(&self) -> Vec<DueAlert> {
        let Some((run, series)) = self.runs.0.first().zip(self.series.as_ref()) else {
            return Vec::new();
        };
        let rules = &series.spec.alerts;
        if rules.is_empty() {
            return Vec::new();
        }
        let mut room = [0; MOST_VALUES];
        let values = values(&run.points, &mut room);
        ALERTS
            .iter()
            .copied()
            .filter(|rule| rules.contains(rule) && !run.signalled.contains(rule))
            .filter_map(|rule| run.due(rule, (rule.holds)(values, &run.limits)?, series))
            .collect()
    }
}
