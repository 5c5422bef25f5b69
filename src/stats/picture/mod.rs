//! What figures look like: small pictures for a terminal, and the same as SVG.
//!
//! In: counts and limits, or the panels of a chart. Out: lines of text without colours, or one SVG
//! document that names nothing outside itself.

mod chart_svg;
mod chart_text;
mod histogram;
mod scale;
mod svg;

pub use chart_svg::chart_svg;
pub use chart_text::chart_text;
pub use histogram::{Bin, Histogram};
