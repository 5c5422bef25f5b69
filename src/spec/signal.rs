//! Scanners, pedals and counters: devices that do not measure.

/// A scanner, a pedal or a counter at a station.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signal {
    /// Its name in the configuration and in entries.
    pub name: String,
    /// The station it belongs to.
    pub station: String,
    /// Its kind, with its settings.
    pub kind: SignalKind,
}

/// The kinds of instruments that do not measure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SignalKind {
    /// Sends the text of cards.
    Scanner {
        /// Whether it sends a line end after each card; otherwise a silence ends a card.
        line_end: bool,
    },
    /// A contact: closing it, or any byte it sends, is a press.
    Pedal {
        /// The action of a press.
        does: PedalAction,
    },
    /// Counts crimps: closing its contact, or a line that it sends, is one.
    Counter,
}

/// The action of a pedal's press.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PedalAction {
    /// Requests a value from the station's instrument.
    Ask,
    /// Announces that the next frame is a zero.
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
