//! What the operator's hands and feet say: scanners and pedals.

/// A scanner or a pedal at a station.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signal {
    /// Its name in the configuration and in entries.
    pub name: String,
    /// The station it belongs to.
    pub station: String,
    /// A scanner or a pedal, with its settings.
    pub kind: SignalKind,
}

/// A scanner or a pedal: instruments that do not measure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SignalKind {
    /// Sends the text of cards.
    Scanner {
        /// It sends a line end behind each card; else a silence ends one.
        line_end: bool,
    },
    /// A contact: its closing, or any byte it sends, is a press.
    Pedal {
        /// What a press does.
        does: PedalAction,
    },
}

/// What a pedal's press does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PedalAction {
    /// Asks the station's instrument for a value.
    Ask,
    /// Says that the next frame is a zero.
    Zero,
    /// Retracts the last reading.
    Retract,
    /// Closes the open series.
    Disarm,
    /// Arms this plan.
    Arm(String),
}

impl PedalAction {
    /// As in the configuration, for messages.
    pub const WANT: &'static str = "\"ask\", \"zero\", \"retract\", \"disarm\" or \"arm PLAN\"";

    /// From the configuration's text.
    pub fn from_text(text: &str) -> Option<Self> {
        match text {
            "ask" => Some(Self::Ask),
            "zero" => Some(Self::Zero),
            "retract" => Some(Self::Retract),
            "disarm" => Some(Self::Disarm),
            other => {
                let plan = other.strip_prefix("arm ")?.trim();
                (!plan.is_empty()).then(|| Self::Arm(plan.to_owned()))
            }
        }
    }
}
