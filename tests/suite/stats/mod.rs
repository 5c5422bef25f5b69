//! Figures against certified and published values; the data stand in tests/reference/stats, with source.
#![expect(clippy::float_arithmetic, reason = "figures are floats")]
#![expect(
    clippy::float_cmp,
    reason = "a figure that is exact is compared exactly"
)]

mod agreement;
mod attacks;
mod attacks_more;
mod bounds;
mod budgets;
mod capability;
mod cells;
mod chart_options;
mod charts;
mod claims;
mod compare;
mod components;
mod coverage;
mod data_sets;
mod distribution;
mod drifts;
mod false_alarms;
mod fitted;
mod gates;
mod gauge;
mod holding;
mod holding_combined;
mod holding_factors;
mod holding_more;
mod holding_stability;
mod intervals;
mod mixed;
mod nests;
mod odd_readings;
mod of_journal;
mod pictures;
mod planning;
mod proposals;
mod reference;
mod regression;
mod sampling;
mod saved;
mod shape;
mod stability;
mod strd;
mod stream;
mod study;
mod zeros;
