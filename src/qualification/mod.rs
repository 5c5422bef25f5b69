//! Decides which combinations of terminal, wire, tool and nest are shown, by the rule of the shop.
//!
//! In: the evidence from qualification series ([`Qualifying`](crate::entry::qualifying::Qualifying)), the limits of the
//! sheets, the care of the tools, the rule, and the day. Out: for each combination its [`Standing`], the figures, and
//! what is missing.
//!
//! - The newest series of an axis decides, among those that were judged by the limits of the sheet as it is now.
//! - Only [`crate::stats::capability`] decides whether an index is demonstrated; no float leaves it.

mod audit;
mod frame;
mod lacking;
mod matrix;
mod standing;
#[cfg(test)]
mod tests;

pub use audit::audit;
pub use frame::{Frame, FrameColumn, FrameRow};
pub use lacking::{Lacking, Lapse, SeriesName};
pub use matrix::{Cell, Matrix, MatrixRow, standing};
pub use standing::{AxisFound, CareNow, Found, Required, Standing, find};
