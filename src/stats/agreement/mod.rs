//! Agreement of visual checks: do several persons, and the same person twice, answer the same about the same pieces?
//!
//! In: answers (a word each) about items by appraisers, and the reference answer of each item if it is known. Out: how
//! often all agree, with an exact interval; Cohen's kappa of two, Fleiss' kappa of several, with intervals.

mod kappa;
mod study;

pub use kappa::{FEWEST_ITEMS, Kappa, cohen, cohen_of_items, fleiss, fleiss_of_pieces};
pub use study::{Against, Answers, Between, Study};
