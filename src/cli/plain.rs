//! Writes text for people without characters that change the direction of reading.
//!
//! Line ends and colours pass; the rest is escaped by [`safe`]. Data for programs must not go through this.

use crate::quantity::{is_unsafe, safe};
use std::io::{self, Write};

/// Passes text on to `W`.
pub(super) struct Plain<W>(pub(super) W);

impl<W: Write> Write for Plain<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let Ok(text) = std::str::from_utf8(bytes) else {
            return self.0.write(bytes);
        };
        let turns = |c: char| is_unsafe(c) && !c.is_control();
        if !text.contains(turns) {
            return self.0.write(bytes);
        }
        for part in text.split_inclusive(turns) {
            let whole = part.strip_suffix(turns).unwrap_or(part);
            self.0.write_all(whole.as_bytes())?;
            let turning = part.get(whole.len()..).unwrap_or_default();
            self.0.write_all(safe(turning).as_bytes())?;
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_turns_the_direction_is_shown_and_all_else_passes() {
        let mut out = Vec::new();
        write!(
            Plain(&mut out),
            "\u{1b}[1mT\u{202e}70\u{2066}\u{1b}[0m\nלילא\n"
        )
        .unwrap();
        let text = String::from_utf8(out).unwrap();
        assert_eq!(text, "\u{1b}[1mT\\u{202e}70\\u{2066}\u{1b}[0m\nלילא\n");
    }
}
