//! Entries on disk.
