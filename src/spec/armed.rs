//! The armed specification: everything a verdict rests on, complete in itself.
//!
//! It is stored whole in the `armed` entry, so that every verdict can be recomputed from the
//! journal alone, whatever became of sheets and plans since.

use super::{
    AlertRule, ArmedSubject, AxisName, Decision, InstrumentCare, Limits, Order, Purpose, ToolCare,
    ToolClass, Verified, ZeroPolicy,
};
use crate::quantity::{Dimension, Quantity, Unit, WallMicros};

/// What a station measures and judges by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ArmedSpec {
    /// Its name in the configuration.
    pub station: String,
    /// The plan's id; `None` if armed inline.
    pub plan: Option<String>,
    /// Who measures.
    pub operator: Option<String>,
    /// Crimps or gauge blocks.
    pub subject: ArmedSubject,
    /// Why.
    pub purpose: Purpose,
    /// The crimp tool.
    pub tool: Option<ArmedTool>,
    /// What is measured, in order.
    pub axes: Vec<ArmedAxis>,
    /// Which slot is next.
    pub order: Order,
    /// How many pieces.
    pub pieces: u32,
    /// How values are judged.
    pub decision: Decision,
    /// When a zero is due.
    pub zero: ZeroPolicy,
    /// Open the next series when this one is full.
    pub repeat: bool,
    /// The closing zeros of the series before, which open this one; empty unless it repeats that.
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
    /// Its name in the configuration.
    pub instrument: String,
    /// The number of its `zeroed` entry.
    pub zeroed: u64,
    /// When it was.
    pub at: WallMicros,
}

/// The crimp tool of a series.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ArmedTool {
    /// As its `[[tool]]` table has it.
    pub id: String,
    /// What it was made for.
    pub class: ToolClass,
    /// The nest used.
    pub nest: Option<String>,
    /// When it was and is to be checked.
    pub care: ToolCare,
    /// Crimps it had made in all at arming; `None` in a journal older than counting.
    pub crimps: Option<u64>,
    /// What else a repair-class crimp needs, by the maker's sheet.
    pub needs: Option<String>,
}

/// One axis of a series.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ArmedAxis {
    /// As the plan has it.
    pub name: AxisName,
    /// What the sheet allows.
    pub limits: Limits,
    /// Where the limits are from if not from the maker's sheet: the table, its row, and that it is none of
    /// the maker's.
    pub limits_from: Option<String>,
    /// A value outside is implausible on this axis; `None` where any is plausible.
    pub plausible: Option<(Quantity, Quantity)>,
    /// The guard band per instrument that can measure it.
    pub guards: Vec<Guard>,
}

/// How far limits are drawn in for one instrument on one axis.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Guard {
    /// The instrument's name.
    pub instrument: String,
    /// Width in base units; 0 under the simple rule.
    pub width: i64,
    /// Half the tolerance over 2u, in hundredths; `None` where it is undefined.
    pub test_uncertainty_ratio_hundredths: Option<u32>,
}

/// What the series knows of an instrument.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ArmedInstrument {
    /// As the plan has it.
    pub name: String,
    /// The unit of values that carry none.
    pub unit: Unit,
    /// The smallest step of its display.
    pub resolution: Quantity,
    /// Maximum permissible error.
    pub max_error: Option<Quantity>,
    /// Standard deviation of repeated readings.
    pub repeatability: Option<Quantity>,
    /// Minimum and maximum value that it can show.
    pub range: Option<(Quantity, Quantity)>,
    /// Some armed axis can read within its zero band: a zero must be said.
    pub zero_must_be_said: bool,
    /// When it was and is to be calibrated and verified.
    pub care: InstrumentCare,
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
    /// How far from zero a value of `instrument` may lie, in base units, and still be an attempt at a zero: nearer to
    /// zero than to every plausible value of the axes that it measures. `None` where that tells nothing: where
    /// zeros must be said, where an axis has no plausible window, and of forces, which begin at zero.
    pub fn attempts_within(&self, instrument: &ArmedInstrument) -> Option<i64> {
        if instrument.zero_must_be_said {
            return None;
        }
        let measured = self.axes.iter();
        let measured = measured.filter(|axis| axis.guard_of(&instrument.name).is_some());
        let within: Option<Vec<i64>> = measured
            .map(|axis| axis.attempts_within(&self.zero))
            .collect();
        within?.into_iter().min()
    }
}

impl ArmedAxis {
    /// How far from zero a value may lie, in base units, that is nearer to zero than to what is plausible on this
    /// axis, and no further off than an attempt at a zero can be. `None` where every value is plausible, or zero.
    pub fn attempts_within(&self, zero: &ZeroPolicy) -> Option<i64> {
        let (smallest, _) = self.plausible?;
        let is_length = smallest.dimension() == Dimension::Length;
        let below_half = smallest.base().checked_sub(1)? / 2;
        (is_length && smallest.base() > 0).then(|| below_half.min(zero.attempt.nanometres()))
    }

    /// The guard band of this instrument, in base units.
    pub fn guard_of(&self, instrument: &str) -> Option<&Guard> {
        self.guards
            .iter()
            .find(|guard| guard.instrument == instrument)
    }
}
