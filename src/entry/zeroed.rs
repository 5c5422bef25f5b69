//! Zero checks, and bytes that could not be read.

use super::Seq;
use super::state::SeriesState;
use crate::quantity::{Measured, Quantity, named};

/// A value that is a zero check.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Zeroed {
    /// Name of the station in the configuration.
    pub station: String,
    /// Name of the instrument in the configuration.
    pub instrument: String,
    /// The series that was open; `None` if none was.
    pub series: Option<Seq>,
    /// The value that the instrument showed.
    pub value: Measured,
    /// Why the zero was made.
    pub role: ZeroRole,
    /// The value is within the limit, and the jaws were closed when the origin was set.
    pub ok: bool,
    /// How far open the jaws were when the origin was set; `None` if they were closed.
    pub opening: Option<Quantity>,
    /// The frame, as received.
    pub raw: Vec<u8>,
}

named! {
    /// Why a zero was made.
    pub enum ZeroRole {
        /// Before the first reading of a series.
        Opening = "opening",
        /// It was due during a series.
        Periodic = "periodic",
        /// After the last reading of a series.
        Closing = "closing",
        /// No zero was due.
        Unasked = "unasked",
    }
}

impl SeriesState {
    /// The counted readings of `instrument` that no good zero has vouched for yet.
    pub fn unvouched(&self, instrument: &str) -> Vec<Seq> {
        let zero = self.zeros.get(instrument);
        let last_good = zero.and_then(|zero| zero.last_good).map(|(seq, _)| seq);
        let readings = self.readings.iter();
        let since =
            readings.filter(|one| *one.instrument == *instrument && Some(one.seq) > last_good);
        since.map(|one| one.seq).collect()
    }
}

/// Bytes that could not be read, or a request without an answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unread {
    /// Name of the station in the configuration.
    pub station: String,
    /// Name of the instrument in the configuration.
    pub instrument: String,
    /// The bytes; of a folded run, its first ones.
    pub raw: Vec<u8>,
    /// Number of all bytes.
    pub bytes: u64,
    /// Number of runs that were folded into this entry.
    pub times: u64,
    /// Why they could not be read, in words.
    pub reason: String,
    /// What the operator can do.
    pub remedy: Option<String>,
}
