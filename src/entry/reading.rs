//! A reading: a value, and what became of it.

use super::Seq;
use crate::quantity::{Measured, Quantity, named};
use crate::spec::{AxisName, Crimp, Limits, Purpose, Verdict};

/// A value, and what became of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reading {
    /// Its name in the configuration.
    pub station: String,
    /// Its name in the configuration.
    pub instrument: String,
    /// What it was shown as.
    pub value: Measured,
    /// The bytes.
    pub raw: Vec<u8>,
    /// How it flickered, if it was taken out of a stream.
    pub plateau: Option<Plateau>,
    /// What it was measured for; `None` while nothing was armed.
    pub slot: Option<ReadingSlot>,
    /// Whether it counts.
    pub standing: Standing,
}

impl Reading {
    /// The verdict; `None` for a reading that does not count.
    pub fn verdict(&self) -> Option<Verdict> {
        self.slot.as_ref().and_then(|slot| slot.verdict)
    }
}

/// How a value stood still in a stream.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Plateau {
    /// The middle one of its values.
    pub median: Quantity,
    /// Minimum of the values in it.
    pub least: Quantity,
    /// Maximum of the values in it.
    pub greatest: Quantity,
    /// How many frames there were.
    pub frames: u32,
}

/// What a reading was measured for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadingSlot {
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// The piece, from 1.
    pub piece: u32,
    /// Its name in the plan, as `core_crimp_height`.
    pub axis: AxisName,
    /// The terminal and wire; `None` of a gauge block.
    pub crimp: Option<Crimp>,
    /// Why.
    pub purpose: Purpose,
    /// What the sheet allows.
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
    /// It does not.
    NotCounted {
        /// Why.
        reason: NotCounted,
        /// What it may be instead, in words: `looks like a width`.
        hint: Option<String>,
    },
}

named! {
    /// Why a reading does not count.
    pub enum NotCounted {
        /// Nothing is armed at the station.
        NotArmed = "not_armed",
        /// A zero is due first.
        ZeroDue = "zero_due",
        /// The last zero was off.
        ZeroOff = "zero_off",
        /// The origin was set with open jaws.
        OriginMoved = "origin_moved",
        /// Further from nominal than is plausible.
        Implausible = "implausible",
        /// Every slot has a reading.
        SeriesFull = "series_full",
        /// Every piece has a reading of the axis that follows from the value.
        AxisFull = "axis_full",
        /// The instrument cannot measure the axis in hand.
        WrongInstrument = "wrong_instrument",
        /// The instrument's port is another adapter than before, and nobody has said that it is meant.
        AnotherAdapter = "another_adapter",
        /// Another program reads the instrument's port too, so that bytes may be missing.
        PortShared = "port_shared",
    }
}
