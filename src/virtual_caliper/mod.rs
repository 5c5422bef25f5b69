//! A pseudo-terminal's other end: sends what a caliper would.
