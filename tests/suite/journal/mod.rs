//! The journal on real files: group commit, reading back, segments, and recovery after a crash.

mod bench;
mod command;
mod damage;
mod every_kind;
mod full_disk;
mod opening;
mod reading;
mod samples;
mod signed;
mod torn;
mod verifying;
mod writing;
