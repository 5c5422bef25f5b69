//! `pattern`: lines read by the user's own regular expression, with the named groups `value`, `unit`, `sign` and
//! `channel`. `value` is required; a sign may stand in `value` or in `sign`.

use super::{Fields, FrameFormat};
use crate::decode::DecodeError;
use crate::decode::framing::Framing;
use crate::quantity::{Decimal, Unit};
use regex::bytes::{Captures, Regex, RegexBuilder};

pub(super) const FORMAT: FrameFormat = FrameFormat {
    name: "pattern",
    framing: Framing::Delimited { longest: 256 },
    fields,
};

/// The named groups that a pattern may have.
const GROUPS: [&str; 4] = ["value", "unit", "sign", "channel"];

/// Maximum size of a compiled pattern in bytes; a pattern for one line stays far below it.
const MOST_COMPILED: usize = 1 << 20;

/// A regular expression for whole lines.
#[derive(Debug, Clone)]
pub struct Pattern(Regex);

/// Why a text is not a pattern.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PatternError {
    /// Not a regular expression.
    #[error("not a regular expression: {reason}")]
    NotRegular {
        /// What the regular expression engine says, in one line.
        reason: String,
    },
    /// The group `value` is missing.
    #[error("no group `value`, want one such as (?<value>[+-]?[0-9.]+)")]
    NoValue,
    /// A named group that is not one of those a pattern may have.
    #[error("unknown group {got:?}, want value, unit, sign or channel")]
    UnknownGroup {
        /// Its name.
        got: String,
    },
}

impl Pattern {
    /// Compiles a pattern that must match the whole line, terminator excluded.
    pub fn new(text: &str) -> Result<Self, PatternError> {
        let not_regular = |error: regex::Error| {
            let text = error.to_string();
            let reason = text.lines().last().unwrap_or_default().trim().to_owned();
            PatternError::NotRegular { reason }
        };
        // The text is compiled by itself first, so that unbalanced parentheses cannot close the group around it.
        Regex::new(text).map_err(not_regular)?;
        let whole = RegexBuilder::new(&format!("^(?:{text})$"))
            .size_limit(MOST_COMPILED)
            .build()
            .map_err(not_regular)?;
        let mut names = whole.capture_names().flatten();
        if let Some(got) = names.find(|name| !GROUPS.contains(name)) {
            return Err(PatternError::UnknownGroup {
                got: got.to_owned(),
            });
        }
        if !whole.capture_names().flatten().any(|name| name == "value") {
            return Err(PatternError::NoValue);
        }
        Ok(Self(whole))
    }

    /// The text of the configuration.
    pub fn text(&self) -> &str {
        let whole = self.as_str().strip_prefix("^(?:");
        let text = whole.and_then(|whole| whole.strip_suffix(")$"));
        text.unwrap_or_default()
    }

    /// The expression that is matched: the text anchored at both ends.
    pub fn as_str(&self) -> &str {
        self.0.as_str()
    }
}

impl PartialEq for Pattern {
    fn eq(&self, other: &Self) -> bool {
        self.as_str() == other.as_str()
    }
}

impl Eq for Pattern {}

fn fields(body: &[u8], pattern: Option<&Pattern>) -> Result<Fields, DecodeError> {
    let captures = pattern
        .and_then(|pattern| pattern.0.captures(body))
        .ok_or_else(|| DecodeError::NoMatch {
            got: String::from_utf8_lossy(body).into_owned(),
        })?;
    let digits = number(&captures)?;
    let unit = match group(&captures, "unit") {
        None => None,
        Some(symbol) => {
            let unit = Unit::from_symbol(&symbol);
            Some(unit.ok_or(DecodeError::UnknownUnit { got: symbol })?)
        }
    };
    let channel = match group(&captures, "channel") {
        None => None,
        Some(text) => Some(text.parse().map_err(|_| DecodeError::Illegal {
            what: "channel",
            got: text.clone(),
            want: "0 to 255",
        })?),
    };
    Ok(Fields {
        unit,
        channel,
        ..Fields::digits(digits)
    })
}

fn number(captures: &Captures<'_>) -> Result<Decimal, DecodeError> {
    let value = group(captures, "value").ok_or(DecodeError::NoDigits)?;
    let illegal = |_| DecodeError::Illegal {
        what: "value",
        got: value.clone(),
        want: "a number",
    };
    let digits: Decimal = value.parse().map_err(illegal)?;
    match group(captures, "sign").as_deref() {
        // Two signs are ambiguous: `--1.60` could be a plus or a fault.
        Some(sign @ ("+" | "-")) if value.starts_with(['+', '-']) => Err(DecodeError::Illegal {
            what: "sign",
            got: format!("{sign} and {value}"),
            want: "it once",
        }),
        None | Some("+") => Ok(digits),
        Some("-") => Ok(Decimal::new(-digits.coefficient(), digits.decimals())),
        Some(other) => Err(DecodeError::Illegal {
            what: "sign",
            got: other.to_owned(),
            want: "+ or -",
        }),
    }
}

/// The text of a group that matched and is not blank.
fn group(captures: &Captures<'_>, name: &str) -> Option<String> {
    let bytes = captures.name(name)?.as_bytes().trim_ascii();
    (!bytes.is_empty()).then(|| String::from_utf8_lossy(bytes).into_owned())
}
