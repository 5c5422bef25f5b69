//! Figures about readings, as they stand up in an audit.
//!
//! In: exact integers (nanometres, millinewtons) with the unit to speak in. Out: figures in that unit,
//! each with its formula, its source and the conditions under which it has no value.
//!
//! - A figure is never NaN, infinite or a silent 0: without a value it is [`Undefined`], with the reason.
//! - Sums are exact integers; a float begins in [`sample`], when a figure is computed, and nowhere before.
//! - No file, clock or chance in here. What is simulated has a seed of its own and is always the same.
#![expect(
    clippy::float_arithmetic,
    reason = "the one place above the line that computes with floats, from exact integers"
)]

pub mod capability;
pub mod chart;
pub mod compare;
pub mod constants;
pub mod describe;
pub mod distribution;
pub mod drift;
pub mod figures;
pub mod gauge;
pub mod grid;
mod limits;
pub mod moments;
pub mod normality;
pub mod order;
pub mod outlier;
pub mod picture;
pub mod proportion;
pub mod random;
pub mod rounding;
pub mod sample;
pub mod stream;
pub mod text;
pub mod tolerance;
mod undefined;

pub use figures::{Figure, FigureInfo, FigureKind};
pub use limits::Limits;
pub use sample::{Sample, Summary};
pub use undefined::Undefined;

/// The share of cases in which a bound is to hold, where no other is given.
pub const CONFIDENCE: f64 = 0.95;

/// Every figure that has a name in `study … --json`, in the order of its studies.
pub fn statistics() -> Vec<FigureInfo> {
    let tables = [
        figures::rows("describe", describe::FIGURES),
        figures::rows("capability", capability::FIGURES),
        figures::rows("pull", capability::PULL_FIGURES),
        figures::rows("compare", compare::FIGURES),
        figures::rows("compare", compare::ANOVA_FIGURES),
        figures::rows("gauge", gauge::FIGURES),
        figures::rows("gauge", gauge::MASTER_FIGURES),
        figures::rows("drift", drift::FIGURES),
    ];
    tables.into_iter().flatten().collect()
}
