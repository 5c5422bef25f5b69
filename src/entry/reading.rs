//! A reading: a value with its slot and verdict.

use super::Seq;
use crate::quantity::{Measured, Quantity, named};
use crate::spec::{AxisName, Crimp, Limits, Purpose, Verdict};
use std::sync::Arc;

/// A value of an instrument that is no zero.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reading {
    /// Name of the station in the configuration.
    pub station: Arc<str>,
    /// Name of the instrument in the configuration.
    pub instrument: Arc<str>,
    /// The value that the instrument showed.
    pub value: Measured,
    /// The frame, as received.
    pub raw: Vec<u8>,
    /// Range of the values in a stream; `None` if the value is a single frame.
    pub plateau: Option<Plateau>,
    /// The slot that was current; `None` while no series was open.
    pub slot: Option<ReadingSlot>,
    /// Whether it counts, as decided when it was entered.
    pub standing: Standing,
}

impl Reading {
    /// The verdict; `None` for a reading that does not count.
    pub fn verdict(&self) -> Option<Verdict> {
        self.slot.as_ref().and_then(|slot| slot.verdict)
    }
}

/// The range of a value that stood still in a stream.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Plateau {
    /// The median, which is a value that was displayed.
    pub median: Quantity,
    /// Minimum of the values in it.
    pub least: Quantity,
    /// Maximum of the values in it.
    pub greatest: Quantity,
    /// Number of frames.
    pub frames: u32,
}

/// The slot of a reading, with everything its verdict depends on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadingSlot {
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// Number of the piece, from 1.
    pub piece: u32,
    /// Name of the axis in the plan, for example `core_crimp_height`.
    pub axis: AxisName,
    /// Terminal and wire; `None` for a gauge block.
    pub crimp: Option<Arc<Crimp>>,
    /// Why the pieces are measured: first-off, qualification, gauge study, …
    pub purpose: Purpose,
    /// The limits of the sheet.
    pub limits: Limits,
    /// Value minus nominal, where there is a nominal.
    pub deviation: Option<Quantity>,
    /// The verdict; `None` for a reading that does not count.
    pub verdict: Option<Verdict>,
}

/// Whether a reading counts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    /// It counts.
    Counted,
    /// It does not count.
    NotCounted {
        /// The rule of the bench that it breaks.
        reason: NotCounted,
        /// The likely cause, in words: `looks like a width`.
        hint: Option<String>,
    },
}

named! {
    /// Why a reading does not count.
    pub enum NotCounted {
        /// Nothing is armed at the station.
        NotArmed = "not_armed",
        /// A required zero is missing.
        ZeroDue = "zero_due",
        /// The last zero was off.
        ZeroOff = "zero_off",
        /// The origin was set with open jaws.
        OriginMoved = "origin_moved",
        /// The value is outside the plausible window of its axis.
        Implausible = "implausible",
        /// Every slot has a counted reading.
        SeriesFull = "series_full",
        /// Every piece has a counted reading of the axis that this value belongs to.
        AxisFull = "axis_full",
        /// The instrument does not measure the axis of the current slot.
        WrongInstrument = "wrong_instrument",
        /// The port has another adapter than before, and nobody confirmed it.
        AnotherAdapter = "another_adapter",
        /// Another program reads the instrument's port too, so that bytes may be missing.
        PortShared = "port_shared",
    }
}
