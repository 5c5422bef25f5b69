//! Opening a port, reading it, its end.
