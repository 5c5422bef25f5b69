//! The core from outside: what the operator does, and what entries come of it.

mod adapters;
mod answers;
mod capturing;
mod care;
pub(crate) mod desk;
mod drift;
mod flooded;
mod hands;
mod interleaved;
pub(crate) mod invariants;
mod jobs;
mod judging;
mod notes;
mod order_by_value;
pub(crate) mod pictures;
pub(crate) mod production;
mod production_runs_hold;
mod reservations;
mod series;
mod signals;
mod streams;
mod twice;
mod undo;
mod verifying;
mod zeros;
