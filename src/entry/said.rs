//! What operators say: who measures, which tool is used, notes; and how the command was given.

use super::{Entry, FrameEntry, ProductionEntry, SaidEntry, Seq, SeriesEntry, State};
use crate::quantity::named;
use crate::spec::{Job, Material, ToolClass};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The crimp tool in use.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Tool", description = "The tool in the hand, in a state.")]
pub struct ToolInHand {
    /// Id of the tool in the configuration.
    pub id: String,
    /// Class of the tool: made for production or for repair.
    pub class: ToolClass,
    /// The nest in use; `None` if it was not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nest: Option<String>,
}

/// The crimp tool in use changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToolSaid {
    /// Name of the station in the configuration.
    pub station: String,
    /// The series that was open; `None` if none was.
    pub series: Option<Seq>,
    /// The tool in use from this entry on.
    pub tool: ToolInHand,
    /// It is the tool that the open series requires.
    pub as_planned: bool,
}

/// A person announced that the next value is a zero.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ZeroSaid {
    /// Name of the station in the configuration.
    pub station: String,
    /// The instrument's name in the configuration.
    pub instrument: String,
}

/// The operator changed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct OperatorSaid {
    /// Name of the station in the configuration.
    pub station: String,
    /// The series that was open. Its readings after this entry are by the new operator.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub series: Option<Seq>,
    /// Name or initials, as the person gave them.
    pub operator: String,
}

/// The job that the pieces are for from here on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobSaid {
    /// The station's name in the configuration.
    pub station: String,
    /// The open series, which must be for this job already; `None` if none is open.
    pub series: Option<Seq>,
    /// The job; `None` once the last job is finished.
    pub job: Option<Job>,
    /// A warning about a value that was accepted.
    pub warning: Option<String>,
}

/// Another reel of terminals or spool of wire is in use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotSaid {
    /// The station's name in the configuration.
    pub station: String,
    /// The open series, whose readings after this entry belong to this lot; `None` if none is open.
    pub series: Option<Seq>,
    /// The material of the lot.
    pub material: Material,
    /// The number of the lot; `None` if it is not known from here on.
    pub lot: Option<String>,
}

/// A note by the operator.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Noted {
    /// Name of the station in the configuration.
    pub station: String,
    /// The series that the note belongs to; `None` if it belongs to none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub series: Option<Seq>,
    /// The text, as the person wrote it.
    pub text: String,
}

/// A command by card or pedal was refused, or a file in the station's folder of pictures was.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Refused {
    /// Name of the station in the configuration.
    pub station: String,
    /// The scanner or pedal, by its name in the configuration; `pictures` for a file in the folder of pictures.
    pub instrument: String,
    /// Text of the card, action of the pedal, or name of the file.
    pub said: String,
    /// Why it was refused.
    pub reason: String,
    /// What the operator can do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
}

impl Refused {
    /// Name in place of an instrument's if a file was refused.
    pub const FOLDER: &'static str = "pictures";
}

/// The last refused command, as the state keeps it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RefusedSaying {
    /// Text of the card, action of the pedal, or name of the file.
    pub said: String,
    /// Why it was refused.
    pub reason: String,
    /// What the operator can do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
}

named! {
    /// How a person gave a command to the station.
    pub enum Means {
        /// The control socket: the command line, a page, a program.
        Command = "command",
        /// A barcode card, read by a scanner.
        Card = "card",
        /// A pedal: a contact on a modem line, or bytes on a port of its own.
        Pedal = "pedal",
        /// Two zeros within two seconds.
        DoubleZero = "double_zero",
        /// A file in the folder that the station watches for pictures.
        Folder = "folder",
    }
}

impl Means {
    /// The means in words: `by card`.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Command => "by command",
            Self::Card => "by card",
            Self::Pedal => "by pedal",
            Self::DoubleZero => "by zeroing twice",
            Self::Folder => "by the station's folder",
        }
    }
}

impl State {
    /// Drops the last refusal, as soon as another command or value comes at the station.
    pub(super) fn forget_refusal(&mut self, entry: &Entry) {
        let is_over = match entry {
            Entry::Journal(_) | Entry::Port(_) => false,
            Entry::Production(entry) => match entry {
                ProductionEntry::Crimped(crimped) => crimped.by.is_some(),
                ProductionEntry::Settled(_) => true,
                ProductionEntry::RunOpened(_)
                | ProductionEntry::SampleDue(_)
                | ProductionEntry::Held(_)
                | ProductionEntry::RunClosed(_) => false,
            },
            Entry::Said(entry) => match entry {
                SaidEntry::AdapterSaid(_)
                | SaidEntry::ZeroSaid(_)
                | SaidEntry::OperatorSaid(_)
                | SaidEntry::ToolSaid(_)
                | SaidEntry::JobSaid(_)
                | SaidEntry::LotSaid(_)
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
                | SeriesEntry::Restored(_)
                | SeriesEntry::Looked(_)
                | SeriesEntry::Pulled(_) => true,
                SeriesEntry::ZeroDue(_)
                | SeriesEntry::Doubted(_)
                | SeriesEntry::Alerted(_)
                | SeriesEntry::Pictured(_) => false,
            },
        };
        let station = entry.station().filter(|_| is_over);
        if let Some(station) = station.and_then(|name| self.stations.get_mut(name)) {
            station.refused = None;
        }
    }
}
