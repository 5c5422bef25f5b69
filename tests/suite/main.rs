//! The one test binary.
