//! An entry as an event of `CloudEvents` 1.0, in its JSON format, as a webhook sends it.

use crate::entry::Anchor;
use serde::Serialize;
use serde_json::value::RawValue;

/// An event: attributes, and the entry as its data.
#[derive(Debug, Serialize)]
pub(crate) struct CloudEvent<'a> {
    /// Version of the specification.
    pub(crate) specversion: &'static str,
    /// `JOURNAL/SEQ`, which identifies the entry.
    pub(crate) id: String,
    /// The journal, as a URI.
    pub(crate) source: String,
    /// `tallyjaw.` and the kind of the entry.
    #[serde(rename = "type")]
    pub(crate) kind: String,
    /// The station; left out if the entry has none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) subject: Option<String>,
    /// When it was entered, UTC, RFC 3339.
    pub(crate) time: String,
    /// Type of the data.
    pub(crate) datacontenttype: &'static str,
    /// The schema of the data, by its `$id`.
    pub(crate) dataschema: String,
    /// The attributes `journal`, `seq` and `digest` of the entry's line: extensions of ours. Left out where `seq` is beyond
    /// the type Integer of the specification, 2147483647.
    #[serde(flatten)]
    pub(crate) anchor: Option<Anchor>,
    /// The entry as stored.
    pub(crate) data: &'a RawValue,
}
