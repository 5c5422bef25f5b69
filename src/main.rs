//! Hands the arguments to [`tallyjaw::cli`] and turns its answer into an exit code.

fn main() {}
