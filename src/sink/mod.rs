//! What reads the journal with a cursor of its own.
