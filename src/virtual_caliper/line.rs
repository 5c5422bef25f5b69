//! Simulates characters on a line, and what a receiver with other settings makes of them.
//!
//! In: bytes and the settings of both ends. Out: the characters that the receiver gets, each with its error.
//!
//! A pseudo-terminal carries whole bytes without bits, speed or parity. So the effect of a wrong setting is computed
//! here from the bits, and the result is sent through the pseudo-terminal. This model of a real line has limits:
//!
//! - The characters of one call follow each other without pause. Before and after them the line is at rest.
//! - The receiver detects a falling edge exactly, and samples once in the middle of each of its bits. Real receivers
//!   sample 16 times a bit and may be late by a sixteenth. That matters for speeds a few per cent apart, but not for a
//!   factor.
//! - It checks one stop bit, whatever its setting, as receivers do. After a missing stop bit it waits for the rest
//!   level and the next falling edge. Some real ones take the missing stop bit for the next start bit.

use crate::config::{LineSettings, Parity};

/// A character as received.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Heard {
    /// The data bits, without parity bit. Bits beyond the receiver's setting are 0.
    pub byte: u8,
    /// The error that the receiver detects.
    pub fault: Option<Fault>,
}

/// An error of a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// The parity bit is wrong.
    Parity,
    /// The stop bit is missing.
    Framing,
}

/// What a receiver with the settings `port` gets from `bytes` sent with `sent`.
///
/// Bits of a byte above the sender's data bits are not sent.
///
/// ```
/// use tallyjaw::virtual_caliper::line::{heard, on_terminal};
/// let (sent, set) = ("4800 7E2".parse()?, "9600 8N1".parse()?);
/// let bytes = on_terminal(&heard(b"+1.63\r", sent, set));
/// assert_ne!(bytes, b"+1.63\r");
/// # Ok::<_, tallyjaw::config::LineSettingsError>(())
/// ```
pub fn heard(bytes: &[u8], sent: LineSettings, port: LineSettings) -> Vec<Heard> {
    let levels = levels(bytes, sent);
    let receiver = Receiver {
        levels: &levels,
        sent_baud: u64::from(sent.baud.max(1)),
        set: port,
    };
    let mut heard = Vec::new();
    let mut from = 0;
    while let Some(edge) = receiver.falling_edge(from) {
        let (character, until) = receiver.character(edge);
        heard.extend(character);
        from = until;
    }
    heard
}

/// The bytes of a terminal that marks errors (`PARMRK`): a good character as its byte, with `ff` doubled; one with an
/// error as `ff 00` and its byte.
///
/// Through a pseudo-terminal they are understood by a program with `TALLYJAW_PTY_MARKS=1`.
pub fn on_terminal(heard: &[Heard]) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(heard.len());
    for character in heard {
        match (character.fault, character.byte) {
            (Some(_), _) => bytes.extend_from_slice(&[0xff, 0x00]),
            (None, 0xff) => bytes.push(0xff),
            (None, _) => {}
        }
        bytes.push(character.byte);
    }
    bytes
}

/// The parity bit for these data bits.
fn parity_bit(data: u8, parity: Parity) -> bool {
    let is_odd = data.count_ones() % 2 == 1;
    match parity {
        Parity::None => false,
        Parity::Even => is_odd,
        Parity::Odd => !is_odd,
    }
}

/// The levels of the line, one for each bit of the sender: rest; then for each character start, data from the lowest
/// bit, parity, stop. `true` is the rest level.
fn levels(bytes: &[u8], line: LineSettings) -> Vec<bool> {
    let mut levels = vec![true];
    for byte in bytes {
        let data = byte & data_mask(line.data_bits);
        levels.push(false);
        levels.extend((0..line.data_bits.min(8)).map(|bit| data >> bit & 1 == 1));
        if line.parity != Parity::None {
            levels.push(parity_bit(data, line.parity));
        }
        levels.extend((0..line.stop_bits).map(|_| true));
    }
    levels
}

fn data_mask(data_bits: u8) -> u8 {
    let unused = 8_u8.saturating_sub(data_bits);
    0xff_u8.checked_shr(unused.into()).unwrap_or(0)
}

struct Receiver<'a> {
    levels: &'a [bool],
    sent_baud: u64,
    set: LineSettings,
}

impl Receiver<'_> {
    /// After the last character the line is at rest.
    fn level(&self, at: usize) -> bool {
        self.levels.get(at).copied().unwrap_or(true)
    }

    /// The first of the sender's bits after `from` that is low after a high one.
    fn falling_edge(&self, from: usize) -> Option<usize> {
        let after = from.saturating_add(1);
        (after..self.levels.len()).find(|at| self.level(at.saturating_sub(1)) && !self.level(*at))
    }

    /// The sender's bit that is on the line in the middle of the receiver's bit `number`, counted from the start bit at
    /// `edge`. It is computed exactly, in whole numbers.
    fn sample_at(&self, edge: usize, number: u8) -> usize {
        let halves = u64::from(number) * 2 + 1;
        let later = self.sent_baud * halves / (u64::from(self.set.baud.max(1)) * 2);
        edge.saturating_add(usize::try_from(later).unwrap_or(usize::MAX))
    }

    /// The character whose start bit begins at `edge`, and the sender's bit up to which the line was examined. There is
    /// no character if the line is at rest in the middle of the start bit.
    fn character(&self, edge: usize) -> (Option<Heard>, usize) {
        let start = self.sample_at(edge, 0);
        if self.level(start) {
            return (None, start);
        }
        let data_bits = self.set.data_bits.min(8);
        let mut byte = 0;
        for bit in 0..data_bits {
            byte |= u8::from(self.level(self.sample_at(edge, bit + 1))) << bit;
        }
        let has_parity = self.set.parity != Parity::None;
        let parity_is_good = !has_parity
            || self.level(self.sample_at(edge, data_bits + 1)) == parity_bit(byte, self.set.parity);
        let stop = self.sample_at(edge, data_bits + 1 + u8::from(has_parity));
        let fault = match (self.level(stop), parity_is_good) {
            (false, _) => Some(Fault::Framing),
            (true, false) => Some(Fault::Parity),
            (true, true) => None,
        };
        (Some(Heard { byte, fault }), stop)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn line(text: &str) -> LineSettings {
        text.parse().unwrap()
    }

    fn terminal(bytes: &[u8], sent: &str, port: &str) -> Vec<u8> {
        on_terminal(&heard(bytes, line(sent), line(port)))
    }

    #[test]
    fn a_receiver_of_8n1_sees_the_parity_bit_of_7e2_as_bit_8() {
        // '1' is 0x31, three ones: even parity adds one. '3' is 0x33, four ones: it adds none.
        assert_eq!(terminal(b"13", "4800 7E2", "4800 8N1"), [0xb1, 0x33]);
        assert_eq!(terminal(b"13", "4800 7O1", "4800 8N1"), [0x31, 0xb3]);
    }

    #[test]
    fn a_receiver_with_the_other_parity_marks_every_character() {
        let heard = heard(b"+1.63\r", line("4800 7E2"), line("4800 7O2"));
        let bytes: Vec<u8> = heard.iter().map(|character| character.byte).collect();
        assert_eq!(bytes, b"+1.63\r");
        assert!(heard.iter().all(|c| c.fault == Some(Fault::Parity)));
    }

    #[test]
    fn a_receiver_that_wants_a_parity_bit_takes_the_stop_bit_for_it() {
        // 8N1 sends U (0x55) as 0 10101010 1 and then the next start bit: to 8E1 the stop bit is
        // the parity (high, four ones want low) and the next start bit is no stop bit.
        let heard = heard(b"UU", line("9600 8N1"), line("9600 8E1"));
        assert_eq!(heard[0].byte, 0x55);
        assert_eq!(heard[0].fault, Some(Fault::Framing));
    }

    #[test]
    fn a_receiver_at_half_the_speed_hears_two_bits_as_one() {
        // U at 9600 8N1 is 0 1 0 1 0 1 0 1 0 1: it changes at each bit. In the middle of each bit
        // of 4800 one of 9600 begins: the start bit already looks high, and nothing is heard.
        assert_eq!(terminal(b"U", "9600 8N1", "4800 8N1"), b"");
        // 00 is nine low bits: looked at where every second one begins, four are low (the start bit
        // and three bits of data), then the line is high.
        assert_eq!(terminal(b"\0", "9600 8N1", "4800 8N1"), [0xf8]);
    }

    #[test]
    fn a_receiver_at_twice_the_speed_hears_each_bit_twice() {
        // 'U' at 4800: 0 1 0 1 …; at 9600 0 0 1 1 0 0 1 1 0 0 is a character with a bad stop bit.
        let heard = heard(b"U", line("4800 8N1"), line("9600 8N1"));
        assert_eq!(heard[0].byte, 0b0110_0110);
        assert_eq!(heard[0].fault, Some(Fault::Framing));
        // FF is one low bit and then high: at twice the speed 0 0 1 1 1 1 1 1 1 1.
        assert_eq!(terminal(b"\xff", "4800 8N1", "9600 8N1"), [0xfe]);
    }

    #[test]
    fn a_spoiled_character_is_marked() {
        let spoiled = Heard {
            byte: 0x41,
            fault: Some(Fault::Parity),
        };
        let good = Heard {
            byte: 0x42,
            fault: None,
        };
        let full = Heard {
            byte: 0xff,
            fault: None,
        };
        let marked = [0xff, 0x00, 0x41, 0x42, 0xff, 0xff];
        assert_eq!(on_terminal(&[spoiled, good, full]), marked);
    }

    fn any_line() -> impl Strategy<Value = LineSettings> {
        (
            prop::sample::select(vec![1200, 2400, 4800, 9600, 19_200]),
            5..=8_u8,
            prop::sample::select(Parity::ALL.to_vec()),
            1..=2_u8,
        )
            .prop_map(|(baud, data_bits, parity, stop_bits)| LineSettings {
                baud,
                data_bits,
                parity,
                stop_bits,
            })
    }

    /// The bytes that a receiver at the same speed with 8 data bits and no parity gets from characters with 7 data
    /// bits. The parity bit becomes bit 8. Without parity the first stop bit does, as 1, if there are two; with one the
    /// receiver would miss its own. Characters of other lengths are unchanged.
    fn parity_as_bit_8(bytes: &[u8], sent: LineSettings) -> Vec<u8> {
        let with_parity = |byte: &u8| match sent.parity {
            Parity::Even | Parity::Odd if sent.data_bits == 7 => {
                let seven = byte & 0x7f;
                seven | (u8::from(parity_bit(seven, sent.parity)) << 7)
            }
            Parity::None if sent.data_bits == 7 => byte | 0x80,
            Parity::None | Parity::Even | Parity::Odd => *byte,
        };
        bytes.iter().map(with_parity).collect()
    }

    proptest! {
        #[test]
        fn a_receiver_set_as_the_sender_hears_what_was_sent(
            bytes in prop::collection::vec(any::<u8>(), 0..40),
            line in any_line(),
        ) {
            let mask = data_mask(line.data_bits);
            let sent: Vec<u8> = bytes.iter().map(|byte| byte & mask).collect();
            let heard = heard(&bytes, line, line);
            prop_assert!(heard.iter().all(|character| character.fault.is_none()));
            let got: Vec<u8> = heard.iter().map(|character| character.byte).collect();
            prop_assert_eq!(got, sent);
        }

        #[test]
        fn the_short_way_to_8n1_is_the_same_as_the_long_one(
            bytes in prop::collection::vec(0..0x80_u8, 0..40),
            parity in prop::sample::select(vec![Parity::Even, Parity::Odd]),
            stop_bits in 1..=2_u8,
        ) {
            let sent = LineSettings { baud: 4800, data_bits: 7, parity, stop_bits };
            let set = LineSettings { baud: 4800, ..LineSettings::default() };
            let long = heard(&bytes, sent, set);
            prop_assert!(long.iter().all(|character| character.fault.is_none()));
            let long: Vec<u8> = long.iter().map(|character| character.byte).collect();
            prop_assert_eq!(parity_as_bit_8(&bytes, sent), long);
        }

        #[test]
        fn no_settings_make_more_characters_than_there_are_bits(
            bytes in prop::collection::vec(any::<u8>(), 0..40),
            sent in any_line(),
            set in any_line(),
        ) {
            let bits = levels(&bytes, sent).len();
            prop_assert!(heard(&bytes, sent, set).len() <= bits);
        }
    }
}
