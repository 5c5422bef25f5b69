//! An instrument as the core needs to know it; its port is no concern of the core.

use super::InstrumentCare;
use crate::decode::{FrameFormat, Pattern};
use crate::quantity::{Dimension, Quantity, Unit, named};
use std::time::Duration;

named! {
    /// What stands at the end of a port.
    pub enum InstrumentKind {
        /// Measures lengths.
        Caliper = "caliper",
        /// Measures forces.
        Force = "force",
        /// Sends the text of cards.
        Scanner = "scanner",
        /// A contact.
        Pedal = "pedal",
    }
}

impl InstrumentKind {
    /// What it measures, if anything.
    pub const fn dimension(self) -> Option<Dimension> {
        match self {
            Self::Caliper => Some(Dimension::Length),
            Self::Force => Some(Dimension::Force),
            Self::Scanner | Self::Pedal => None,
        }
    }
}

/// How values become readings.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Capture {
    /// A frame a press; repeats within `bounce` with the same value fold into one.
    Press {
        /// 150 ms unless configured.
        bounce: Duration,
    },
    /// A stream: a value is taken when it has stayed within the resolution, and again only after the
    /// jaws have moved away.
    Steady {
        /// How long it must stay; 500 ms unless configured.
        hold: Duration,
        /// How many frames at least; 3 unless configured.
        frames: u32,
        /// How many steps of the resolution the jaws must move away before the next; 5 unless configured.
        release_counts: u32,
        /// Which value of a flickering one is judged.
        flicker: Flicker,
    },
    /// A value is sent when the daemon requests one.
    Ask {
        /// The bytes that ask.
        request: Vec<u8>,
        /// An answer later than this did not come; one second unless configured.
        timeout: Duration,
        /// The daemon sends the request by itself this often.
        every: Option<Duration>,
    },
}

named! {
    /// Which value of a flickering one is judged.
    pub enum Flicker {
        /// The one further from nominal.
        Worst = "worst",
        /// The middle one of the values of a stream that stood still.
        Median = "median",
    }
}

impl Capture {
    /// As in the configuration.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::Press { .. } => "press",
            Self::Steady { .. } => "steady",
            Self::Ask { .. } => "ask",
        }
    }
}

/// An instrument that measures.
#[derive(Debug, Clone)]
pub struct Instrument {
    /// Its name in the configuration and in entries.
    pub name: String,
    /// The station it belongs to.
    pub station: String,
    /// A caliper or a force gauge.
    pub kind: InstrumentKind,
    /// How its frames look.
    pub format: &'static FrameFormat,
    /// The user's regular expression, where the format is `pattern`.
    pub pattern: Option<Pattern>,
    /// The unit of values that carry none.
    pub unit: Unit,
    /// The smallest step of its display.
    pub resolution: Quantity,
    /// Maximum permissible error, from its calibration.
    pub max_error: Option<Quantity>,
    /// Standard deviation of repeated readings.
    pub repeatability: Option<Quantity>,
    /// Minimum and maximum value that it can show.
    pub range: Option<(Quantity, Quantity)>,
    /// How values become readings.
    pub capture: Capture,
    /// When it was and is to be calibrated and verified.
    pub care: InstrumentCare,
}

impl Instrument {
    /// `counts` of its resolution, in base units.
    pub fn counts(&self, counts: u32) -> i64 {
        self.resolution.base().saturating_mul(i64::from(counts))
    }
}
