//! Decodes the bytes of an entry again, with the settings in force then, and compares the value.
//!
//! In: the state before an entry, and the entry. Out: a [`Mismatch`] if the values differ.
//!
//! - The settings are those of the instrument's last `attached`. Without them (older releases, no open port) nothing
//!   can be checked, and such values are counted.
//! - Of a stream the bytes are those of the last frame only, so the value must lie within its plateau.

use super::audit::Mismatch;
use super::{Entry, FrameEntry, Reading, Stamped, State, Zeroed};
use crate::decode::framing::Framing;
use crate::decode::meaning::meaning;
use crate::decode::{FrameFormat, Pattern};
use crate::quantity::{Measured, Quantity, Unit};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The settings by which bytes become readings; left out as a whole if they are not known.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ReadBy {
    /// The name of the frame format.
    pub format: String,
    /// Unit of values that carry none.
    pub unit: String,
    /// The user's regular expression, where the format is `pattern`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pattern: Option<String>,
    /// Capture mode: `press`, `steady` or `ask`.
    pub capture: String,
}

/// Decodes values again, and counts those whose settings are unknown.
#[derive(Debug, Default)]
pub struct ReadAgain {
    /// Compiled patterns; `None` for a text that is not a valid pattern.
    patterns: BTreeMap<String, Option<Pattern>>,
    /// Number of values that were decoded again.
    pub checked: u64,
    /// Number of values whose settings are unknown.
    pub unchecked: u64,
}

impl ReadAgain {
    /// Compares the value of an entry with its bytes; `None` if they agree or cannot be compared.
    pub fn check(&mut self, before: &State, stamped: &Stamped) -> Option<Mismatch> {
        match &stamped.entry {
            Entry::Frame(FrameEntry::Zeroed(zeroed)) => self.zeroed(before, zeroed),
            Entry::Frame(FrameEntry::Reading(reading)) => self.reading(before, reading),
            Entry::Frame(FrameEntry::Unread(_))
            | Entry::Journal(_)
            | Entry::Port(_)
            | Entry::Said(_)
            | Entry::Series(_)
            | Entry::Production(_) => None,
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
        // The plateau of a zero is not stored, so its bytes show the last frame only.
        let is_exact = read_by.is_none_or(|known| known.capture != "steady");
        let known = self.counted(read_by, is_exact)?;
        let read = self.read(known, &zeroed.raw);
        differs(zeroed.value, read.as_ref(), |read| *read == zeroed.value)
    }

    /// Counts a value, and returns its settings if they are known.
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

/// The settings in the instrument's last `attached`.
fn read_by<'s>(before: &'s State, instrument: &str) -> Option<&'s ReadBy> {
    let attached = before.instruments.get(instrument)?.attached.as_ref()?;
    attached.read_by.as_deref()
}

fn unit(known: &ReadBy) -> Option<Unit> {
    Unit::from_symbol(&known.unit)
}

/// Whether this release knows the format. A value in a later format cannot be checked here.
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
