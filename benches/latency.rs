//! From the last byte on the port to the line on the feed, against a bare relay.

fn main() {}
