//! What an open production run needs next, and what is held, in words. Both follow from the state alone.

use crate::entry::production::fold::{OpenRun, Production};
use std::fmt;

/// What an open production run needs next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Need {
    /// The last sample was bad: a good one is needed before crimping goes on.
    Good {
        /// The plan of the sample.
        plan: String,
    },
    /// A sample is due by the number of crimps.
    DueByCrimps {
        /// The plan of the sample.
        plan: String,
        /// The crimps since the last good sample.
        open: u64,
        /// A sample is due after this many.
        every: u32,
    },
    /// A sample is due by time.
    DueByTime {
        /// The plan of the sample.
        plan: String,
        /// A sample is due this many minutes after the last good one.
        every: u32,
    },
    /// No sample is due yet; crimps are left until the next one.
    Left {
        /// The number of crimps left.
        left: u64,
        /// A sample is due after this many.
        every: u32,
    },
    /// A sample becomes due by time only.
    Timed {
        /// The crimps since the last good sample.
        open: u64,
        /// A sample is due this many minutes after the last good one.
        every: u32,
    },
}

impl Need {
    /// What this run needs next.
    pub fn of(run: &OpenRun) -> Self {
        let plan = run.settings.in_process.clone();
        if run.bad.is_some() {
            return Self::Good { plan };
        }
        let minutes = run.settings.every_minutes.unwrap_or_default();
        match (run.settings.every_crimps, run.left()) {
            (Some(every), Some(0)) => {
                let open = run.open();
                Self::DueByCrimps { plan, open, every }
            }
            _ if run.time_due => {
                let every = minutes;
                Self::DueByTime { plan, every }
            }
            (Some(every), Some(left)) => Self::Left { left, every },
            (None, _) | (_, None) => Self::Timed {
                open: run.open(),
                every: minutes,
            },
        }
    }

    /// Whether a sample is to be measured now.
    pub const fn is_now(&self) -> bool {
        match self {
            Self::Good { .. } | Self::DueByCrimps { .. } | Self::DueByTime { .. } => true,
            Self::Left { .. } | Self::Timed { .. } => false,
        }
    }
}

impl fmt::Display for Need {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Good { plan } => write!(
                f,
                "the last sample was bad: start {plan} and measure a good one before crimping goes on"
            ),
            Self::DueByCrimps { plan, open, every } => write!(
                f,
                "a sample is due: start {plan}; {open} crimps since the last good sample, want one every {every}"
            ),
            Self::DueByTime { plan, every } => write!(
                f,
                "a sample is due: start {plan}; the last good one was at least {every} minutes ago"
            ),
            Self::Left { left, every } => {
                write!(f, "{left} of {every} crimps until the next sample")
            }
            Self::Timed { open, every } => write!(
                f,
                "{open} crimps since the last good sample; the next is due {every} minutes after it"
            ),
        }
    }
}

/// What to do about crimps that are held; `None` if none are.
pub fn held(production: &Production) -> Option<String> {
    let held = production.held();
    (held > 0).then(|| {
        format!(
            "{held} crimps held: set them aside, then release, rework or scrap them (card tj/settle/HOW/REASON, button, or tallyjaw settle)"
        )
    })
}
