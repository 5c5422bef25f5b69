//! Entries as `CloudEvents` 1.0: JSON format (structured, batch) and HTTP binding (binary).
//!
//! The attributes of an entry are `id` (`JOURNAL/SEQ`), `source`, `type`, `subject` (the station, if it has one), `time`,
//! `datacontenttype` and `dataschema`, and as extensions its anchor: `journal`, `seq` and `digest`. Its data is the line as
//! stored, digit by digit.

use super::super::SinkError;
use crate::config::WebhookMode;
use crate::entry::{Anchor, JournalId, Seq};
use crate::journal::{JournalError, Line};
use crate::message::VERSION;
use crate::message::cloud_event::CloudEvent;
use percent_encoding::{AsciiSet, CONTROLS, utf8_percent_encode};

/// The specification, and the registered types of content.
const SPECIFICATION: &str = "1.0";
const STRUCTURED: &str = "application/cloudevents+json; charset=utf-8";
const BATCH: &str = "application/cloudevents-batch+json; charset=utf-8";
const DATA: &str = "application/json";
/// The largest Integer of the specification.
const LARGEST: Seq = Seq(2_147_483_647);

/// A request: headers and body.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Request {
    pub(crate) headers: Vec<(&'static str, String)>,
    pub(crate) body: Vec<u8>,
}

/// The event of a line.
fn event<'a>(line: &'a Line, journal: &str) -> Result<CloudEvent<'a>, SinkError> {
    let stamped = line.entry()?;
    let data = std::str::from_utf8(&line.bytes).ok();
    let data = data.and_then(|text| serde_json::from_str(text).ok());
    let anchor = || Anchor::of_line(&JournalId(journal.to_owned()), line.seq, &line.bytes);
    Ok(CloudEvent {
        specversion: SPECIFICATION,
        id: format!("{journal}/{}", line.seq),
        source: format!("urn:tallyjaw:journal:{journal}"),
        kind: format!("tallyjaw.{}", stamped.entry.kind()),
        subject: stamped.entry.station().map(str::to_owned),
        time: stamped.at.to_string(),
        datacontenttype: DATA,
        dataschema: format!("urn:tallyjaw:schema:{VERSION}:entry"),
        anchor: (line.seq <= LARGEST).then(anchor),
        data: data.ok_or(JournalError::Missing { seq: line.seq })?,
    })
}

/// The attributes as headers of the HTTP binding.
fn headers(event: &CloudEvent<'_>) -> Vec<(&'static str, String)> {
    let mut headers = vec![
        ("content-type", event.datacontenttype.to_owned()),
        ("ce-specversion", event.specversion.to_owned()),
        ("ce-id", encoded(&event.id)),
        ("ce-source", encoded(&event.source)),
        ("ce-type", encoded(&event.kind)),
        ("ce-time", encoded(&event.time)),
        ("ce-dataschema", encoded(&event.dataschema)),
    ];
    if let Some(subject) = &event.subject {
        headers.push(("ce-subject", encoded(subject)));
    }
    if let Some(Anchor {
        journal,
        seq,
        digest,
    }) = &event.anchor
    {
        let journal = journal.as_ref().map_or("", |journal| &journal.0);
        headers.extend([
            ("ce-journal", encoded(journal)),
            ("ce-seq", seq.to_string()),
            ("ce-digest", digest.to_string()),
        ]);
    }
    headers
}

/// Encodes a value for a header, by section 3.1.3.2 of the HTTP binding: blanks, quotes, `%`, and all that is not
/// printable ASCII.
pub(crate) fn encoded(value: &str) -> String {
    const SET: &AsciiSet = &CONTROLS.add(b' ').add(b'"').add(b'%');
    utf8_percent_encode(value, SET).to_string()
}

/// The request for these lines; in all modes but [`WebhookMode::Batch`] for the first of them.
pub(crate) fn request(
    lines: &[Line],
    journal: &str,
    mode: WebhookMode,
) -> Result<Request, SinkError> {
    let events: Result<Vec<_>, _> = lines.iter().map(|line| event(line, journal)).collect();
    let events = events?;
    let of_kind = |kind: &str| vec![("content-type", kind.to_owned())];
    let json = |value: serde_json::Result<Vec<u8>>| value.unwrap_or_default();
    Ok(match (mode, events.as_slice()) {
        (WebhookMode::Structured, [event, ..]) => Request {
            headers: of_kind(STRUCTURED),
            body: json(serde_json::to_vec(event)),
        },
        (WebhookMode::Binary, [event, ..]) => Request {
            headers: headers(event),
            body: event.data.get().as_bytes().to_vec(),
        },
        (WebhookMode::Batch, events) => Request {
            headers: of_kind(BATCH),
            body: json(serde_json::to_vec(events)),
        },
        (WebhookMode::Structured | WebhookMode::Binary, []) => Request {
            headers: Vec::new(),
            body: Vec::new(),
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_header_is_encoded_as_the_binding_shows() {
        // Section 3.1.3.2 of the HTTP binding: "Euro € 😀" → "Euro%20%E2%82%AC%20%F0%9F%98%80".
        assert_eq!(
            encoded("Euro € \u{1f600}"),
            "Euro%20%E2%82%AC%20%F0%9F%98%80"
        );
        assert_eq!(encoded("a%\"b\u{7f}"), "a%25%22b%7F");
    }
}
