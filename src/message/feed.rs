//! Messages of the feed beside state and entries, and what a client may send.

use super::VERSION;
use crate::texts::{Texts, gather};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Maximum length of a line of the feed in bytes; a `segment` holds the whole state.
pub const LONGEST_FEED_LINE: u64 = 64 * 1024 * 1024;

/// The first line on the feed.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct Hello {
    /// `hello`.
    pub kind: String,
    /// The version of the messages.
    pub v: u32,
    /// Identity of the journal. Together with an entry's seq it identifies the entry worldwide.
    pub journal: String,
    /// Version of the daemon.
    pub version: String,
    /// Oldest entry that can be sent.
    pub first: u64,
    /// Newest durable entry. The state that follows includes it and nothing later.
    pub last: u64,
}

impl Hello {
    /// The message for a journal that holds entries `first` to `last`.
    pub fn new(journal: &str, version: &str, first: u64, last: u64) -> Self {
        Self {
            kind: "hello".to_owned(),
            v: VERSION,
            journal: journal.to_owned(),
            version: version.to_owned(),
            first,
            last,
        }
    }
}

/// Something that a client must know and that is not in the journal: `error`, `entries_missing`, `journal_failed`, …
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Notice {
    /// Kind of notice: `error` concerns what this client sent; `entries_missing`, that entries which it lacks are gone and that
    /// those behind them follow; `journal_failed`, `journal_full`, `journal_stalled` and `journal_resumed` concern the
    /// daemon.
    pub kind: String,
    /// What happened.
    pub message: String,
    /// What to do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
    /// The connection ends after this notice; left out where it goes on.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub ends: bool,
}

impl Notice {
    /// The values of `kind`, by which a subscriber can choose.
    pub const KINDS: [&str; 6] = [
        "error",
        "entries_missing",
        "journal_failed",
        "journal_full",
        "journal_stalled",
        "journal_resumed",
    ];

    /// A notice of this kind.
    pub fn new(kind: &str, message: impl Into<String>, remedy: Option<&str>) -> Self {
        Self {
            kind: kind.to_owned(),
            message: message.into(),
            remedy: remedy.map(str::to_owned),
            ends: false,
        }
    }

    /// The same, and the connection ends after it.
    #[must_use]
    pub fn ending(self) -> Self {
        Self { ends: true, ..self }
    }

    /// The client requested entries that do not exist yet.
    pub fn beyond(after: impl fmt::Display, last: impl fmt::Display) -> Self {
        Self::new(
            "error",
            format!("got after {after}, but the newest entry is {last}"),
            Some(
                "compare `journal` with the one that you know, since it may be another journal; then ask for an entry that exists",
            ),
        )
    }

    /// The client lacks entries `from` to `to`, which are gone; it gets those behind them.
    pub fn missing(from: impl fmt::Display, to: impl fmt::Display) -> Self {
        Self::new(
            "entries_missing",
            format!("entries {from} to {to} are not in the journal's files any more"),
            Some(
                "see what is missing: tallyjaw verify; segments that were moved away can be put back",
            ),
        )
    }

    /// As a line for the page, with the keys of what it says in the table of texts.
    pub fn line_with_texts(self) -> Vec<u8> {
        let mut texts = Texts::new();
        gather(&mut texts, [self.message.as_str()]);
        gather(&mut texts, self.remedy.as_deref());
        super::line(&NoticeWithTexts {
            notice: self,
            texts,
        })
    }
}

/// A notice as an event of the page.
#[derive(Serialize, JsonSchema)]
pub(super) struct NoticeWithTexts {
    #[serde(flatten)]
    notice: Notice,
    /// What it says as keys of the table of texts, where that has it.
    #[serde(default, skip_serializing_if = "Texts::is_empty")]
    texts: Texts,
}

/// A request of a feed client; at least one of the two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FeedRequest {
    /// Send every entry after this number, then new ones as they become durable.
    #[serde(default)]
    pub after: Option<u64>,
    /// When the state is sent: `first`, at the beginning only, or `each`, also after each change.
    #[serde(default)]
    pub state: Option<StateSent>,
}

/// When the state is sent, on the feed and as an event of the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum StateSent {
    /// At the beginning only.
    First,
    /// Also after each change. Changes that come together give one state, after their entries.
    Each,
}

impl StateSent {
    /// Reads the word of a request.
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "first" => Some(Self::First),
            "each" => Some(Self::Each),
            _ => None,
        }
    }
}

impl FeedRequest {
    /// The schema of what a client may send.
    pub(super) fn schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
        let mut schema = generator.subschema_for::<Self>();
        schema.insert("minProperties".to_owned(), 1.into());
        schema
    }

    /// Reads one line of a client; a line that is no request gives a notice to send back.
    pub fn parse(line: &[u8]) -> Result<Self, Notice> {
        // Read as an object first, because serde would accept a list of the right length too.
        let object = serde_json::from_slice::<serde_json::Map<_, _>>(line);
        let form = object.and_then(|object| serde_json::from_value::<Self>(object.into()));
        let wrong = match form {
            Ok(Self {
                after: None,
                state: None,
            }) => "neither after nor state".to_owned(),
            Ok(form) => return Ok(form),
            Err(error) => error.to_string(),
        };
        Err(Notice::new(
            "error",
            format!("not a request: {wrong}"),
            Some(
                "send {\"after\":N} to get everything after entry N, {\"state\":\"each\"} to get the state after each change, or both in one",
            ),
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn after_and_the_state_are_all_that_a_feed_client_can_ask() {
        let asked = |after, state| Ok(FeedRequest { after, state });
        let each = Some(StateSent::Each);
        for (line, want) in [
            (r#"{"after":17}"#, asked(Some(17), None)),
            (r#"{"state":"each"}"#, asked(None, each)),
            (r#"{"state":"each","after":0}"#, asked(Some(0), each)),
        ] {
            assert_eq!(FeedRequest::parse(line.as_bytes()), want);
        }
        for rubbish in [
            &b""[..],
            b"\xff\xfe\x00",
            b"{\"after\":-1}",
            b"{\"after\":1.5}",
            b"{\"after\":1,\"before\":2}",
            b"{}",
            b"{\"after\":null}",
            b"{\"state\":\"some\"}",
            b"[17]",
            b"17",
        ] {
            let notice = FeedRequest::parse(rubbish).unwrap_err();
            assert_eq!(notice.kind, "error");
            assert!(notice.remedy.is_some());
        }
    }

    #[test]
    fn hello_reads_as_in_the_contract() {
        let line = super::super::line(&Hello::new("ab12", "0.1.0", 1, 41));
        assert_eq!(
            String::from_utf8(line).unwrap(),
            "{\"kind\":\"hello\",\"v\":1,\"journal\":\"ab12\",\"version\":\"0.1.0\",\"first\":1,\"last\":41}\n"
        );
    }
}
