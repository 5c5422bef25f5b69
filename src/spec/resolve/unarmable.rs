//! Why a plan cannot be armed: its key, what was got, what is wanted, what to do.

use super::remedy::{list, made_for_words, sentence, why_not_apart};
use crate::quantity::{Area, Dimension, Measured, Quantity};
use crate::spec::wire::WireError;
use crate::spec::{AxisName, Limits, PullTableError, Purpose, Sizes, WireSize};

/// Why a plan cannot be armed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[expect(missing_docs, reason = "a field is called for what it is")]
pub enum Unarmable {
    /// No pieces, or more than the maximum.
    #[error("pieces is {got}, want a whole number from 1 to {most}")]
    Pieces { got: u32, most: u32 },
    /// A verification without gauge blocks.
    #[error(
        "a verification without gauge blocks, want instrument = \"caliper-1\" and blocks = [\"2.50 mm\"] instead of terminal and wire"
    )]
    VerifiesCrimps,
    /// Gauge blocks with a purpose other than verification.
    #[error("gauge blocks for the purpose {}, want \"verification\"", _0.name())]
    BlocksFor(Purpose),
    /// A key for crimps in a plan for gauge blocks.
    #[error("{key} beside gauge blocks, want no such key here")]
    BesideBlocks { key: &'static str },
    /// No sheet has the terminal.
    #[error("no terminal {got:?}, want the id of a [[terminal]] in a sheet")]
    NoTerminal { got: String, known: Vec<String> },
    /// The wire is not a size.
    #[error("{}", sentence(&_0.to_string(), "want mm² as printed on the wire, or a gauge with its sizing"))]
    Wire(WireError),
    /// The terminal has no row for the wire.
    #[error(
        "{terminal} has no row for {wire}, want one of its sizes: {}",
        list(sizes)
    )]
    NoRow {
        terminal: String,
        wire: WireSize,
        sizes: Vec<Sizes>,
    },
    /// The list of axes or blocks is empty.
    #[error("{key} is an empty list, want something to measure")]
    Nothing { key: &'static str },
    /// An axis or block is listed twice.
    #[error("{key} {got:?} is there already, want each once")]
    Twice { key: &'static str, got: String },
    /// There is no such axis.
    #[error("no axis {:?}, want a built-in axis or one declared by [[axis]]", got.as_str())]
    NoAxis { got: AxisName, known: Vec<String> },
    /// The sheet does not limit the axis.
    #[error("the row of {terminal} for {wire} does not limit {axis}, want one of {}", limited.join(", "))]
    NotLimited {
        terminal: String,
        wire: Sizes,
        axis: AxisName,
        limited: Vec<String>,
    },
    /// The table that the plan names has no pull force for the wire.
    #[error("{}", sentence(&_0.to_string(), "want a table with a row for this wire"))]
    PullForce(PullTableError),
    /// A pull test destroys the pieces of another axis.
    #[error(
        "a pull test destroys its pieces: got pull_force and {axis} on the same ones, want pull_force alone"
    )]
    PulledToo { axis: AxisName },
    /// The tool is not known.
    #[error("no tool {got:?}, want the id of a [[tool]]")]
    NoTool { got: String, known: Vec<String> },
    /// The tool is not for the terminal.
    #[error("tool {tool} is not for terminal {terminal}, want a tool for it; this one is for {}", only.join(", "))]
    NotForTerminal {
        tool: String,
        terminal: String,
        only: Vec<String>,
    },
    /// A nest is named without a tool.
    #[error("nest {nest:?} without a tool, want a tool beside it")]
    NestOfNothing { nest: String },
    /// The tool has no such nest.
    #[error("tool {tool} has no nest {got:?}, want the id of one of its nests")]
    NoNest {
        tool: String,
        got: String,
        known: Vec<String>,
    },
    /// The nest is not for the wire.
    #[error(
        "nest {nest} of {tool} is not for {wire}, want a nest for it; this one is for {}",
        made_for_words(made_for)
    )]
    WrongNest {
        tool: String,
        nest: String,
        wire: WireSize,
        made_for: Vec<Area>,
        fitting: Option<String>,
    },
    /// No nest of the tool is for the wire.
    #[error(
        "no nest of {tool} is for {wire}, want a tool for it; this one is for {}",
        made_for_words(made_for)
    )]
    NoNestForWire {
        tool: String,
        wire: WireSize,
        made_for: Vec<Area>,
    },
    /// The plan must name one of the tool's nests.
    #[error("the plan names no nest of {tool}, want one, or the tool in the hand")]
    NestUnnamed {
        tool: String,
        fitting: Option<String>,
    },
    /// Nothing at the station measures the axis.
    #[error("no instrument at {station} measures a {dimension}, want one for {axis}")]
    NoInstrument {
        axis: AxisName,
        dimension: Dimension,
        station: String,
    },
    /// The resolution of an instrument is too coarse for the tolerance.
    #[error(
        "{instrument} is too coarse for {axis}: {counts} steps of {resolution} in the tolerance of {limits}, want at least {want}"
    )]
    TooCoarse {
        instrument: String,
        resolution: Quantity,
        axis: AxisName,
        limits: Limits,
        counts: i64,
        want: i64,
    },
    /// The maximum permissible error of an instrument is not configured.
    #[error("{instrument} has no max_error, want the maximum permissible error{}", if *of_blocks { " that it is verified against" } else { ", which the guarded rule needs" })]
    NoMaxError { instrument: String, of_blocks: bool },
    /// The plan names a budget that is not configured.
    #[error("no uncertainty budget {got:?}, want the name of an [[uncertainty]]")]
    NoBudget { got: String, known: Vec<String> },
    /// The plan names budgets, and none of this instrument.
    #[error(
        "the plan names no uncertainty budget of {instrument}, want one for each instrument that measures"
    )]
    NoBudgetOf {
        instrument: String,
        fitting: Option<String>,
    },
    /// The guard bands leave no acceptable value between the limits.
    #[error(
        "no value of {axis} could pass: the guard band of {instrument} is wider than half the tolerance of {limits}, want a narrower one"
    )]
    GuardTooWide {
        instrument: String,
        axis: AxisName,
        limits: Limits,
    },
    /// The plausible windows of two axes overlap, so a value does not decide the axis.
    #[error("by_value cannot tell {one} from {other}: {}, want another order", why_not_apart(windows.as_ref()))]
    NotToldApart {
        one: AxisName,
        other: AxisName,
        windows: Option<[(Quantity, Quantity); 2]>,
    },
    /// There is no instrument of that name.
    #[error("no instrument {got:?}, want the name of an [[instrument]]")]
    NoSuchInstrument { got: String, known: Vec<String> },
    /// The instrument belongs to another station.
    #[error("{instrument} is an instrument of {of}, want one of {station}")]
    OfOtherStation {
        instrument: String,
        station: String,
        of: String,
    },
    /// The instrument does not measure lengths.
    #[error("{instrument} does not measure lengths, want a caliper")]
    NoLengths { instrument: String },
    /// The instrument cannot show the length of a block.
    #[error("the block {block} is outside the range of {instrument}: {} to {}, want one within it", range.0, range.1)]
    OutOfRange {
        block: Measured,
        instrument: String,
        range: (Quantity, Quantity),
    },
    /// A block's length is too large to compute with.
    #[error("the block {block} has no limits by {max_error}, want a shorter one")]
    BlockTooLong {
        block: Measured,
        max_error: Quantity,
    },
    /// Two blocks that are too close to be distinguished by a value.
    #[error(
        "the blocks {block} and {other} are too close for an instrument with a maximum permissible error of {max_error}, want them further apart"
    )]
    BlocksTooNear {
        block: Measured,
        other: Measured,
        max_error: Quantity,
    },
}

impl Unarmable {
    /// The key of the plan that is at fault.
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
            Self::NoBudget { .. } | Self::NoBudgetOf { .. } => "uncertainty",
            Self::NotToldApart { .. } => "order",
            Self::NoSuchInstrument { .. }
            | Self::OfOtherStation { .. }
            | Self::NoLengths { .. } => "instrument",
            Self::OutOfRange { .. } | Self::BlockTooLong { .. } | Self::BlocksTooNear { .. } => {
                "blocks"
            }
        }
    }

    /// The faulty value, if the key is a list.
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
        if let Self::Twice { got, .. } | Self::NoBudget { got, .. } = self {
            return Some(got.clone());
        }
        None
    }

    /// Whether it may be solved without a change of the plan: by an instrument that is configured later, a maximum
    /// permissible error from its certificate, or the nest of the tool in hand.
    pub fn may_come(&self) -> bool {
        let none_yet = matches!(self, Self::NoSuchInstrument { known, .. } if known.is_empty());
        none_yet
            || matches!(
                self,
                Self::NoInstrument { .. } | Self::NoMaxError { .. } | Self::NestUnnamed { .. }
            )
    }
}
