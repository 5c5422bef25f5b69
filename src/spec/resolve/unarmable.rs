//! Why a plan cannot be armed: which key of it, what was got, what is wanted, what to do.

use super::told::sentence;
use crate::quantity::{Area, Dimension, Measured, Quantity};
use crate::spec::wire::WireError;
use crate::spec::{AxisName, Limits, PullTableError, Purpose, WireSize};
use std::fmt;

/// Why a plan cannot be armed.
#[derive(Debug, Clone, PartialEq, Eq)]
#[expect(missing_docs, reason = "a field is called for what it is")]
pub enum Unarmable {
    /// Nothing to measure, or more than anybody measures by hand.
    Pieces { got: u32, most: u32 },
    /// A verification is of gauge blocks.
    VerifiesCrimps,
    /// Gauge blocks are for a verification.
    BlocksFor(Purpose),
    /// A key that says something of crimps.
    BesideBlocks { key: &'static str },
    /// No sheet has the terminal.
    NoTerminal { got: String, known: Vec<String> },
    /// The wire is no size.
    Wire(WireError),
    /// The terminal is not for the wire.
    NoRow {
        terminal: String,
        wire: WireSize,
        sizes: Vec<Area>,
    },
    /// Nothing is measured.
    Nothing { key: &'static str },
    /// The same thing is measured twice.
    Twice { key: &'static str, got: String },
    /// There is no such axis.
    NoAxis { got: AxisName, known: Vec<String> },
    /// The sheet does not limit the axis.
    NotLimited {
        terminal: String,
        wire: Area,
        axis: AxisName,
        limited: Vec<String>,
    },
    /// The table that the plan names has no pull force for the wire.
    PullForce(PullTableError),
    /// A pull test destroys the pieces of another axis.
    PulledToo { axis: AxisName },
    /// The tool is not known.
    NoTool { got: String, known: Vec<String> },
    /// The tool is not for the terminal.
    NotForTerminal {
        tool: String,
        terminal: String,
        only: Vec<String>,
    },
    /// A nest of no tool.
    NestOfNothing { nest: String },
    /// The tool has no such nest.
    NoNest {
        tool: String,
        got: String,
        known: Vec<String>,
    },
    /// The nest is not for the wire.
    WrongNest {
        tool: String,
        nest: String,
        wire: WireSize,
        made_for: Vec<Area>,
        fitting: Option<String>,
    },
    /// No nest of the tool is for the wire.
    NoNestForWire {
        tool: String,
        wire: WireSize,
        made_for: Vec<Area>,
    },
    /// Which nest of the tool is not said.
    NestUnnamed {
        tool: String,
        fitting: Option<String>,
    },
    /// Nothing at the station measures the axis.
    NoInstrument {
        axis: AxisName,
        dimension: Dimension,
        station: String,
    },
    /// An instrument does not resolve the tolerance.
    TooCoarse {
        instrument: String,
        resolution: Quantity,
        axis: AxisName,
        limits: Limits,
        counts: i64,
        least: i64,
    },
    /// How wrong an instrument may be is not known.
    NoMaxError { instrument: String, of_blocks: bool },
    /// The limits drawn in leave nothing between them.
    GuardTooWide {
        instrument: String,
        axis: AxisName,
        limits: Limits,
    },
    /// Values do not tell one axis from the other.
    NotToldApart {
        one: AxisName,
        other: AxisName,
        windows: Option<[(Quantity, Quantity); 2]>,
    },
    /// There is no instrument of that name.
    NoSuchInstrument { got: String, known: Vec<String> },
    /// The instrument belongs to another station.
    OfOtherStation {
        instrument: String,
        station: String,
        of: String,
    },
    /// The instrument measures something else, or nothing.
    NoLengths { instrument: String },
    /// The instrument cannot show the length of a block.
    OutOfRange {
        block: Measured,
        instrument: String,
        range: (Quantity, Quantity),
    },
    /// A block's length is beyond reckoning.
    BlockTooLong {
        block: Measured,
        max_error: Quantity,
    },
    /// Two blocks that a value cannot tell apart.
    BlocksTooNear {
        block: Measured,
        other: Measured,
        max_error: Quantity,
    },
}

impl Unarmable {
    /// The key of the plan that asks for what cannot be.
    pub const fn key(&self) -> &'static str {
        match self {
            Self::Pieces { .. } => "pieces",
            Self::VerifiesCrimps | Self::BlocksFor(_) => "purpose",
            Self::BesideBlocks { key } | Self::Nothing { key } | Self::Twice { key, .. } => key,
            Self::NoTerminal { .. } => "terminal",
            Self::Wire(_) | Self::NoRow { .. } => "wire",
            Self::NoAxis { .. }
            | Self::NotLimited { .. }
            | Self::PulledToo { .. }
            | Self::NoInstrument { .. }
            | Self::TooCoarse { .. } => "axes",
            Self::PullForce(_) => "pull_force_table",
            Self::NoTool { .. }
            | Self::NotForTerminal { .. }
            | Self::NoNestForWire { .. }
            | Self::NestUnnamed { .. } => "tool",
            Self::NestOfNothing { .. } | Self::NoNest { .. } | Self::WrongNest { .. } => "nest",
            Self::NoMaxError { of_blocks, .. } if *of_blocks => "instrument",
            Self::NoMaxError { .. } | Self::GuardTooWide { .. } => "decision",
            Self::NotToldApart { .. } => "order",
            Self::NoSuchInstrument { .. }
            | Self::OfOtherStation { .. }
            | Self::NoLengths { .. } => "instrument",
            Self::OutOfRange { .. } | Self::BlockTooLong { .. } | Self::BlocksTooNear { .. } => {
                "blocks"
            }
        }
    }

    /// The one of several values of that key.
    pub fn item(&self) -> Option<String> {
        if let Self::NoAxis { got: axis, .. }
        | Self::NotLimited { axis, .. }
        | Self::PulledToo { axis }
        | Self::NoInstrument { axis, .. }
        | Self::TooCoarse { axis, .. } = self
        {
            return Some(axis.to_string());
        }
        if let Self::OutOfRange { block, .. }
        | Self::BlockTooLong { block, .. }
        | Self::BlocksTooNear { block, .. } = self
        {
            return Some(block.to_string());
        }
        if let Self::Twice { got, .. } = self {
            return Some(got.clone());
        }
        None
    }

    /// Whether it may come to be without a change of the plan: an instrument that is not there yet, an error out of
    /// its certificate, a nest that is told by the tool in the hand.
    pub fn may_come(&self) -> bool {
        let none_yet = matches!(self, Self::NoSuchInstrument { known, .. } if known.is_empty());
        none_yet
            || matches!(
                self,
                Self::NoInstrument { .. } | Self::NoMaxError { .. } | Self::NestUnnamed { .. }
            )
    }

    /// What a person can do; printed on a line of its own, never part of the message.
    pub fn remedy(&self) -> String {
        self.told().2
    }
}

impl fmt::Display for Unarmable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (got, want, _) = self.told();
        f.write_str(&sentence(&got, &want))
    }
}
