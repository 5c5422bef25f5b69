//! The core from outside: what the operator does, and what entries come of it.

mod capturing;
pub(crate) mod desk;
mod interleaved;
mod invariants;
mod judging;
mod series;
mod signals;
mod streams;
mod verifying;
mod zeros;
