//! Converts an entry to one line of JSON, and back.
//!
//! In: a [`Stamped`] entry and the [`Digest`] of the line before. Out: the bytes of a line without its newline. The
//! other direction is here too. No file is opened.
//!
//! - A line begins with `v`, `seq`, `at`, `kind`, `prev` in this order, and `token` where a program commanded it by a
//!   token; the rest depends on the kind.
//! - A line never changes. Every program that passes it on passes these bytes.

use super::{Seq, Stamped, v1};
use crate::quantity::hex_pair;
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use std::fmt;
use std::str::FromStr;

/// SHA-256 of a line's bytes without the newline, or of a picture's bytes.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Digest([u8; 32]);

impl Digest {
    /// The digest that the first line of a journal names as its predecessor's: all zeros.
    pub const NONE: Self = Self([0; 32]);

    /// The digest of bytes; of a line without its newline.
    pub fn of(line: &[u8]) -> Self {
        Self(Sha256::digest(line).into())
    }

    /// Its 32 bytes.
    pub const fn bytes(&self) -> &[u8; 32] {
        &self.0
    }
}

impl fmt::Display for Digest {
    /// 64 lower-case hex digits.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut text = [0; 64];
        for (pair, byte) in text.as_chunks_mut().0.iter_mut().zip(self.0) {
            *pair = hex_pair(byte);
        }
        f.write_str(std::str::from_utf8(&text).unwrap_or_default())
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Digest {
    type Err = LineError;

    /// 64 lower-case hex digits.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let not_a_digest = || LineError::NotADigest {
            got: text.to_owned(),
        };
        let (pairs, rest) = text.as_bytes().as_chunks::<2>();
        if pairs.len() != 32 || !rest.is_empty() {
            return Err(not_a_digest());
        }
        let mut bytes = [0; 32];
        for (byte, [high, low]) in bytes.iter_mut().zip(pairs) {
            let digits = v1::digit(*high).zip(v1::digit(*low));
            let (high, low) = digits.ok_or_else(not_a_digest)?;
            *byte = high << 4 | low;
        }
        Ok(Self(bytes))
    }
}

impl serde::Serialize for Digest {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> serde::Deserialize<'de> for Digest {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<str>::deserialize(from)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

impl schemars::JsonSchema for Digest {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Digest".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({"type": "string", "pattern": "^[0-9a-f]{64}$"})
    }
}

/// Why a line is not an entry.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LineError {
    /// The line is not JSON, or a field is missing or wrong.
    #[error("not an entry: {cause}")]
    NotAnEntry {
        /// Message of the parser, with the column.
        cause: String,
    },
    /// The line was written by a newer release.
    #[error("entry of version {got}, want at most {newest}", newest = v1::VERSION)]
    Newer {
        /// Version of the line.
        got: u64,
    },
    /// This release does not know the kind.
    #[error("unknown kind of entry {got:?}")]
    UnknownKind {
        /// Name of the kind.
        got: String,
    },
    /// This release does not know a field.
    #[error("unknown field {got:?}")]
    UnknownField {
        /// Its name; names of objects around it stand before it, with dots between.
        got: String,
    },
    /// `prev` is not 64 hex digits.
    #[error("got {got:?}, want 64 lower-case hex digits")]
    NotADigest {
        /// The text in its place.
        got: String,
    },
}

/// What to do about a line of a newer release.
pub const NEWER_REMEDY: &str = "use the release that wrote it, or a newer one";

impl LineError {
    /// Whether a newer release may have written the line.
    pub const fn is_newer(&self) -> bool {
        match self {
            Self::Newer { .. } | Self::UnknownKind { .. } | Self::UnknownField { .. } => true,
            Self::NotAnEntry { .. } | Self::NotADigest { .. } => false,
        }
    }
}

/// The line of an entry, without a newline; `prev` is the digest of the line before.
pub fn encode(stamped: &Stamped, prev: Digest) -> Vec<u8> {
    v1::encode(stamped, prev)
}

/// The entry in a line without its newline, and the digest that it gives for the line before.
pub fn decode(line: &[u8]) -> Result<(Stamped, Digest), LineError> {
    v1::decode(line)
}

/// What a line says that its entry does not hold: a field that this release does not know. Readers may go on without it; a
/// writer may not, because the state that it goes on from would lack it.
pub fn unknown_field(line: &[u8], stamped: &Stamped, prev: Digest) -> Option<LineError> {
    let known = encode(stamped, prev);
    if known == line {
        return None;
    }
    let value = |bytes| serde_json::from_slice::<Value>(bytes).ok();
    let got = left_out(&value(line)?, &value(&known)?)?;
    Some(LineError::UnknownField { got })
}

/// The first field of `said` that is not in `known`.
fn left_out(said: &Value, known: &Value) -> Option<String> {
    match (said, known) {
        (Value::Object(said), Value::Object(known)) => {
            said.iter().find_map(|(name, value)| match known.get(name) {
                None if value.is_null() => None,
                None => Some(name.clone()),
                Some(known) => left_out(value, known).map(|rest| format!("{name}.{rest}")),
            })
        }
        (Value::Array(said), Value::Array(known)) => {
            let mut pairs = said.iter().zip(known);
            pairs.find_map(|(said, known)| left_out(said, known))
        }
        _ => None,
    }
}

/// The JSON Schema of a line. Shared definitions are added to `generator`.
pub fn schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
    v1::schema(generator)
}

/// Number of the entry in a line, read from the line's beginning only.
pub fn peek_seq(line: &[u8]) -> Option<Seq> {
    let rest = line.strip_prefix(br#"{"v":"#)?;
    let version_len = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let rest = rest.get(version_len..)?.strip_prefix(br#","seq":"#)?;
    let seq_len = rest.iter().take_while(|byte| byte.is_ascii_digit()).count();
    let (digits, after) = rest.split_at_checked(seq_len)?;
    after.strip_prefix(b",")?;
    std::str::from_utf8(digits).ok()?.parse().ok().map(Seq)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::{Entry, Noted, strategies};
    use crate::quantity::WallMicros;
    use proptest::prelude::*;

    fn note(text: &str) -> Stamped {
        Stamped {
            token: None,
            seq: Seq(42),
            at: WallMicros(1_795_598_043_120_456),
            entry: Entry::from(Noted {
                station: "bench-1".to_owned(),
                series: None,
                text: text.to_owned(),
            }),
        }
    }

    #[test]
    fn a_line_begins_with_its_header_and_leaves_out_what_is_unknown() {
        let line = encode(&note("new \"nest\""), Digest::NONE);
        assert_eq!(
            String::from_utf8(line).unwrap(),
            r#"{"v":1,"seq":42,"at":"2026-11-25T09:14:03.120456Z","kind":"noted","prev":"0000000000000000000000000000000000000000000000000000000000000000","station":"bench-1","text":"new \"nest\""}"#
        );
    }

    #[test]
    fn the_name_of_a_token_follows_the_header_and_any_text_in_it_is_read_back() {
        for (token, text) in [("office", "\"office\""), ("ä\"\\", r#""ä\"\\""#)] {
            let stamped = Stamped {
                token: Some(token.to_owned()),
                ..note("x")
            };
            let line = encode(&stamped, Digest::NONE);
            assert_eq!(decode(&line), Ok((stamped.clone(), Digest::NONE)));
            let line = String::from_utf8(line).unwrap();
            let header = format!("\"prev\":\"{}\",\"token\":{text},\"station\"", Digest::NONE);
            assert!(line.contains(&header), "{line}");
            // A header that is not as we write it goes to the parser, wherever the name stands in it.
            let elsewhere = line.replace(&format!("\"token\":{text},"), "");
            let elsewhere = elsewhere.replace("{\"v\"", &format!("{{\"token\": {text}, \"v\""));
            assert_eq!(decode(elsewhere.as_bytes()), Ok((stamped, Digest::NONE)));
        }
    }

    #[test]
    fn a_digest_is_sha_256() {
        // FIPS 180-2, appendix B.1: the message "abc"; from memory
        let text = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(Digest::of(b"abc").to_string(), text);
        assert_eq!(text.parse::<Digest>().unwrap(), Digest::of(b"abc"));
        for wrong in [
            "",
            &text[1..],
            &text.to_uppercase(),
            &text.replace('b', "+"),
        ] {
            assert!(wrong.parse::<Digest>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_field_that_is_not_known_is_ignored_and_a_kind_or_version_is_named() {
        let line = String::from_utf8(encode(&note("x"), Digest::NONE)).unwrap();
        let changed = |from: &str, to: &str| decode(line.replace(from, to).as_bytes());
        let more = changed(r#""text":"#, r#""mood":{"a":[1]},"text":"#);
        assert_eq!(more.unwrap().0, note("x"));
        assert_eq!(
            changed("noted", "sung").unwrap_err().to_string(),
            "unknown kind of entry \"sung\""
        );
        assert_eq!(
            changed(r#""v":1"#, r#""v":2"#).unwrap_err(),
            LineError::Newer { got: 2 }
        );
        let other_header = changed(r#""v":1,"seq":42"#, r#""v":3,"number":"a""#);
        assert_eq!(other_header.unwrap_err(), LineError::Newer { got: 3 });
        for (from, to) in [
            (r#""v":1"#, r#""v":0"#),
            (r#""seq":42"#, r#""seq":0"#),
            ("2026-", "2026/"),
            (r#""text":"x""#, r#""text":5"#),
            (r#","text":"x""#, ""),
            ("}", ""),
        ] {
            let error = changed(from, to).unwrap_err();
            assert!(matches!(error, LineError::NotAnEntry { .. }), "{error}");
        }
    }

    #[test]
    fn a_header_in_another_order_or_with_blanks_is_read_all_the_same() {
        let line = String::from_utf8(encode(&note("x"), Digest::NONE)).unwrap();
        let other = line
            .replace(r#"{"v":1,"seq":42,"#, "{ \"seq\" : 42,\t\"v\": 1, ")
            .replace(r#""kind":"noted","#, "")
            .replace('}', r#", "kind": "noted"}"#);
        assert_ne!(other, line);
        assert_eq!(decode(other.as_bytes()).unwrap(), (note("x"), Digest::NONE));
    }

    #[test]
    fn the_number_of_a_line_is_read_from_its_beginning() {
        assert_eq!(peek_seq(br#"{"v":1,"seq":42,"at"#), Some(Seq(42)));
        for no_number in [
            &br#"{"v":1,"seq":42"#[..],
            b"",
            br#"{"v":1,"seq":,"#,
            br#"{"seq":1,"#,
            br#"{"v":1,"seq":99999999999999999999,"#,
        ] {
            assert_eq!(peek_seq(no_number), None);
        }
    }

    proptest! {
        #[test]
        fn every_entry_reads_back_as_itself(stamped in strategies::stamped(), before in any::<u64>()) {
            let prev = Digest::of(&before.to_le_bytes());
            let line = encode(&stamped, prev);
            prop_assert!(!line.contains(&b'\n'));
            prop_assert_eq!(peek_seq(&line), Some(stamped.seq));
            prop_assert_eq!(decode(&line), Ok((stamped, prev)));
        }

        #[test]
        fn any_bytes_are_an_entry_or_an_error(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
            prop_assert!(decode(&bytes).is_err());
        }
    }
}
