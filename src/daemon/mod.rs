//! The tasks, what each owns, the loop that feeds the stations.

pub mod files;
