//! A client: its cursor, what it asked for, when it is let go.
