//! Messages of the feed beside state and entries, and what a client may send.

use super::VERSION;
use crate::texts::{Texts, gather};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

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

/// Something that a client must know and that is not in the journal: `error`, `journal_failed`, …
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Notice {
    /// Kind of notice: `error` concerns what this client sent; `journal_failed`, `journal_full`, `journal_stalled`,
    /// `journal_resumed` and `stopping` concern the daemon.
    pub kind: String,
    /// What happened.
    pub message: String,
    /// What to do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
}

impl Notice {
    /// The values of `kind`, by which a subscriber can choose.
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

#[derive(Serialize)]
struct NoticeWithTexts {
    #[serde(flatten)]
    notice: Notice,
    #[serde(skip_serializing_if = "Texts::is_empty")]
    texts: Texts,
}

/// A request of a feed client.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FeedRequest {
    /// Send every entry after this number, then new ones as they become durable.
    After(u64),
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct AfterForm {
    after: u64,
}

impl FeedRequest {
    /// The schema of what a client may send.
    pub(super) fn schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
        generator.subschema_for::<AfterForm>()
    }

    /// Reads one line of a client; a line that is no request gives a notice to send back.
    pub fn parse(line: &[u8]) -> Result<Self, Notice> {
        // Read as an object first, because serde would accept a list of the right length too.
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
