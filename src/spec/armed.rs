//! The armed specification: everything that a verdict depends on.
//!
//! It is stored whole in the `armed` entry. So every verdict can be recomputed from the journal alone, even if sheets
//! and plans have changed since.

use super::wire::Strands;
use super::{
    AlertRule, ArmedSubject, AxisName, Decision, InstrumentCare, Job, Limits, Lots, Order, Papers,
    Purpose, Qualified, Questions, SampleOf, ToolCare, ToolClass, Verified, ZeroPolicy,
};
use crate::quantity::{Dimension, Quantity, Unit, WallMicros};

/// What a station measures, and by which limits and rules it judges.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ArmedSpec {
    /// Name of the station in the configuration.
    pub station: String,
    /// The plan's id; `None` if armed inline.
    pub plan: Option<String>,
    /// Who measures.
    pub operator: Option<String>,
    /// Job that the pieces are for; `None` if none was given.
    pub job: Option<Job>,
    /// The reel and the spool in use at arming.
    pub lots: Lots,
    /// The production run that the series is a sample of.
    pub sample: Option<SampleOf>,
    /// Crimps or gauge blocks.
    pub subject: ArmedSubject,
    /// The make-up of the wire, as the plan gives it.
    pub strands: Option<Strands>,
    /// Why the pieces are measured.
    pub purpose: Purpose,
    /// The crimp tool.
    pub tool: Option<ArmedTool>,
    /// What shows the combination, if the rule requires it of this series.
    pub qualified: Option<Box<Qualified>>,
    /// The axes, in the order of measuring.
    pub axes: Vec<ArmedAxis>,
    /// The order of the slots.
    pub order: Order,
    /// The number of pieces.
    pub pieces: u32,
    /// How values are judged.
    pub decision: Decision,
    /// When a zero is due.
    pub zero: ZeroPolicy,
    /// What a person is asked besides.
    pub questions: Questions,
    /// Open the next series when this one is full.
    pub repeat: bool,
    /// The closing zeros of the previous series, which also open this one; empty unless this series repeats it.
    pub opening_zeros: Vec<OpeningZero>,
    /// The rules over several readings that are in force.
    pub alerts: Vec<&'static AlertRule>,
    /// The instruments whose values count.
    pub instruments: Vec<ArmedInstrument>,
    /// What the operator was warned of.
    pub warnings: Vec<String>,
}

/// A closing zero that opens the next series too.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpeningZero {
    /// Name of the instrument in the configuration.
    pub instrument: String,
    /// The number of its `zeroed` entry.
    pub zeroed: u64,
    /// When it was entered.
    pub at: WallMicros,
}

/// The crimp tool of a series.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ArmedTool {
    /// The id of its `[[tool]]` table.
    pub id: String,
    /// What it was made for.
    pub class: ToolClass,
    /// The nest used.
    pub nest: Option<String>,
    /// Its last check and the next one.
    pub care: ToolCare,
    /// The tool's total number of crimps at arming; `None` in journals from before crimps were counted.
    pub crimps: Option<u64>,
    /// What the maker's sheet additionally requires of a repair-class crimp.
    pub needs: Option<String>,
}

/// One axis of a series.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ArmedAxis {
    /// Its name in the plan.
    pub name: AxisName,
    /// The limits of the sheet.
    pub limits: Limits,
    /// The source of the limits if they are not the maker's: the table and its row, with a remark that it is not the
    /// maker's. `None` for limits of the maker's sheet.
    pub limits_from: Option<String>,
    /// The plausible window: a value outside does not count, as a likely slip. `None` if every value is plausible.
    pub plausible: Option<(Quantity, Quantity)>,
    /// The guard band for each instrument that can measure it.
    pub guards: Vec<Guard>,
}

/// The guard band of one instrument on one axis.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Guard {
    /// The instrument's name.
    pub instrument: String,
    /// Width in base units; 0 under simple acceptance.
    pub width: i64,
    /// Half the tolerance over 2u, in hundredths; `None` if it is undefined.
    pub test_uncertainty_ratio_hundredths: Option<u32>,
    /// The budget that u is from; `None` if it is from the instrument's own properties.
    pub budget: Option<String>,
}

/// An instrument, with its properties at arming.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ArmedInstrument {
    /// Its name in the plan.
    pub name: String,
    /// The unit of values whose frame carries none.
    pub unit: Unit,
    /// The smallest step of its display.
    pub resolution: Quantity,
    /// Maximum permissible error.
    pub max_error: Option<Quantity>,
    /// Standard deviation of repeated readings.
    pub repeatability: Option<Quantity>,
    /// Minimum and maximum value that it can show.
    pub range: Option<(Quantity, Quantity)>,
    /// Whether an armed axis can have values within the zero band; the operator must then announce each zero.
    pub zero_must_be_said: bool,
    /// Dates of its calibration and verification.
    pub care: InstrumentCare,
    /// What it is known by on paper.
    pub papers: Papers,
    /// Its last verification before this series.
    pub verified: Option<Verified>,
}

impl ArmedSpec {
    /// The axis of this name.
    pub fn axis(&self, name: &AxisName) -> Option<&ArmedAxis> {
        self.axes.iter().find(|axis| axis.name == *name)
    }

    /// The instrument of this name.
    pub fn instrument(&self, name: &str) -> Option<&ArmedInstrument> {
        self.instruments
            .iter()
            .find(|instrument| instrument.name == name)
    }
}

impl ArmedSpec {
    /// The largest distance from zero, in base units, at which a value of `instrument` is an attempt at a zero: the
    /// value is nearer to zero than to every plausible value of the instrument's axes. `None` if zeros must be
    /// announced, if an axis has no plausible window, and for forces, which begin at zero.
    pub fn attempts_within(&self, instrument: &ArmedInstrument) -> Option<i64> {
        if instrument.zero_must_be_said {
            return None;
        }
        let measured = self.axes.iter();
        let measured = measured.filter(|axis| axis.guard_of(&instrument.name).is_some());
        let mut within = measured.map(|axis| axis.attempts_within(&self.zero));
        let first = within.next()??;
        within.try_fold(first, |least, next| Some(least.min(next?)))
    }
}

impl ArmedAxis {
    /// The largest distance from zero, in base units, at which a value is nearer to zero than to the plausible window
    /// of this axis; at most the plan's `attempt`. `None` if every value is plausible, or zero is.
    pub fn attempts_within(&self, zero: &ZeroPolicy) -> Option<i64> {
        let (smallest, _) = self.plausible?;
        let is_length = smallest.dimension() == Dimension::Length;
        let below_half = smallest.base().checked_sub(1)? / 2;
        (is_length && smallest.base() > 0).then(|| below_half.min(zero.attempt.nanometres()))
    }

    /// The guard band of this instrument on this axis.
    pub fn guard_of(&self, instrument: &str) -> Option<&Guard> {
        self.guards
            .iter()
            .find(|guard| guard.instrument == instrument)
    }
}
