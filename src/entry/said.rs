//! What the operator says of who measures and of what is in the hand, and by what means.

use super::{Entry, FrameEntry, SaidEntry, Seq, SeriesEntry, State};
use crate::quantity::named;
use crate::spec::ToolClass;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The crimp tool that is in the hand.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Tool", description = "The tool in the hand, in a state.")]
pub struct ToolInHand {
    /// As its `[[tool]]` table has it.
    pub id: String,
    /// What it was made for.
    pub class: ToolClass,
    /// The nest, if it was said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nest: Option<String>,
}

/// A crimp tool was taken up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToolSaid {
    /// Its name in the configuration.
    pub station: String,
    /// The series open at the time.
    pub series: Option<Seq>,
    /// What is in the operator's hand from this entry on.
    pub tool: ToolInHand,
    /// It is the tool that the open series asks for.
    pub as_planned: bool,
}

/// The operator said that the next frame is a zero.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ZeroSaid {
    /// Its name in the configuration.
    pub station: String,
    /// The instrument it is about.
    pub instrument: String,
}

/// The operator said who measures from here on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct OperatorSaid {
    /// Its name in the configuration.
    pub station: String,
    /// The series open at the time; its readings after this entry are theirs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub series: Option<Seq>,
    /// Name or initials, as the person gave them; counts from this entry on.
    pub operator: String,
}

/// What the operator noted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Noted {
    /// Its name in the configuration.
    pub station: String,
    /// The series open at the time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub series: Option<Seq>,
    /// The words.
    pub text: String,
}

/// What a card or a pedal said and the station could not do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Refused {
    /// Its name in the configuration.
    pub station: String,
    /// The scanner or pedal.
    pub instrument: String,
    /// What was said.
    pub said: String,
    /// Why not.
    pub reason: String,
    /// What to do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
}

/// What was refused last, in a state.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RefusedSaying {
    /// What was said.
    pub said: String,
    /// Why not.
    pub reason: String,
    /// What to do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
}

named! {
    /// By what means a person said something to the station.
    pub enum Means {
        /// The control socket: the command line, a page, a program.
        Command = "command",
        /// A barcode card, read by a scanner.
        Card = "card",
        /// A contact on a modem line.
        Pedal = "pedal",
        /// Two zeros within two seconds.
        DoubleZero = "double_zero",
    }
}

impl Means {
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
        let is_over = match entry {
            Entry::Journal(_) | Entry::Port(_) => false,
            Entry::Said(entry) => match entry {
                SaidEntry::AdapterSaid(_)
                | SaidEntry::ZeroSaid(_)
                | SaidEntry::OperatorSaid(_)
                | SaidEntry::ToolSaid(_)
                | SaidEntry::Noted(_) => true,
                SaidEntry::Refused(_) => false,
            },
            Entry::Frame(entry) => match entry {
                FrameEntry::Zeroed(_) | FrameEntry::Reading(_) => true,
                FrameEntry::Unread(_) => false,
            },
            Entry::Series(entry) => match entry {
                SeriesEntry::Armed(_)
                | SeriesEntry::Disarmed(_)
                | SeriesEntry::Completed(_)
                | SeriesEntry::Resumed(_)
                | SeriesEntry::Retracted(_)
                | SeriesEntry::Restored(_) => true,
                SeriesEntry::ZeroDue(_) | SeriesEntry::Doubted(_) | SeriesEntry::Alerted(_) => {
                    false
                }
            },
        };
        let station = entry.station().filter(|_| is_over);
        if let Some(station) = station.and_then(|name| self.stations.get_mut(name)) {
            station.refused = None;
        }
    }
}
