//! The journal on real files: group commit, reading back, segments, what is found after a crash.

mod bench;
mod writing;
