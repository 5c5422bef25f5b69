//! Medians and 99th percentiles of the times of two programs, and their ratios, as a table.

use crate::ratio::{Ratio, percentile};
use std::time::Duration;

/// The times of one program under its name.
pub(super) type Named<'a> = (&'a str, &'a [Duration]);

/// Prints both, and the ratios of the first to the second.
pub(super) fn print(ours: Named<'_>, others: Named<'_>) {
    println!("                 samples       p50       p99");
    for (name, times) in [others, ours] {
        let at = |percent| format!("{} µs", percentile(times.to_vec(), percent).as_micros());
        println!(
            "  {name:<12} {:>9}{:>10}{:>10}",
            times.len(),
            at(50),
            at(99)
        );
    }
    let ratio = |percent| Ratio::of(ours.1, others.1, percent);
    println!("  ratio of p50 {}, of p99 {}", ratio(50), ratio(99));
}
