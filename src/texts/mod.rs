//! The one table of texts in every language, for the page and for printed cards.
//!
//! `texts.json` has a key for each text and what stands for it in English, German and Spanish, with named places in
//! braces. Nothing of it is worded anywhere else.

/// The table as it is written.
pub const TABLE: &str = include_str!("texts.json");
