//! Small copies of the pictures of a series, as the page embeds them.
//!
//! In: the bytes of small copies, from the state folder or from a page. Out: what the page shows for each entry
//! `pictured`, and where a page shows other bytes than its entry names.
//!
//! Each copy is in the page once. Its bytes are needed to make the page again, so they are taken from the page, and
//! each is compared with the digest in its entry.

use super::Report;
use super::check::Difference;
use super::gather::{Gathered, Record};
use crate::entry::line::Digest;
use crate::entry::{Entry, Pictured, Seq, SeriesEntry};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use std::collections::{BTreeMap, HashMap};

/// Maximum number of pictures on the sheet of a series. The others are in the appendix.
pub(super) const MOST_ON_SHEET: usize = 6;
/// Maximum size of a copy that a page embeds, in bytes. A copy of [`crate::pictures::COPY_SIDE`] pixels is smaller.
const MOST_BYTES: usize = 512 * 1024;
/// The text before the number of the entry, and the text before the bytes.
const BEFORE: [&str; 2] = ["<img class=\"copy\" id=\"p", "\" src=\""];
const PREFIX: &str = "data:image/jpeg;base64,";

/// The small copies of a page, by the number of the entry `pictured`.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Copies(BTreeMap<Seq, Vec<u8>>);

impl Copies {
    /// Reads each copy that the page of these series shows. `read` gives the bytes with this digest, if they exist.
    pub fn read(
        gathered: &Gathered,
        full: bool,
        mut read: impl FnMut(Seq, Digest) -> Option<Vec<u8>>,
    ) -> Self {
        let most = most_shown(full);
        let all = gathered.series.iter();
        let all = all.flat_map(|record| pictured(record).take(most));
        let copies = all.filter_map(|(seq, pictured)| Some((seq, read(seq, pictured.shown)?)));
        Self(
            copies
                .filter(|(_, bytes)| bytes.len() <= MOST_BYTES)
                .collect(),
        )
    }

    /// The copies that a page embeds. Text of the page is escaped, so no other `<img` can stand in it.
    pub(super) fn of_page(text: &str) -> Self {
        let [before_entry, before_bytes] = BEFORE;
        let copies = text.split(before_entry).skip(1).filter_map(|behind| {
            let (seq, behind) = behind.split_once(before_bytes)?;
            let (coded, _) = behind.strip_prefix(PREFIX)?.split_once('"')?;
            Some((seq.parse().ok().map(Seq)?, STANDARD.decode(coded).ok()?))
        });
        Self(copies.collect())
    }

    /// The address that holds the copy of an entry; `None` if the page has none.
    pub(super) fn data_url(&self, seq: Seq) -> Option<String> {
        let bytes = self.0.get(&seq)?;
        Some(format!("{PREFIX}{}", STANDARD.encode(bytes)))
    }

    /// Whether there are no copies.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Whether the page has the copy of this entry.
    pub(super) fn has(&self, seq: Seq) -> bool {
        self.0.contains_key(&seq)
    }
}

/// Maximum number of pictures of a series on a page; with the appendix all are shown.
pub(super) const fn most_shown(full: bool) -> usize {
    if full { usize::MAX } else { MOST_ON_SHEET }
}

/// The pictures of a series with the numbers of their entries, in order.
pub(super) fn pictured(record: &Record) -> impl Iterator<Item = (Seq, &Pictured)> {
    let id = record.series.id;
    record.entries.iter().filter_map(move |stamped| {
        let Entry::Series(SeriesEntry::Pictured(pictured)) = &stamped.entry else {
            return None;
        };
        (pictured.series == id).then_some((stamped.seq, pictured))
    })
}

/// The subject of a picture: `piece 3` or `the series`.
pub(super) fn subject(pictured: &Pictured) -> String {
    match pictured.piece {
        Some(piece) => format!("piece {piece}"),
        None => "the series".to_owned(),
    }
}

/// Pictures whose bytes in the page differ from the digest in their entry.
pub(super) fn differences(report: &Report) -> Vec<Difference> {
    let all = report.series.iter();
    let all: Vec<(Seq, Seq, &Pictured)> = all
        .flat_map(|facts| {
            let id = facts.record.series.id;
            pictured(&facts.record).map(move |(seq, pictured)| (id, seq, pictured))
        })
        .collect();
    let owners: HashMap<Digest, Seq> = all.iter().map(|(_, seq, it)| (it.shown, *seq)).collect();
    let wrong = all.iter().filter_map(|(series, seq, pictured)| {
        let got = Digest::of(report.asked.copies.0.get(seq)?);
        if got == pictured.shown {
            return None;
        }
        let got = match owners.get(&got) {
            Some(other) => format!("the picture of entry {other} (SHA-256 {got})"),
            None => format!("a picture that the journal does not have (SHA-256 {got})"),
        };
        Some(Difference {
            about: format!(
                "series {series}, picture of {} (entry {seq})",
                subject(pictured)
            ),
            reported: Some(got),
            journal: Some(format!("the picture with SHA-256 {}", pictured.shown)),
        })
    });
    wrong.collect()
}
