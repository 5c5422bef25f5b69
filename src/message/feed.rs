//! The feed: what is said to a client beside state and entries, and what it may ask.

use super::VERSION;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The first line on the feed.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct Hello {
    /// `hello`.
    pub kind: String,
    /// The version of the messages.
    pub v: u32,
    /// The journal's name; with an entry's seq it is the entry's address in the world.
    pub journal: String,
    /// The daemon's version.
    pub version: String,
    /// The oldest entry that can be sent.
    pub first: u64,
    /// The newest durable entry; the state that follows is of this moment.
    pub last: u64,
}

impl Hello {
    /// Of a journal with entries `first` to `last`.
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

/// Something that a client must know and that is no entry: `error`, `journal_failed`, …
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Notice {
    /// `error` is about what this client sent; `journal_failed`, `journal_full`,
    /// `journal_stalled`, `journal_resumed` and `stopping` are about the daemon.
    pub kind: String,
    /// What happened.
    pub message: String,
    /// What a person can do about it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
}

impl Notice {
    /// Values of `kind`, as a subscriber chooses them.
    pub const KINDS: [&str; 6] = [
        "error",
        "journal_failed",
        "journal_full",
        "journal_stalled",
        "journal_resumed",
        "stopping",
    ];

    /// A notice of this kind.
    pub fn new(kind: &str, message: impl Into<String>, remedy: Option<&str>) -> Self {
        Self {
            kind: kind.to_owned(),
            message: message.into(),
            remedy: remedy.map(str::to_owned),
        }
    }
}

/// What a client of the feed asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FeedRequest {
    /// Everything after this entry, then live.
    After(u64),
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct AfterForm {
    after: u64,
}

impl FeedRequest {
    /// What a client may send.
    pub(super) fn schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
        generator.subschema_for::<AfterForm>()
    }

    /// Reads one line of a client; what it cannot be is said in a notice.
    pub fn parse(line: &[u8]) -> Result<Self, Notice> {
        // By way of an object, since a list of the right length would be taken for the form too.
        let form = serde_json::from_slice::<serde_json::Map<_, _>>(line)
            .and_then(|object| serde_json::from_value::<AfterForm>(object.into()));
        match form {
            Ok(form) => Ok(Self::After(form.after)),
            Err(error) => Err(Notice::new(
                "error",
                format!("not a request: {error}"),
                Some(
                    "send {\"after\":N} to get everything after entry N; nothing else is understood here",
                ),
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn after_is_all_that_a_feed_client_can_ask() {
        assert_eq!(
            FeedRequest::parse(b"{\"after\":17}"),
            Ok(FeedRequest::After(17))
        );
        for rubbish in [
            &b""[..],
            b"\xff\xfe\x00",
            b"{\"after\":-1}",
            b"{\"after\":1.5}",
            b"{\"after\":1,\"before\":2}",
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
