//! What the operator says of who measures and of what is in the hand, and by what means.

use super::{Entry, Seq, State};
use crate::spec::ToolClass;

/// The crimp tool that is in the hand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToolInHand {
    /// Its id.
    pub id: String,
    /// What it was made for.
    pub class: ToolClass,
    /// The nest, if it was said.
    pub nest: Option<String>,
}

/// A crimp tool was taken up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToolSaid {
    /// The station.
    pub station: String,
    /// The series open at the time.
    pub series: Option<Seq>,
    /// The tool.
    pub tool: ToolInHand,
    /// It is the tool that the open series asks for.
    pub as_planned: bool,
}

/// What a card or a pedal said last and the station could not do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RefusedSaying {
    /// What was said.
    pub said: String,
    /// Why not.
    pub reason: String,
    /// What to do.
    pub remedy: Option<String>,
}

/// How a person told the station something.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Means {
    /// The control socket: the command line, a page, a program.
    Command,
    /// A card.
    Card,
    /// A pedal.
    Pedal,
    /// Two zero frames within two seconds.
    DoubleZero,
}

impl Means {
    /// Every means.
    pub const ALL: [Self; 4] = [Self::Command, Self::Card, Self::Pedal, Self::DoubleZero];

    /// As in entries.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Command => "command",
            Self::Card => "card",
            Self::Pedal => "pedal",
            Self::DoubleZero => "double_zero",
        }
    }

    /// As it is said: `by card`.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Command => "by command",
            Self::Card => "by card",
            Self::Pedal => "by pedal",
            Self::DoubleZero => "by zeroing twice",
        }
    }
}

impl State {
    /// What was refused is over once something else was said or measured at the station.
    pub(super) fn forget_refusal(&mut self, entry: &Entry) {
        let done = match entry {
            Entry::Armed(spec) => &spec.station,
            Entry::Completed(completed) => &completed.station,
            Entry::Zeroed(zeroed) => &zeroed.station,
            Entry::Reading(reading) => &reading.station,
            Entry::ToolSaid(said) => &said.station,
            Entry::AdapterSaid(said) => &said.station,
            Entry::Disarmed { station, .. }
            | Entry::ZeroSaid { station, .. }
            | Entry::OperatorSaid { station, .. }
            | Entry::Retracted { station, .. }
            | Entry::Restored { station, .. }
            | Entry::Resumed { station, .. }
            | Entry::Noted { station, .. } => station,
            Entry::Begun { .. }
            | Entry::Segment { .. }
            | Entry::Started { .. }
            | Entry::Stopped { .. }
            | Entry::Attached(_)
            | Entry::Detached { .. }
            | Entry::AdapterChanged(_)
            | Entry::Disturbed(_)
            | Entry::ZeroDue { .. }
            | Entry::Unread(_)
            | Entry::Refused { .. }
            | Entry::Doubted { .. }
            | Entry::Alerted { .. }
            | Entry::ClockStepped { .. }
            | Entry::Gap { .. }
            | Entry::DamageAccepted { .. }
            | Entry::RolledBack { .. } => return,
        };
        if let Some(station) = self.stations.get_mut(done) {
            station.refused = None;
        }
    }
}
