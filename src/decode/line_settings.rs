//! Line settings: how bytes stand on a serial line. `9600 8N1`, `4800 7E2`.

use crate::quantity::named;
use std::fmt;
use std::str::FromStr;

/// Speed and character frame of a serial line; shown and parsed as `9600 8N1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct LineSettings {
    /// Bits a second, 50 to 4 000 000.
    pub baud: u32,
    /// 5 to 8.
    pub data_bits: u8,
    /// The parity bit.
    pub parity: Parity,
    /// 1 or 2.
    pub stop_bits: u8,
}

named! {
    /// The parity bit of a byte on the line.
    pub enum Parity {
        /// There is none.
        None = "N",
        /// It makes the number of ones even.
        Even = "E",
        /// It makes the number of ones odd.
        Odd = "O",
    }
}

/// Why a text is not line settings.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LineSettingsError {
    /// A rate and a frame, as `9600 8N1`, were expected.
    #[error("got {got:?}, want speed and frame such as \"9600 8N1\"")]
    NotTwoWords {
        /// The text.
        got: String,
    },
    /// The speed is not a number, or not one of a port.
    #[error("got a speed of {got:?}, want 50 to 4000000 bits a second")]
    Speed {
        /// The text of the speed.
        got: String,
    },
    /// Not data bits, parity and stop bits.
    #[error("got a frame of {got:?}, want data bits 5–8, parity N, E or O, stop bits 1 or 2")]
    Frame {
        /// The text of the frame.
        got: String,
    },
}

impl Default for LineSettings {
    /// `9600 8N1`, the most common.
    fn default() -> Self {
        Self {
            baud: 9600,
            data_bits: 8,
            parity: Parity::None,
            stop_bits: 1,
        }
    }
}

impl fmt::Display for LineSettings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parity = self.parity.name();
        write!(
            f,
            "{} {}{parity}{}",
            self.baud, self.data_bits, self.stop_bits
        )
    }
}

impl FromStr for LineSettings {
    type Err = LineSettingsError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let mut words = text.split_whitespace();
        let (Some(speed), Some(frame), None) = (words.next(), words.next(), words.next()) else {
            return Err(LineSettingsError::NotTwoWords {
                got: text.to_owned(),
            });
        };
        let baud = speed
            .parse::<u32>()
            .ok()
            .filter(|baud| (50..=4_000_000).contains(baud))
            .ok_or_else(|| LineSettingsError::Speed {
                got: speed.to_owned(),
            })?;
        let (data_bits, parity, stop_bits) =
            frame_of(frame).ok_or_else(|| LineSettingsError::Frame {
                got: frame.to_owned(),
            })?;
        Ok(Self {
            baud,
            data_bits,
            parity,
            stop_bits,
        })
    }
}

/// `8N1` → data bits, parity, stop bits.
fn frame_of(text: &str) -> Option<(u8, Parity, u8)> {
    let mut letters = text.chars();
    let (data, parity, stop) = (letters.next()?, letters.next()?, letters.next()?);
    let digit = |letter: char| {
        letter
            .to_digit(10)
            .and_then(|digit| u8::try_from(digit).ok())
    };
    let data_bits = digit(data).filter(|bits| (5..=8).contains(bits))?;
    let stop_bits = digit(stop).filter(|bits| (1..=2).contains(bits))?;
    let parity = Parity::from_name(parity.to_ascii_uppercase().encode_utf8(&mut [0; 4]))?;
    letters
        .next()
        .is_none()
        .then_some((data_bits, parity, stop_bits))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn line_settings_read_back_from_their_text() {
        for text in ["9600 8N1", "4800 7E2", "2400 5O1", "115200 8E1"] {
            assert_eq!(text.parse::<LineSettings>().unwrap().to_string(), text);
        }
        assert_eq!(LineSettings::default().to_string(), "9600 8N1");
        assert_eq!(
            "9600  8n1".parse::<LineSettings>().unwrap(),
            LineSettings::default()
        );
    }

    #[test]
    fn faulty_line_settings_say_which_part_is_faulty() {
        let error = |text: &str| text.parse::<LineSettings>().unwrap_err();
        for text in ["", "9600", "9600 8N1 RTS", "9600,8,N,1"] {
            assert!(
                matches!(error(text), LineSettingsError::NotTwoWords { .. }),
                "{text}"
            );
        }
        for text in ["0 8N1", "fast 8N1", "-9600 8N1", "4000001 8N1", "49 8N1"] {
            assert!(
                matches!(error(text), LineSettingsError::Speed { .. }),
                "{text}"
            );
        }
        for text in [
            "9600 9N1",
            "9600 8X1",
            "9600 8N3",
            "9600 8N",
            "9600 8N1.5",
            "9600 4N1",
        ] {
            assert!(
                matches!(error(text), LineSettingsError::Frame { .. }),
                "{text}"
            );
        }
    }
}
