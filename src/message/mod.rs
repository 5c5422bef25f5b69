//! What clients and daemon say to each other.
