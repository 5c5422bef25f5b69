//! A line for the serial port, ended by CR.

/// The longest line: thirteen digits and CR.
const LONGEST: usize = 14;

/// One line with its CR.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Line {
    bytes: [u8; LONGEST],
    length: u8,
}

impl Line {
    pub(crate) const fn new() -> Self {
        Self {
            bytes: [0; LONGEST],
            length: 0,
        }
    }

    /// Its bytes.
    pub fn bytes(&self) -> &[u8] {
        self.bytes
            .get(..usize::from(self.length))
            .unwrap_or_default()
    }

    /// What finds no place is left out; no line that is made here is that long.
    pub(crate) fn put(&mut self, byte: u8) {
        if let Some(place) = self.bytes.get_mut(usize::from(self.length)) {
            *place = byte;
            self.length = self.length.saturating_add(1);
        }
    }

    /// The low four bits as a hexadecimal digit.
    pub(crate) fn put_nibble(&mut self, nibble: u8) {
        let nibble = nibble & 0x0f;
        let first = if nibble < 10 { b'0' } else { b'A' - 10 };
        self.put(first.wrapping_add(nibble));
    }

    /// Three digits.
    pub(crate) fn put_decimal(&mut self, number: u16) {
        for digit in [number / 100 % 10, number / 10 % 10, number % 10] {
            self.put_nibble(u8::try_from(digit).unwrap_or_default());
        }
    }
}
