//! Decodes the bytes of an entry again, by the format then in force, and compares the value.
//!
//! In: the state before an entry, and the entry. Out: a [`Mismatch`], or that nothing can be said.
//!
//! - The format is that of the last `attached` of the instrument. One that names none (of an older release, or
//!   where no port was open) vouches for nothing, and that is counted.
//! - Of a stream the bytes are those of its last frame, and the value is one of its plateau.

use super::audit::Mismatch;
use super::{Entry, FrameEntry, Reading, Stamped, State, Zeroed};
use crate::decode::framing::Framing;
use crate::decode::meaning::meaning;
use crate::decode::{FrameFormat, Pattern};
use crate::quantity::{Measured, Quantity, Unit};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// How values are read from bytes; left out as a whole where that is not known.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ReadBy {
    /// The name of the frame format.
    pub format: String,
    /// The unit of values that carry none.
    pub unit: String,
    /// The user's regular expression, where the format is `pattern`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pattern: Option<String>,
    /// How values become readings: `press`, `steady`, `ask`.
    pub capture: String,
}

/// Reads values again, and counts those that it could not.
#[derive(Debug, Default)]
pub struct ReadAgain {
    /// Compiled patterns; `None` for a text that is not a valid pattern.
    patterns: BTreeMap<String, Option<Pattern>>,
    /// Values that were read again.
    pub checked: u64,
    /// Values whose format is not known.
    pub unchecked: u64,
}

impl ReadAgain {
    /// Whether the value of an entry is what its bytes say.
    pub fn check(&mut self, before: &State, stamped: &Stamped) -> Option<Mismatch> {
        match &stamped.entry {
            Entry::Frame(FrameEntry::Zeroed(zeroed)) => self.zeroed(before, zeroed),
            Entry::Frame(FrameEntry::Reading(reading)) => self.reading(before, reading),
            Entry::Frame(FrameEntry::Unread(_))
            | Entry::Journal(_)
            | Entry::Port(_)
            | Entry::Said(_)
            | Entry::Series(_) => None,
        }
    }

    fn reading(&mut self, before: &State, reading: &Reading) -> Option<Mismatch> {
        let read_by = read_by(before, &reading.instrument);
        let known = self.counted(read_by, true)?;
        let read = self.read(known, &reading.raw);
        let value = reading.value;
        let Some(plateau) = &reading.plateau else {
            return differs(value, read.as_ref(), |read| *read == value);
        };
        let base = |measured: &Measured| measured.quantity().base();
        let within = plateau.least.base()..=plateau.greatest.base();
        let one_of = [plateau.median, plateau.least, plateau.greatest].map(Quantity::base);
        differs(value, read.as_ref(), |read| {
            within.contains(&base(read)) && one_of.contains(&base(&value))
        })
    }

    fn zeroed(&mut self, before: &State, zeroed: &Zeroed) -> Option<Mismatch> {
        let read_by = read_by(before, &zeroed.instrument);
        // the plateau of a zero is not kept, so its bytes say what the last frame was and no more
        let is_exact = read_by.is_none_or(|known| known.capture != "steady");
        let known = self.counted(read_by, is_exact)?;
        let read = self.read(known, &zeroed.raw);
        differs(zeroed.value, read.as_ref(), |read| *read == zeroed.value)
    }

    /// Counts a value; how it is read, if that is known.
    fn counted<'k>(&mut self, known: Option<&'k ReadBy>, is_exact: bool) -> Option<&'k ReadBy> {
        let known = known.filter(|known| is_exact && is_known(known));
        match known {
            Some(_) => self.checked += 1,
            None => self.unchecked += 1,
        }
        known
    }

    fn read(&mut self, known: &ReadBy, raw: &[u8]) -> Result<Measured, String> {
        let format = FrameFormat::from_name(&known.format).ok_or("no such format")?;
        let unit = unit(known).ok_or("no such unit")?;
        let pattern = match &known.pattern {
            Some(text) => self
                .patterns
                .entry(text.clone())
                .or_insert_with(|| Pattern::new(text).ok())
                .as_ref(),
            None => None,
        };
        let body = match format.framing {
            Framing::Delimited { .. } => body(raw),
            Framing::IdleGap { .. } => raw,
        };
        let fields = (format.fields)(body, pattern).map_err(|error| error.to_string())?;
        let read = meaning(&fields, unit).map_err(|error| error.to_string())?;
        Ok(read.value)
    }
}

/// What its last `attached` says of an instrument.
fn read_by<'s>(before: &'s State, instrument: &str) -> Option<&'s ReadBy> {
    let attached = before.instruments.get(instrument)?.attached.as_ref()?;
    attached.read_by.as_deref()
}

fn unit(known: &ReadBy) -> Option<Unit> {
    Unit::from_symbol(&known.unit)
}

/// A format of a release to come vouches for nothing here.
fn is_known(known: &ReadBy) -> bool {
    FrameFormat::from_name(&known.format).is_some() && unit(known).is_some()
}

fn differs(
    value: Measured,
    read: Result<&Measured, &String>,
    agrees: impl Fn(&Measured) -> bool,
) -> Option<Mismatch> {
    let want = match read {
        Ok(read) if agrees(read) => return None,
        Ok(read) => format!("{read}, by its bytes"),
        Err(reason) => format!("none: {reason}"),
    };
    Some(Mismatch {
        what: "value",
        got: value.to_string(),
        want,
    })
}

/// A line without its terminator.
fn body(raw: &[u8]) -> &[u8] {
    let mut body = raw;
    while let [rest @ .., b'\r' | b'\n'] = body {
        body = rest;
    }
    body
}
