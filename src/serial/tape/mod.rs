//! A tape: the bytes of a port with their times, as a text file.
//!
//! In: marks with their times. Out: lines of text. The other direction is here too. The format is described in
//! `hardware-notes/tapes.md`.
//!
//! - The reader holds one line of bounded length at a time, because a tape may be larger than memory, or hostile.
//! - The tape of a killed recording can be read. An incomplete last line is left out, and that is reported.

mod player;
#[cfg(test)]
mod tests;

pub use player::Player;

use super::Event;
use crate::config::LineSettings;
use crate::quantity::WallMicros;
use std::fmt::Write as _;
use std::io::{self, Write};

/// First line of every tape of this version.
const FIRST_LINE: &str = "tallyjaw tape 1";

/// Beginning of the first line of a tape of any version.
const ANY_FIRST_LINE: &str = "tallyjaw tape ";

/// Maximum number of bytes in a mark. Longer runs are split into several marks with the same time.
pub const MARK_MOST: usize = 4096;

/// Maximum length of a line with its end: two digits for each byte, time and kind.
const LINE_MOST: usize = 2 * MARK_MOST + 64;

/// Maximum number of lines before the first mark.
const HEADER_LINES_MOST: usize = 64;

/// The head of a tape.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Header {
    /// Wall time of the beginning.
    pub at: WallMicros,
    /// Line settings of the port.
    pub line: LineSettings,
    /// Path of the port, if known.
    pub port: Option<String>,
    /// Name of the instrument in the configuration, if it was recorded by that name.
    pub instrument: Option<String>,
    /// Name of the frame format, if known.
    pub format: Option<String>,
}

/// An event at the port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Mark {
    /// The port was opened.
    Opened {
        /// Path of the port.
        port: String,
    },
    /// Bytes that were waiting when it was opened.
    Stale(Vec<u8>),
    /// Bytes, in the chunks in which they came.
    Bytes(Vec<u8>),
    /// Bytes with line errors, in order with the others.
    Spoiled(Vec<u8>),
    /// The contact on a modem line changed.
    Contact {
        /// Whether it is closed now.
        closed: bool,
    },
    /// The port was gone.
    Closed {
        /// The cause, in words.
        reason: String,
    },
}

impl Mark {
    /// The mark for an event; `None` for trouble, which is about opening and not about the line, and for silences.
    pub fn of(event: Event) -> Option<Self> {
        match event {
            Event::Opened(attached) => Some(Self::Opened {
                port: attached.port,
            }),
            Event::Stale(bytes) => Some(Self::Stale(bytes)),
            Event::Bytes(bytes) => Some(Self::Bytes(bytes)),
            Event::Spoiled(bytes) => Some(Self::Spoiled(bytes)),
            Event::Contact { closed } => Some(Self::Contact { closed }),
            Event::Closed { reason } => Some(Self::Closed { reason }),
            // The times of the marks show silences, too.
            Event::OutOfStep { .. }
            | Event::Quiet { .. }
            | Event::Trouble { .. }
            | Event::Disturbed { .. } => None,
        }
    }
}

/// A mark with its time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Timed {
    /// Microseconds since the beginning; never less than those of the mark before.
    pub micros: u64,
    /// The mark.
    pub mark: Mark,
}

/// Why a tape cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum TapeError {
    /// The file cannot be read.
    #[error("cannot be read: {cause}")]
    Read {
        /// Error of the system.
        cause: io::Error,
    },
    /// The first line is not that of a tape.
    #[error("no tape: its first line is not {FIRST_LINE:?}")]
    NotATape,
    /// It was recorded by a newer release.
    #[error("tape of version {got}, want 1")]
    Newer {
        /// Its version, as written.
        got: String,
    },
    /// Part of the head is missing or wrong.
    #[error("line {line}: {what}")]
    Header {
        /// The line, counted from 1.
        line: u64,
        /// What was found and what was expected.
        what: String,
    },
    /// A line is not a mark.
    #[error("line {line}: got {got}, want a time in µs, a kind and its bytes or words")]
    NotAMark {
        /// The line, counted from 1.
        line: u64,
        /// Beginning of the line.
        got: String,
    },
    /// A mark is earlier than the one before.
    #[error("line {line}: {got} µs after {before} µs")]
    Backwards {
        /// The line, counted from 1.
        line: u64,
        /// Its time.
        got: u64,
        /// The time before.
        before: u64,
    },
    /// A line is longer than any that is written.
    #[error("line {line}: longer than {LINE_MOST} bytes")]
    TooLong {
        /// The line, counted from 1.
        line: u64,
    },
}

impl TapeError {
    /// What to do. It is printed on a line of its own, never as part of the message.
    pub fn remedy(&self) -> Option<&'static str> {
        match self {
            Self::Read { .. } => None,
            Self::NotATape => Some("record one: tallyjaw tape PORT FILE"),
            Self::Newer { .. } => {
                Some("replay it with the release that recorded it, or a newer one")
            }
            Self::Header { .. }
            | Self::NotAMark { .. }
            | Self::Backwards { .. }
            | Self::TooLong { .. } => {
                Some("a tape is text: look at that line; hardware-notes/tapes.md has the form")
            }
        }
    }
}

/// Writes a tape, one line for each mark, each written as it comes.
#[derive(Debug)]
pub struct Recorder<W> {
    out: W,
    last: u64,
}

impl<W: Write> Recorder<W> {
    /// Writes the head.
    pub fn new(mut out: W, header: &Header) -> io::Result<Self> {
        let mut text = format!("{FIRST_LINE}\nat {}\nline {}\n", header.at, header.line);
        for (key, value) in [
            ("port", &header.port),
            ("instrument", &header.instrument),
            ("format", &header.format),
        ] {
            if let Some(value) = value {
                let _ = writeln!(text, "{key} {}", one_line(value));
            }
        }
        text.push('\n');
        out.write_all(text.as_bytes())?;
        out.flush()?;
        Ok(Self { out, last: 0 })
    }

    /// Writes a mark to the file. A time earlier than that of the last mark is replaced by that one.
    pub fn write(&mut self, micros: u64, mark: &Mark) -> io::Result<()> {
        self.last = self.last.max(micros);
        let mut text = String::new();
        match mark {
            Mark::Opened { port } => self.words(&mut text, "open", port),
            Mark::Closed { reason } => self.words(&mut text, "close", reason),
            Mark::Contact { closed: true } => self.words(&mut text, "contact", "closed"),
            Mark::Contact { closed: false } => self.words(&mut text, "contact", "open"),
            Mark::Stale(bytes) => self.bytes(&mut text, "stale", bytes),
            Mark::Bytes(bytes) => self.bytes(&mut text, "bytes", bytes),
            Mark::Spoiled(bytes) => self.bytes(&mut text, "spoiled", bytes),
        }
        self.out.write_all(text.as_bytes())?;
        self.out.flush()
    }

    /// The underlying writer.
    pub fn into_inner(self) -> W {
        self.out
    }

    fn words(&self, text: &mut String, kind: &str, words: &str) {
        let _ = writeln!(text, "{} {kind} {}", self.last, one_line(words));
    }

    fn bytes(&self, text: &mut String, kind: &str, bytes: &[u8]) {
        for chunk in bytes.chunks(MARK_MOST) {
            let _ = write!(text, "{} {kind} ", self.last);
            for byte in chunk {
                let _ = write!(text, "{byte:02x}");
            }
            text.push('\n');
        }
    }
}

/// Words as they stand on one line of bounded length: control characters, of which a line's end is
/// one, become `?`.
fn one_line(words: &str) -> String {
    let kept = words.chars().take(MARK_MOST / 4);
    kept.map(|c| if c.is_control() { '?' } else { c }).collect()
}
