//! Reads a tape with bounded lines; nothing in it is trusted.

use super::{
    ANY_FIRST_LINE, HEADER_LINES_MOST, Header, LINE_MOST, MARK_MOST, Mark, TapeError, Timed,
    one_line,
};
use std::fmt::Display;
use std::io::{BufRead, Read};
use std::str::FromStr;

/// Reads a tape mark by mark.
#[derive(Debug)]
pub struct Player<R> {
    lines: Lines<R>,
    header: Header,
    last: u64,
}

impl<R: BufRead> Player<R> {
    /// Reads the head.
    pub fn new(tape: R) -> Result<Self, TapeError> {
        let mut lines = Lines::new(tape);
        let Some(first) = lines.next()? else {
            return Err(TapeError::NotATape);
        };
        match first.strip_prefix(ANY_FIRST_LINE) {
            None => return Err(TapeError::NotATape),
            Some("1") => {}
            Some(other) => {
                let got = beginning(&one_line(other));
                return Err(TapeError::Newer { got });
            }
        }
        let header = header(&mut lines)?;
        Ok(Self {
            lines,
            header,
            last: 0,
        })
    }

    /// The head of the tape.
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// The next mark; `None` at the end.
    pub fn next_mark(&mut self) -> Result<Option<Timed>, TapeError> {
        let Some(text) = self.lines.next()? else {
            return Ok(None);
        };
        let read = timed(text).ok_or_else(|| format!("{:?}", beginning(text)));
        let number = self.lines.number;
        let timed = read.map_err(|got| TapeError::NotAMark { line: number, got })?;
        if timed.micros < self.last {
            return Err(TapeError::Backwards {
                line: number,
                got: timed.micros,
                before: self.last,
            });
        }
        self.last = timed.micros;
        Ok(Some(timed))
    }

    /// Whether the tape ends in an incomplete line, which was left out because the recording was killed.
    pub fn is_cut_short(&self) -> bool {
        self.lines.cut_short
    }
}

/// The beginning of a line, for a message.
fn beginning(text: &str) -> String {
    text.chars().take(40).collect()
}

fn header(lines: &mut Lines<impl BufRead>) -> Result<Header, TapeError> {
    let (mut at, mut line) = (None, None);
    let (mut port, mut instrument, mut format) = (None, None, None);
    for _ in 0..HEADER_LINES_MOST {
        let Some(text) = lines.next()? else {
            break;
        };
        let (key, value) = text.split_once(' ').unwrap_or((text, ""));
        let value = value.to_owned();
        match key {
            "" => break,
            "at" => at = Some(value),
            "line" => line = Some(value),
            "port" => port = Some(value),
            "instrument" => instrument = Some(value),
            "format" => format = Some(value),
            // Written by a later release of the same version.
            _ => {}
        }
    }
    Ok(Header {
        at: parsed("at", at, lines.number)?,
        line: parsed("line", line, lines.number)?,
        port,
        instrument,
        format,
    })
}

/// A value that every head must have. `ends_at` is the last line of the head.
fn parsed<T: FromStr>(key: &str, value: Option<String>, ends_at: u64) -> Result<T, TapeError>
where
    T::Err: Display,
{
    let fault = |what: String| TapeError::Header {
        line: ends_at,
        what,
    };
    let value = value.ok_or_else(|| fault(format!("no {key:?} in the head that ends here")))?;
    value
        .parse()
        .map_err(|error| fault(format!("{key:?} in the head that ends here: {error}")))
}

/// Parses `1234567 bytes 2b312e36330d`.
fn timed(text: &str) -> Option<Timed> {
    let (micros, rest) = text.split_once(' ')?;
    let (kind, rest) = rest.split_once(' ').unwrap_or((rest, ""));
    let digits = micros.bytes().all(|byte| byte.is_ascii_digit());
    let micros = micros.parse().ok().filter(|_| digits)?;
    let mark = match (kind, rest) {
        ("open", port) => Mark::Opened {
            port: port.to_owned(),
        },
        ("close", reason) => Mark::Closed {
            reason: reason.to_owned(),
        },
        ("contact", "closed") => Mark::Contact { closed: true },
        ("contact", "open") => Mark::Contact { closed: false },
        ("stale", hex) => Mark::Stale(unhex(hex)?),
        ("bytes", hex) => Mark::Bytes(unhex(hex)?),
        ("spoiled", hex) => Mark::Spoiled(unhex(hex)?),
        _ => return None,
    };
    Some(Timed { micros, mark })
}

/// Parses at least one byte and at most [`MARK_MOST`].
fn unhex(text: &str) -> Option<Vec<u8>> {
    let digits = text.as_bytes();
    if digits.is_empty() || !digits.len().is_multiple_of(2) || digits.len() > 2 * MARK_MOST {
        return None;
    }
    let digit = |byte: u8| match byte {
        b'0'..=b'9' => Some(byte - b'0'),
        b'a'..=b'f' => Some(byte - b'a' + 10),
        b'A'..=b'F' => Some(byte - b'A' + 10),
        _ => None,
    };
    let pair = |pair: &[u8]| match *pair {
        [high, low] => Some(digit(high)? << 4 | digit(low)?),
        _ => None,
    };
    digits.chunks(2).map(pair).collect()
}

/// Reads lines of text, one at a time, with bounded length.
#[derive(Debug)]
struct Lines<R> {
    tape: R,
    line: Vec<u8>,
    number: u64,
    cut_short: bool,
}

impl<R: BufRead> Lines<R> {
    fn new(tape: R) -> Self {
        Self {
            tape,
            line: Vec::new(),
            number: 0,
            cut_short: false,
        }
    }

    fn next(&mut self) -> Result<Option<&str>, TapeError> {
        self.line.clear();
        self.number += 1;
        let most = u64::try_from(LINE_MOST).unwrap_or(u64::MAX);
        let mut limited = (&mut self.tape).take(most);
        limited
            .read_until(b'\n', &mut self.line)
            .map_err(|cause| TapeError::Read { cause })?;
        if self.line.last() != Some(&b'\n') {
            if self.line.len() >= LINE_MOST {
                return Err(TapeError::TooLong { line: self.number });
            }
            self.cut_short = !self.line.is_empty();
            return Ok(None);
        }
        self.line.pop();
        if self.line.last() == Some(&b'\r') {
            self.line.pop(); // The file was converted to other line ends.
        }
        match std::str::from_utf8(&self.line) {
            Ok(text) => Ok(Some(text)),
            Err(_) => Err(TapeError::NotAMark {
                line: self.number,
                got: "bytes that are no text".to_owned(),
            }),
        }
    }
}
