//! A zero frame, and what it was for; and bytes that are no frame.

use super::Seq;
use crate::quantity::{Measured, Quantity, named};

/// A zero frame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Zeroed {
    /// Its name in the configuration.
    pub station: String,
    /// Its name in the configuration.
    pub instrument: String,
    /// The series open at the time.
    pub series: Option<Seq>,
    /// What it showed.
    pub value: Measured,
    /// What it was for.
    pub role: ZeroRole,
    /// Within the limit, and with closed jaws.
    pub ok: bool,
    /// How far open the jaws stood when the origin was set, if they did.
    pub opening: Option<Quantity>,
    /// The bytes.
    pub raw: Vec<u8>,
}

named! {
    /// What a zero frame was for.
    pub enum ZeroRole {
        /// Before the first reading of a series.
        Opening = "opening",
        /// Due during a series.
        Periodic = "periodic",
        /// After the last reading of a series.
        Closing = "closing",
        /// Nobody asked.
        Unasked = "unasked",
    }
}

/// Bytes without meaning.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unread {
    /// Its name in the configuration.
    pub station: String,
    /// Its name in the configuration.
    pub instrument: String,
    /// The bytes; of a folded run, its beginning.
    pub raw: Vec<u8>,
    /// How many bytes there were.
    pub bytes: u64,
    /// How many runs were folded into this one.
    pub times: u64,
    /// Why.
    pub reason: String,
    /// What a person can do.
    pub remedy: Option<String>,
}
