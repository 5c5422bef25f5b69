//! Plans: what is measured, on how many pieces and in which order.

use super::wire::Strands;
use super::{AlertRule, Ask, AxisName, Decision, PullFallback, Questions, SizingSystem, Subject};
use crate::quantity::{Length, named};
use std::time::Duration;

named! {
    /// Why pieces are measured.
    pub enum Purpose {
        /// The first pieces off a set-up tool.
        FirstOff = "first_off",
        /// Pieces during a run.
        InProcess = "in_process",
        /// The last pieces before a tool is put away.
        LastOff = "last_off",
        /// Pieces to show that a tool is fit.
        Qualification = "qualification",
        /// Pieces out of a known-good harness.
        Reference = "reference",
        /// The same pieces again and again, to judge the measuring itself.
        GaugeStudy = "gauge_study",
        /// The instrument against a gauge block.
        Verification = "verification",
    }
}

impl Purpose {
    /// The group of readings that name no tool, nest or operator.
    pub const fn unnamed(self) -> &'static str {
        match self {
            Self::Reference => "factory pieces",
            Self::FirstOff
            | Self::InProcess
            | Self::LastOff
            | Self::Qualification
            | Self::GaugeStudy
            | Self::Verification => "not named",
        }
    }

    /// Whether the pieces are crimped here with the tool in hand: neither factory pieces nor gauge blocks nor a gauge
    /// study.
    pub const fn is_of_own_crimps(self) -> bool {
        match self {
            Self::FirstOff | Self::InProcess | Self::LastOff | Self::Qualification => true,
            Self::Reference | Self::GaugeStudy | Self::Verification => false,
        }
    }
}

named! {
    /// The order in which slots are measured.
    pub enum Order {
        /// Axis by axis: all heights, then all widths.
        ByAxis = "by_axis",
        /// Piece by piece: height and width of each.
        ByPiece = "by_piece",
        /// In any order: the value decides which axis it is of.
        ByValue = "by_value",
    }
}

/// When a zero is due, and its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct ZeroPolicy {
    /// Whether a zero is due before the first reading of a series.
    pub before_first: bool,
    /// A zero is due after every this many pieces.
    pub every_pieces: Option<u32>,
    /// A zero is due when the last one is this long ago.
    pub every: Option<Duration>,
    /// Whether a zero is due after the last reading.
    pub closing: bool,
    /// For forces, which begin at zero: a value this close to the origin, in steps of the resolution, is a zero.
    pub band_counts: u32,
    /// A zero further from the origin than this, in steps of the resolution, is off.
    pub limit_counts: u32,
    /// A length at most this far from zero is an attempt at a zero, if it is nearer to zero than to every plausible
    /// value; see [`ArmedSpec::attempts_within`](super::ArmedSpec::attempts_within).
    pub attempt: Length,
    /// Whether two zero frames within two seconds retract the last reading when no zero is due.
    pub double_retracts: bool,
}

impl ZeroPolicy {
    /// Default of [`ZeroPolicy::attempt`], 0.5 mm: a chip or burr between the jaws is thinner (common practice, no
    /// source).
    pub const ATTEMPT: Length = Length::from_nanometres(500_000);
}

impl Default for ZeroPolicy {
    fn default() -> Self {
        Self {
            before_first: true,
            every_pieces: None,
            every: None,
            closing: true,
            band_counts: 2,
            limit_counts: 1,
            attempt: Self::ATTEMPT,
            double_retracts: true,
        }
    }
}

/// A wire as a plan names it: `14 ga` with a sizing system, or `2.0 mm²`.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct WireRequest {
    /// The text of the plan.
    pub text: String,
    /// The system a gauge is resolved in.
    pub sizing: Option<SizingSystem>,
}

/// A plan that can be armed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    /// Its name; `None` for an inline plan.
    pub id: Option<String>,
    /// Crimps or gauge blocks.
    pub subject: Subject,
    /// The make-up of the wire, against which its size is checked.
    pub strands: Option<Strands>,
    /// What is measured, in order.
    pub axes: Vec<AxisName>,
    /// Which slot is next.
    pub order: Order,
    /// How many pieces.
    pub pieces: u32,
    /// Why.
    pub purpose: Purpose,
    /// The crimp tool's id.
    pub tool: Option<String>,
    /// The nest used.
    pub nest: Option<String>,
    /// How values are judged.
    pub decision: Decision,
    /// The uncertainty budgets to judge by, by name, one for an instrument; of an instrument without one, its own
    /// properties count.
    pub budgets: Vec<String>,
    /// When a zero is due.
    pub zero: ZeroPolicy,
    /// The table that gives the minimum pull force if the maker's sheet has none.
    pub pull_force: Option<PullFallback>,
    /// What a person is asked besides.
    pub questions: Questions,
    /// Open the next series when this one is full.
    pub repeat: bool,
    /// The rules over several readings that are in force.
    pub alerts: Vec<&'static AlertRule>,
    /// What must be said before a series starts.
    pub asks: Vec<Ask>,
}
