//! Finds the few fields of a reading that statistics need, without parsing the whole line.
//!
//! In: a line written by [`super::line::encode`]. Out: a [`Glance`], or `None`, after which the line must be parsed by
//! [`super::line::decode`].
//!
//! - This relies on the order of fields in `v1`. It also relies on the fact that the marker of a field (`,"axis":`)
//!   cannot occur inside a string, where a quote is `\"`.
//! - A string with an escape is not read here; the whole line must be parsed.

use super::ledger::Disposition;
use super::{NotCounted, Seq, Stamped};
use crate::quantity::Unit;
use memchr::memmem::Finder;
use std::ops::Range;
use std::str::FromStr;

/// The fields of a reading that statistics need.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Glance<'l> {
    /// `seq` of its entry.
    pub seq: Seq,
    /// Time of the entry, as text.
    pub at: &'l str,
    /// The instrument's name in the configuration.
    pub instrument: &'l str,
    /// `seq` of the entry `armed` that opened it.
    pub series: Seq,
    /// Number of the piece, from 1.
    pub piece: u32,
    /// Name of the axis as the line has it, not looked up in the plan.
    pub axis: &'l str,
    /// Value in base units (nanometres or millinewtons).
    pub base: i64,
    /// Unit that the instrument showed.
    pub unit: Unit,
    /// Whether the reading counted when it was entered.
    pub disposition: Disposition,
}

impl<'l> Glance<'l> {
    /// Takes the fields from a parsed entry; `None` if it is no reading of a series. `at` is its time as text.
    pub fn of(stamped: &'l Stamped, at: &'l str) -> Option<Self> {
        let reading = stamped.entry.reading()?;
        let slot = reading.slot.as_ref()?;
        Some(Self {
            seq: stamped.seq,
            at,
            instrument: &reading.instrument,
            series: slot.series,
            piece: slot.piece,
            axis: slot.axis.as_str(),
            base: reading.value.quantity().base(),
            unit: reading.value.unit(),
            disposition: Disposition::from(&reading.standing),
        })
    }
}

/// A [`Glance`] without the line, which can be passed to another thread: it stores where in the line the texts are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spotted {
    seq: Seq,
    at: Span,
    instrument: Span,
    series: Seq,
    piece: u32,
    axis: Span,
    base: i64,
    unit: Unit,
    disposition: Disposition,
}

impl Spotted {
    /// The glance at the line in which this was found.
    pub fn in_line<'l>(&self, line: &'l [u8]) -> Option<Glance<'l>> {
        Some(Glance {
            seq: self.seq,
            at: self.at.of(line)?,
            instrument: self.instrument.of(line)?,
            series: self.series,
            piece: self.piece,
            axis: self.axis.of(line)?,
            base: self.base,
            unit: self.unit,
            disposition: self.disposition,
        })
    }
}

/// A place of a text in a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Span {
    from: u32,
    to: u32,
}

impl Span {
    fn new(from: usize, to: usize) -> Option<Self> {
        Some(Self {
            from: from.try_into().ok()?,
            to: to.try_into().ok()?,
        })
    }

    fn bytes(self, line: &[u8]) -> Option<&[u8]> {
        let range: Range<usize> = self.from.try_into().ok()?..self.to.try_into().ok()?;
        line.get(range)
    }

    fn of(self, line: &[u8]) -> Option<&str> {
        std::str::from_utf8(self.bytes(line)?).ok()
    }
}

/// Finds fields in lines; holds the prepared searches.
#[derive(Debug, Clone)]
pub struct Glancer {
    instrument: Finder<'static>,
    series: Finder<'static>,
    piece: Finder<'static>,
    axis: Finder<'static>,
    length: Finder<'static>,
    force: Finder<'static>,
    unit: Finder<'static>,
    standing: Finder<'static>,
}

impl Default for Glancer {
    fn default() -> Self {
        Self {
            instrument: Finder::new(r#","instrument":""#),
            series: Finder::new(r#","series":"#),
            piece: Finder::new(r#","piece":"#),
            axis: Finder::new(r#","axis":""#),
            length: Finder::new(r#","value_nm":"#),
            force: Finder::new(r#","value_mn":"#),
            unit: Finder::new(r#","unit":""#),
            standing: Finder::new(r#","standing":""#),
        }
    }
}

/// A line, and the part of it that was not searched yet.
struct Rest<'l> {
    line: &'l [u8],
    rest: &'l [u8],
}

impl Rest<'_> {
    /// Moves to the end of the next occurrence of `mark`, which usually comes next.
    fn behind(&mut self, mark: &Finder<'_>) -> Option<()> {
        if self.past(mark.needle()).is_some() {
            return Some(());
        }
        let at = mark.find(self.rest)? + mark.needle().len();
        self.rest = self.rest.get(at..)?;
        Some(())
    }

    /// Moves past `text`, which must come next.
    fn past(&mut self, text: &[u8]) -> Option<()> {
        self.rest = self.rest.strip_prefix(text)?;
        Some(())
    }

    /// Finds the end of a string at its closing quote; `None` if it holds an escape or is no text.
    fn text(&mut self) -> Option<Span> {
        let from = self.line.len() - self.rest.len();
        let end = memchr::memchr2(b'"', b'\\', self.rest)?;
        let (text, rest) = self.rest.split_at_checked(end)?;
        self.rest = rest.strip_prefix(b"\"")?;
        std::str::from_utf8(text).ok()?;
        Span::new(from, from + end)
    }

    /// Reads a whole number.
    fn number<T: FromStr>(&mut self) -> Option<T> {
        let digits = |byte: &&u8| byte.is_ascii_digit() || **byte == b'-';
        let end = self.rest.iter().take_while(digits).count();
        let (number, rest) = self.rest.split_at_checked(end)?;
        self.rest = rest;
        std::str::from_utf8(number).ok()?.parse().ok()
    }
}

/// Number, time and kind of the entry in a line, and the rest of the line; `None` if its form is not the usual one.
fn header(line: &[u8]) -> Option<(Seq, Span, Span, Rest<'_>)> {
    let mut rest = Rest { line, rest: line };
    rest.past(br#"{"v":1,"seq":"#)?;
    let seq = Seq(rest.number()?);
    rest.past(br#","at":""#)?;
    let at = rest.text()?;
    rest.past(br#","kind":""#)?;
    let kind = rest.text()?;
    Some((seq, at, kind, rest))
}

/// Number of the entry in a line.
pub fn seq(line: &[u8]) -> Option<Seq> {
    header(line).map(|(seq, ..)| seq)
}

/// Kind of the entry in a line.
pub fn kind(line: &[u8]) -> Option<&str> {
    header(line).and_then(|(_, _, kind, _)| kind.of(line))
}

impl Glancer {
    /// The reading in a line; `None` if it is no reading of a series, or if the line must be parsed.
    pub fn reading<'l>(&self, line: &'l [u8]) -> Option<Glance<'l>> {
        self.spot(line)?.in_line(line)
    }

    /// As [`Glancer::reading`].
    pub fn spot(&self, line: &[u8]) -> Option<Spotted> {
        let (seq, at, kind, mut rest) = header(line)?;
        if kind.bytes(line)? != b"reading" {
            return None;
        }
        if rest.past(br#","prev":""#).is_some() {
            rest.text()?;
        }
        rest.behind(&self.instrument)?;
        let instrument = rest.text()?;
        rest.behind(&self.series)?;
        let series = Seq(rest.number()?);
        rest.behind(&self.piece)?;
        let piece = rest.number()?;
        rest.behind(&self.axis)?;
        let axis = rest.text()?;
        rest.behind(&self.length)
            .or_else(|| rest.behind(&self.force))?;
        let base = rest.number()?;
        rest.behind(&self.unit)?;
        let unit = Unit::from_symbol(rest.text()?.of(line)?)?;
        rest.behind(&self.standing)?;
        let disposition = match rest.text()?.bytes(line)? {
            b"counted" => Disposition::Counted,
            b"not_counted" => {
                rest.past(br#","reason":""#)?;
                Disposition::NotCounted(NotCounted::from_name(rest.text()?.of(line)?)?)
            }
            _ => return None,
        };
        Some(Spotted {
            seq,
            at,
            instrument,
            series,
            piece,
            axis,
            base,
            unit,
            disposition,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::line::{Digest, decode, encode};
    use crate::entry::strategies;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_glance_sees_what_is_read_and_nothing_else(stamped in strategies::stamped()) {
            let line = encode(&stamped, Digest::NONE);
            prop_assert_eq!(kind(&line), Some(stamped.entry.kind()));
            let glance = Glancer::default().reading(&line);
            let Some(glance) = glance else {
                return Ok(()); // the whole line is read
            };
            let (read, _) = decode(&line).unwrap();
            let at = read.at.to_string();
            prop_assert_eq!(Some(glance), Glance::of(&read, &at));
        }
    }

    const LINE: &str = r#"{"v":1,"seq":42,"at":"2026-11-25T09:14:03.120456Z","kind":"reading","prev":"00","station":"bench-1","instrument":"caliper-1","series":37,"piece":3,"axis":"core_crimp_height","terminal":"QF-250-F","wire_mm2":2.0,"purpose":"first_off","value_nm":1630000,"value":1.63,"unit":"mm","nominal_nm":1620000,"deviation_nm":10000,"verdict":"pass","standing":"counted","raw":"2b"}"#;

    #[test]
    fn a_line_as_it_is_written_is_seen_and_one_with_an_escape_is_left_to_be_read() {
        let glancer = Glancer::default();
        let glance = glancer.reading(LINE.as_bytes()).unwrap();
        assert_eq!(
            (glance.series, glance.piece, glance.base),
            (Seq(37), 3, 1_630_000)
        );
        assert_eq!(
            (glance.axis, glance.unit),
            ("core_crimp_height", Unit::Millimetre)
        );
        let escaped = LINE.replace("caliper-1", r#"caliper\",\"series\":1"#);
        assert_eq!(glancer.reading(escaped.as_bytes()), None);
        let elsewhere = LINE.replace("QF-250-F", r#"a\",\"value_nm\":1,\"b"#);
        let seen = glancer.reading(elsewhere.as_bytes()).unwrap();
        assert_eq!(seen.base, 1_630_000);
    }
}
