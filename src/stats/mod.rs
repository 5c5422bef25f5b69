//! Statistics of readings that withstand an audit.
//!
//! In: exact integers (nanometres, millinewtons) and the unit of the results. Out: figures in that unit, each with its
//! formula, its source, and the conditions under which it has no value.
//!
//! - A figure is never NaN or infinite, and never 0 for want of a value. Without a value it is [`Undefined`], with the
//!   reason.
//! - Sums are exact integers. A float appears only when a figure is computed, through [`sample`].
//! - No file, clock or true randomness is used. Simulations have a fixed seed, so their results never change.
#![expect(
    clippy::float_arithmetic,
    reason = "the one place above the line that computes with floats, from exact integers"
)]

pub mod agreement;
pub mod capability;
pub mod chart;
pub mod compare;
pub mod components;
pub mod constants;
pub mod correlated;
pub mod describe;
pub mod distribution;
pub mod drift;
pub mod figures;
pub mod fitted;
pub mod gauge;
pub mod grid;
mod limits;
pub mod linearity;
pub mod moments;
pub mod nests;
pub mod normality;
pub mod order;
pub mod outlier;
pub mod packed;
pub mod picture;
pub mod planning;
pub mod proportion;
pub mod proposal;
pub mod random;
pub mod regression;
pub mod rounding;
pub mod sample;
pub mod sampling;
pub mod stability;
pub mod stream;
pub mod text;
pub mod tolerance;
pub mod uncertainty;
mod undefined;

pub use figures::{Figure, FigureInfo, FigureKind};
pub use limits::Limits;
pub use sample::{Sample, Summary};
pub use undefined::Undefined;

/// The default confidence.
pub const CONFIDENCE: f64 = 0.95;

/// Every named figure of `study … --json`, study by study.
pub fn statistics() -> Vec<FigureInfo> {
    let tables = [
        figures::rows("describe", describe::FIGURES),
        figures::rows("describe", correlated::FIGURES),
        figures::rows("capability", capability::FIGURES),
        figures::rows("capability", fitted::FIGURES),
        figures::rows("pull", capability::PULL_FIGURES),
        figures::rows("compare", compare::FIGURES),
        figures::rows("compare", compare::ANOVA_FIGURES),
        figures::rows("gauge", gauge::FIGURES),
        figures::rows("gauge", gauge::MASTER_FIGURES),
        figures::rows("drift", drift::FIGURES),
        figures::rows("tolerance", tolerance::study::FIGURES),
        figures::rows("plan", planning::FIGURES),
        figures::rows("lots", sampling::FIGURES),
        figures::rows("uncertainty", uncertainty::FIGURES),
        figures::rows("regression", regression::FIGURES),
        figures::rows("linearity", linearity::FIGURES),
        figures::rows("stability", stability::FIGURES),
    ];
    tables.into_iter().flatten().collect()
}
