//! An anchor: the digest of one line of a journal, as others keep it, so that a journal that was cut or written again is
//! found by it.
//!
//! In: a line, or what somebody kept. Out: the anchor, and its one line of JSON, which brokers and outlets keep as it is:
//! `{"journal":"…","seq":412,"digest":"…"}`.
//!
//! - Each line holds the digest of the line before, so an anchor covers its own line and all before it.
//! - Other keys beside these are ignored, so that a row of a table with more columns is read too, and an event with more
//!   attributes.

use super::line::Digest;
use super::{JournalId, Seq};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Deserializer;
use serde_json::value::RawValue;

/// Maximum number of anchors that are read at once.
pub const MOST_ANCHORS: usize = 100_000;

/// The digest of one line of a journal, as it is kept outside.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Anchor {
    /// Identity of the journal; `None` if it was not kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub journal: Option<JournalId>,
    /// The entry.
    pub seq: Seq,
    /// SHA-256 of the entry's line, without the newline.
    pub digest: Digest,
}

/// Why a text has no anchors.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoAnchor {
    /// There is nothing in it.
    #[error("got no anchor, want one or more lines such as {EXAMPLE}")]
    Empty,
    /// One of them cannot be read.
    #[error("anchor {number} cannot be read: {cause}; want {EXAMPLE}")]
    Other {
        /// Which one, from 1.
        number: usize,
        /// Message of the parser.
        cause: String,
    },
    /// There are too many.
    #[error("got more than {MOST_ANCHORS} anchors")]
    TooMany,
}

const EXAMPLE: &str =
    r#"{"journal":"9f2c…","seq":412,"digest":"5f3a…"} with 64 hex digits as digest"#;

impl Anchor {
    /// The anchor of a line without its newline.
    pub fn of_line(journal: &JournalId, seq: Seq, line: &[u8]) -> Self {
        Self {
            journal: Some(journal.clone()),
            seq,
            digest: Digest::of(line),
        }
    }

    /// One line of JSON, without a newline.
    pub fn json(&self) -> String {
        // Texts and a number: writing them cannot fail.
        serde_json::to_string(self).unwrap_or_default()
    }

    /// The anchors of a text: one, or several one after another, some of them in lists.
    pub fn all_of(text: &[u8]) -> Result<Vec<Self>, NoAnchor> {
        let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
        let mut anchors = Vec::new();
        for part in Deserializer::from_slice(text).into_iter::<&RawValue>() {
            let part = part.map_err(|error| other(anchors.len(), &error))?.get();
            if part.starts_with('[') {
                let list: Vec<&RawValue> =
                    serde_json::from_str(part).map_err(|error| other(anchors.len(), &error))?;
                for one in list {
                    add(&mut anchors, one.get())?;
                }
            } else {
                add(&mut anchors, part)?;
            }
        }
        if anchors.is_empty() {
            return Err(NoAnchor::Empty);
        }
        Ok(anchors)
    }
}

fn add(anchors: &mut Vec<Anchor>, text: &str) -> Result<(), NoAnchor> {
    let anchor: Anchor =
        serde_json::from_str(text).map_err(|error| other(anchors.len(), &error))?;
    if anchors.len() == MOST_ANCHORS {
        return Err(NoAnchor::TooMany);
    }
    if anchor.seq < Seq::FIRST {
        return Err(NoAnchor::Other {
            number: anchors.len() + 1,
            cause: "seq is 0, the first entry is 1".to_owned(),
        });
    }
    anchors.push(anchor);
    Ok(())
}

fn other(at: usize, error: &serde_json::Error) -> NoAnchor {
    NoAnchor::Other {
        number: at + 1,
        cause: error.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn anchor(seq: u64) -> Anchor {
        Anchor::of_line(&JournalId("9f2c".to_owned()), Seq(seq), b"abc")
    }

    /// FIPS 180-2, appendix B.1: the message "abc"; from memory.
    const ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";

    #[test]
    fn an_anchor_is_one_line_of_json_and_is_read_back_alone_in_lines_and_in_a_list() {
        let (one, two) = (anchor(412), anchor(413));
        let line = one.json();
        assert_eq!(
            line,
            format!(r#"{{"journal":"9f2c","seq":412,"digest":"{ABC}"}}"#)
        );
        let read = |text: &str| Anchor::all_of(text.as_bytes());
        assert_eq!(read(&line), Ok(vec![one.clone()]));
        let both = Ok(vec![one.clone(), two.clone()]);
        assert_eq!(read(&format!("{line}\r\n\n{}\n", two.json())), both);
        assert_eq!(read(&format!("\u{feff}[{line},\n {}]", two.json())), both);
        let batches = format!("[{line}]\n[{}]\n", two.json());
        assert_eq!(read(&batches), Ok(vec![one.clone(), two.clone()]));
        let more = line.replace("\"seq\"", "\"station\":{\"a\":[1]},\n\"seq\"");
        assert_eq!(read(&more), Ok(vec![one]));
        let bare = format!(r#"{{"seq":7,"digest":"{ABC}"}}"#);
        assert_eq!(read(&bare).unwrap()[0].journal, None);
    }

    #[test]
    fn what_is_no_anchor_is_named_by_its_number() {
        let good = anchor(1).json();
        for (text, number) in [
            ("{}".to_owned(), 1),
            ("<html>".to_owned(), 1),
            ("null".to_owned(), 1),
            ("[".to_owned(), 1),
            (format!("{good}\nx"), 2),
            (format!("[{good},{{\"seq\":2}}]"), 2),
            (format!("[{good}]\n[[{good}]]"), 2),
            (good.replace("\"seq\":1", "\"seq\":0"), 1),
            (good.replace("\"seq\":1", "\"seq\":-1"), 1),
            (good.replace("\"seq\":1", "\"seq\":\"1\""), 1),
            (good.replace("\"seq\":1", "\"seq\":1,\"seq\":2"), 1),
            (good.replace(ABC, &ABC.to_uppercase()), 1),
            (good.replace(ABC, &ABC[1..]), 1),
        ] {
            let error = Anchor::all_of(text.as_bytes()).unwrap_err();
            let NoAnchor::Other { number: got, .. } = error else {
                panic!("{text}: {error}");
            };
            assert_eq!(got, number, "{text}");
        }
        for nothing in ["", " \n ", "[]"] {
            assert_eq!(Anchor::all_of(nothing.as_bytes()), Err(NoAnchor::Empty));
        }
        let many = format!("{good}\n").repeat(MOST_ANCHORS + 1);
        assert_eq!(Anchor::all_of(many.as_bytes()), Err(NoAnchor::TooMany));
    }
}
