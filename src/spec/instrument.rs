//! An instrument as the core knows it, without its port.

use super::{InstrumentCare, Papers};
use crate::decode::{FrameFormat, Pattern};
use crate::quantity::{Dimension, Quantity, Unit, named};
use std::time::Duration;

named! {
    /// The kind of device at a port.
    pub enum InstrumentKind {
        /// A caliper: measures lengths.
        Caliper = "caliper",
        /// A force gauge: measures forces.
        Force = "force",
        /// A scanner: sends the text of cards.
        Scanner = "scanner",
        /// A contact.
        Pedal = "pedal",
        /// Counts crimps: a contact of the press, or a line for each crimp.
        Counter = "counter",
    }
}

impl InstrumentKind {
    /// What it measures; `None` for scanners, pedals and counters.
    pub const fn dimension(self) -> Option<Dimension> {
        match self {
            Self::Caliper => Some(Dimension::Length),
            Self::Force => Some(Dimension::Force),
            Self::Scanner | Self::Pedal | Self::Counter => None,
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
    /// A stream: a value becomes a reading when it has stayed within the resolution for `hold`. The next one counts
    /// only after the jaws have moved away.
    Steady {
        /// How long the value must stay; default 500 ms.
        hold: Duration,
        /// Minimum number of frames; default 3.
        frames: u32,
        /// Steps of the resolution by which the jaws must move away before the next reading; default 5.
        release_counts: u32,
        /// Which value is judged when the display flickers.
        flicker: Flicker,
    },
    /// The instrument sends a value when the daemon requests one.
    Ask {
        /// The bytes of the request.
        request: Vec<u8>,
        /// How long the answer is awaited; default 1 s.
        timeout: Duration,
        /// The interval at which the daemon sends the request by itself; `None`: only on command.
        every: Option<Duration>,
    },
}

named! {
    /// Which value is judged when the display flickers.
    pub enum Flicker {
        /// The value further from nominal.
        Worst = "worst",
        /// The median of the values while the stream stood still.
        Median = "median",
    }
}

impl Capture {
    /// The name in the configuration.
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
    /// The format of its frames.
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
    /// What it is known by on paper.
    pub papers: Papers,
}

impl Instrument {
    /// `counts` of its resolution, in base units.
    pub fn counts(&self, counts: u32) -> i64 {
        self.resolution.base().saturating_mul(i64::from(counts))
    }
}
