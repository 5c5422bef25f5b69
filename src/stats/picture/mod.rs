//! Small pictures for a terminal, and the same as SVG for a file or a page.
//!
//! In: counts and limits, or the panels of a chart. Out: lines of text without colours, or SVG elements that refer to
//! nothing outside themselves.

mod bars;
mod budget;
mod chart;
mod chart_text;
mod curve;
mod factors;
mod histogram;
mod reduced;
mod scatter;
pub(crate) mod shapes;
mod stability;
pub(crate) mod ticks;

pub use budget::{BudgetBar, budget_svg, budget_text};
pub(crate) use chart::chart;
pub use chart::chart_svg;
pub use chart_text::chart_text;
pub use curve::{Curve, Mark};
pub use factors::{Boxes, boxes_svg, multi_vari_svg};
pub use histogram::{Bin, Histogram};
pub use scatter::regression_svg;
pub use stability::stability_svg;
