//! The subject of a plan or series: crimps of a terminal, or gauge blocks against which an instrument is verified.
//!
//! Each gauge block is an axis of its series, and each repeat a piece. So order, zeros, verdicts and entries are those
//! of any other series. Terms (from memory): gauge block, ISO 3650; indication, error of indication, maximum
//! permissible error, JCGM 200 and ISO 13385-1.

use super::{AxisName, Limits, Sizes, WireRequest, WireSize};
use crate::quantity::{Dimension, Measured, ParseQuantityError, Quantity};
use std::fmt;
use std::str::FromStr;
use std::sync::Arc;

/// The prefix of the axis name of a gauge block.
const AXIS: &str = "gauge_block_";

/// The subject as a plan names it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Subject {
    /// Pieces are crimps of one terminal on one wire.
    Crimps {
        /// The terminal's id in a sheet.
        terminal: String,
        /// The wire that is crimped.
        wire: WireRequest,
    },
    /// Gauge blocks; the plan's axes are theirs, and its pieces are the repeats.
    Blocks {
        /// The instrument that is verified.
        instrument: String,
        /// The blocks, in the order in which they are measured.
        blocks: Vec<GaugeBlock>,
    },
}

/// The subject of a series, with all data that its verdicts depend on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ArmedSubject {
    /// Pieces are crimps of one terminal on one wire.
    Crimps {
        /// The terminal and the wire.
        crimp: Arc<Crimp>,
        /// What the sheet says of the terminal and of the row in force.
        sheet: FromSheet,
    },
    /// Gauge blocks, one for each axis.
    Blocks(Vec<GaugeBlock>),
}

/// What a sheet says of a terminal and of the row whose limits are in force.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct FromSheet {
    /// The source of the limits.
    pub source: Option<String>,
    /// What the maker or the shop calls the terminal.
    pub name: Option<String>,
    /// The sizes of the row, where it is for a range of them; otherwise the row is for the size of the wire alone.
    pub sizes: Option<Sizes>,
}

/// A terminal on a wire.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Crimp {
    /// The terminal's id.
    pub terminal: String,
    /// The wire, in mm² and by gauge.
    pub wire: WireSize,
}

/// A gauge block: `2.50 mm`, or `2.50 ±0.0002 mm` where its own uncertainty is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GaugeBlock {
    /// Its nominal length, with the digits of the plan.
    pub size: Measured,
    /// The uncertainty of its length, from its certificate or grade.
    pub uncertainty: Option<Quantity>,
}

/// Why a text is not a gauge block.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum GaugeBlockError {
    /// A number or unit in it is faulty.
    #[error(transparent)]
    Quantity(#[from] ParseQuantityError),
    /// Not a length above zero.
    #[error("got {got:?}, want the length of a block such as \"2.50 mm\" or \"2.50 ±0.0002 mm\"")]
    NotALength {
        /// The text.
        got: String,
    },
}

impl ArmedSubject {
    /// The terminal and wire; `None` for gauge blocks.
    pub fn crimp(&self) -> Option<&Arc<Crimp>> {
        match self {
            Self::Crimps { crimp, .. } => Some(crimp),
            Self::Blocks(_) => None,
        }
    }

    /// The source of the limits; `None` if unknown.
    pub fn source(&self) -> Option<&str> {
        match self {
            Self::Crimps { sheet, .. } => sheet.source.as_deref(),
            Self::Blocks(_) => None,
        }
    }

    /// What the sheet says of terminal and row; `None` for gauge blocks.
    pub fn sheet(&self) -> Option<&FromSheet> {
        match self {
            Self::Crimps { sheet, .. } => Some(sheet),
            Self::Blocks(_) => None,
        }
    }

    /// The gauge blocks; empty for crimps.
    pub fn blocks(&self) -> &[GaugeBlock] {
        match self {
            Self::Crimps { .. } => &[],
            Self::Blocks(blocks) => blocks,
        }
    }
}

impl GaugeBlock {
    /// The axis of its readings: `gauge_block_2.50_mm`.
    pub fn axis(&self) -> AxisName {
        AxisName::new(format!("{AXIS}{}_{}", self.size.digits(), self.size.unit()))
    }

    /// The limits of the indication: its length plus and minus the maximum permissible error.
    pub fn limits(&self, max_error: Quantity) -> Option<Limits> {
        let size = self.size.quantity();
        let shifted = |by: i64| {
            let base = size.base().checked_add(by)?;
            Some(Quantity::from_base(Dimension::Length, base))
        };
        let error = max_error.base();
        let (lower, upper) = (shifted(error.checked_neg()?)?, shifted(error)?);
        Limits::new(Some(size), Some(lower), Some(upper), self.size.unit()).ok()
    }
}

impl FromStr for GaugeBlock {
    type Err = GaugeBlockError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let trimmed = text.trim();
        let not_a_length = || GaugeBlockError::NotALength {
            got: trimmed.to_owned(),
        };
        let parts = ["±", "+/-", "+-"]
            .into_iter()
            .find_map(|sign| trimmed.split_once(sign));
        let (size, uncertainty) = match parts {
            None => (trimmed.parse::<Measured>()?, None),
            Some((size, uncertainty)) => {
                let uncertainty: Measured = uncertainty.trim().parse()?;
                let size = format!("{} {}", size.trim(), uncertainty.unit());
                (size.parse::<Measured>()?, Some(uncertainty.quantity()))
            }
        };
        let is_length = size.quantity().dimension() == Dimension::Length;
        let is_above_zero = size.quantity().base() > 0
            && uncertainty.is_none_or(|uncertainty| uncertainty.base() > 0);
        if !is_length || !is_above_zero {
            return Err(not_a_length());
        }
        Ok(Self { size, uncertainty })
    }
}

impl fmt::Display for GaugeBlock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.uncertainty {
            None => write!(f, "{}", self.size),
            Some(uncertainty) => write!(f, "{} (±{uncertainty})", self.size),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block(text: &str) -> Result<GaugeBlock, GaugeBlockError> {
        text.parse()
    }

    #[test]
    fn a_block_keeps_its_digits_and_its_own_uncertainty() {
        let known = block("2.50 ±0.0002 mm").unwrap();
        assert_eq!(known.size.to_string(), "2.50 mm");
        assert_eq!(known.uncertainty.map(Quantity::base), Some(200));
        assert_eq!(known.axis().as_str(), "gauge_block_2.50_mm");
        assert_eq!(known.axis().words(), "gauge block 2.50 mm");
        let plain = block("0.1 in").unwrap();
        assert_eq!(
            (plain.size.quantity().base(), plain.uncertainty),
            (2_540_000, None)
        );
    }

    #[test]
    fn its_limits_are_the_maximum_permissible_error_on_either_side() {
        let max_error = Quantity::from_base(Dimension::Length, 20_000);
        let limits = block("41.3 mm").unwrap().limits(max_error).unwrap();
        assert_eq!(limits, "41.3 ±0.02 mm".parse().unwrap());
    }

    #[test]
    fn what_is_no_length_above_zero_is_no_block() {
        for text in ["", "2.5", "0 mm", "-1 mm", "10 N", "2.5 ±0 mm", "2.5 ±x mm"] {
            assert!(block(text).is_err(), "{text}");
        }
    }
}
