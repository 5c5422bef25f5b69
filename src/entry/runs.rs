//! The last readings of each axis, over the series of a station: what run rules look at.
//!
//! In: counted readings, and those taken out again. Out: runs, each of one axis of one terminal on
//! one wire, made by one tool in one nest and measured by one instrument against the same limits.
//!
//! - A run goes on over series and restarts: a hand tool wears over many series of five pieces.
//! - Without a tool it goes on with its plan; without either, or where pieces are not made one
//!   after the other (reference pieces, gauge studies), it ends with its series.
//! - Bounded: the last [`MOST_VALUES`] readings of a run, the [`MOST_RUNS`] runs last measured.
//! - A zero between two readings changes nothing.

use super::Seq;
use super::state::{CountedReading, SeriesState, StationState};
use crate::quantity::{Area, Measured};
use crate::spec::alert::{ALERTS, AlertContext, MOST_VALUES, Sign, sentence};
use crate::spec::{AlertRule, AxisName, Crimp, Limits};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How many runs of a station are kept.
pub const MOST_RUNS: usize = 32;

/// How many alerts of an open series are kept; all of them stay in the journal.
pub const MOST_ALERTS: usize = 20;

/// The runs of a station, the one last measured first.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Runs(pub Vec<Run>);

/// Readings of the same thing, in the order of their pieces.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Run {
    /// The terminal's id and the wire's size; `None` of a gauge block.
    pub crimp: Option<(String, Area)>,
    /// What goes on from one piece to the next.
    pub maker: Maker,
    /// Its name in the plan, as `core_crimp_height`.
    pub axis: AxisName,
    /// The instrument: two of them do not show the same.
    pub instrument: String,
    /// What the sheet allows.
    pub limits: Limits,
    /// The last readings, the oldest first.
    pub points: Vec<Point>,
    /// The rules that have fired and have held ever since.
    pub signalled: Vec<&'static AlertRule>,
}

/// What one piece has in common with the next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Maker {
    /// The tool and its nest.
    Tool {
        /// As its `[[tool]]` table has it.
        id: String,
        /// The place in the tool; none where the tool has only one.
        nest: Option<String>,
    },
    /// The plan, where no tool is named.
    Plan(String),
    /// The series only.
    Series(Seq),
}

/// A reading of a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Point {
    /// `seq` of the entry `reading`.
    pub seq: Seq,
    /// `seq` of the entry `armed` that opened its series.
    pub series: Seq,
    /// The piece, from 1.
    pub piece: u32,
    /// As the instrument showed it, unit included.
    pub value: Measured,
}

/// A rule over several readings held in an open series.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Alert {
    /// `seq` of the entry `alerted`.
    pub seq: Seq,
    /// The rule's name.
    pub rule: String,
    /// The sentence for the operator.
    pub text: String,
    /// The readings it is about, by their entries.
    pub readings: Vec<Seq>,
}

impl Runs {
    /// Takes a counted reading of `series`, if any rule is in force there.
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

    /// Takes readings out that count no more.
    pub(super) fn take_out(&mut self, readings: &[Seq]) {
        for run in &mut self.0 {
            let before = run.points.len();
            run.points.retain(|point| !readings.contains(&point.seq));
            if run.points.len() != before {
                run.forget_what_is_over();
            }
        }
        self.0.retain(|run| !run.points.is_empty());
    }

    /// Notes that `rule` has fired for `readings`.
    pub(super) fn tell(&mut self, rule: &str, readings: &[Seq]) {
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
            instrument: reading.instrument.clone(),
            limits: limits.clone(),
            points: Vec::new(),
            signalled: Vec::new(),
        }
    }

    fn is_of(&self, series: &SeriesState, reading: &CountedReading, limits: &Limits) -> bool {
        let spec = &series.spec;
        self.axis == reading.axis
            && self.instrument == reading.instrument
            && self.is_on(spec.subject.crimp())
            && self.limits == *limits
            && self.maker.is_of(series)
    }

    fn is_on(&self, crimp: Option<&Crimp>) -> bool {
        match (&self.crimp, crimp) {
            (Some((terminal, wire)), Some(crimp)) => {
                *terminal == crimp.terminal && *wire == crimp.wire.area
            }
            (None, None) => true,
            (Some(_), None) | (None, Some(_)) => false,
        }
    }

    /// In the order of the pieces: one that is measured again takes the place of the first time.
    fn take(&mut self, point: Point) {
        let place = |point: &Point| (point.series, point.piece);
        let before = |known: &Point| place(known) <= place(&point);
        self.points
            .insert(self.points.partition_point(before), point);
        let surplus = self.points.len().saturating_sub(MOST_VALUES);
        self.points.drain(..surplus);
        self.forget_what_is_over();
    }

    /// A rule that holds no more may fire again.
    fn forget_what_is_over(&mut self) {
        if self.signalled.is_empty() {
            return;
        }
        let values = self.values();
        let limits = &self.limits;
        self.signalled
            .retain(|rule| (rule.holds)(&values, limits).is_some());
    }

    fn values(&self) -> Vec<i64> {
        let values = self.points.iter();
        values.map(|point| point.value.quantity().base()).collect()
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

/// Where a point is, as seen from the open series.
fn since(point: &Point, open: Seq) -> String {
    if point.series == open {
        format!("piece {}", point.piece)
    } else {
        format!("piece {} of series {}", point.piece, point.series)
    }
}

/// An alert that is to be raised now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DueAlert {
    /// The rule that holds.
    pub rule: &'static AlertRule,
    /// The sentence for the operator.
    pub text: String,
    /// The readings it is about, in the order of their pieces.
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

    /// As `Maker::of(series) == *self`, for every reading, so without copies.
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
    /// The alerts that are due after a counted reading: of the rules in force, those that hold of
    /// its run and did not before, in the order of [`ALERTS`].
    pub fn alerts_due(&self) -> Vec<DueAlert> {
        let Some((run, series)) = self.runs.0.first().zip(self.series.as_ref()) else {
            return Vec::new();
        };
        let rules = &series.spec.alerts;
        if rules.is_empty() {
            return Vec::new();
        }
        let values = run.values();
        ALERTS
            .iter()
            .copied()
            .filter(|rule| rules.contains(rule) && !run.signalled.contains(rule))
            .filter_map(|rule| run.due(rule, (rule.holds)(&values, &run.limits)?, series))
            .collect()
    }
}
