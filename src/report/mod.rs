//! Evidence for a customer or an auditor: series as one HTML page that needs nothing else.
//!
//! In: what a [`Gathering`] took from the journal, and what was requested. Out: a [`Report`], and from it the text of
//! the page. The same journal, range and question give the same page, byte for byte, on every machine: so
//! [`check`] renders it again and compares, and whatever a reader sees is covered, pictures too.
//!
//! - No clock: the time of making the page is an argument. Nothing from outside and no float arithmetic is used. The
//!   only script is that of a checkable page, which the policy allows by its digest.
//! - Every value becomes markup in one place (`markup`).
//! - What does not count is shown with its reason, never left out.

pub mod check;
pub mod comparison;
mod copies;
mod data;
mod document;
mod facts;
mod gather;
mod lane;
mod lines;
mod picture;
pub(crate) mod pulls;
mod qualified;
mod run_line;
mod words;

pub use copies::Copies;
pub use data::Made;
pub use facts::{Facts, ReportReading};
pub use gather::{Gathered, Gathering, Record, Verification, Wants};
pub use lines::{Collecting, Lines, TooMany};
pub use qualified::QualifiedReport;

use comparison::{Compare, Compared};

use crate::entry::line::Digest;
use crate::entry::production::history::RunRecord;
use crate::entry::{JournalId, Seq};
use crate::letterhead::Letterhead;
use crate::qualification::Frame;
use crate::quantity::{WallMicros, Zone};
use std::sync::Arc;

/// The version of the layout of the page and its data. A page of another layout cannot be made again here, so it is not
/// verified. Raise it with every change of the page after a release.
pub const LAYOUT: u32 = 3;

/// The releases that make this layout; a page names one of them. A new layout begins a new list.
pub const RELEASES: &[&str] = &["0.1.0"];

/// A page lists the offsets of its zone from this long before its first series was opened, because it may show the date
/// of an earlier calibration or verification.
const EARLIER_MICROS: i64 = 2 * 366 * 24 * 60 * 60 * 1_000_000;

/// The beginning of every page, by which a file is recognised as ours.
pub const HEAD: &str = "<!DOCTYPE html>\n<!-- report of tallyjaw -->\n";

/// What a report is to contain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReportRequest {
    /// The query by which the series were chosen, each option with its value; empty if they were named.
    pub query: Vec<(String, String)>,
    /// The groups of readings that are shown side by side.
    pub compare: Option<Compare>,
    /// Whether it has an appendix: figures, pictures, and each reading with its time and entry.
    pub full: bool,
    /// The rows and columns of a report of qualifications, if that is requested; such a report has no series.
    pub qualified: Option<Frame>,
    /// The time at which the page is made.
    pub made: WallMicros,
    /// The zone of its times.
    pub zone: Zone,
    /// The release that makes the page.
    pub version: String,
    /// The letterhead of the shop. It is from the configuration; the journal does not know it.
    pub letterhead: Arc<Letterhead>,
    /// The small copies of pictures that exist.
    pub copies: Arc<Copies>,
    /// The journal's lines for a checkable page, so that a reader's browser can recompute it.
    pub lines: Option<Arc<Lines>>,
}

/// Everything that the page says.
#[derive(Debug, Clone)]
pub struct Report {
    /// What was requested.
    pub asked: ReportRequest,
    /// Random id, in the first entry of every segment.
    pub journal: JournalId,
    /// Its first entry.
    pub first: Seq,
    /// The last entry that the report includes.
    pub last: Seq,
    /// The digest of its line.
    pub digest: Digest,
    /// Fingerprint of the key of the bench at that entry; `None` if it has none.
    pub key: Option<String>,
    /// The production run that the report is of; its samples are the series.
    pub run: Option<RunRecord>,
    /// The qualifications of the shop.
    pub qualified: Option<QualifiedReport>,
    /// The series, in the order in which they were opened.
    pub series: Vec<Facts>,
    /// Groups of readings side by side, one axis after the other; empty unless requested.
    pub compared: Vec<Compared>,
}

impl Report {
    /// The report for the collected data.
    pub fn new(gathered: Gathered, mut asked: ReportRequest) -> Self {
        let opened = gathered.series.iter().map(|record| record.series.opened);
        let from = opened.min().unwrap_or(asked.made).0;
        let from = WallMicros(from.saturating_sub(EARLIER_MICROS));
        // The zone is reduced to the offsets that the page lists, because the page is made again with those.
        let offsets = asked.zone.offsets(from, asked.made);
        let listed = Zone::listed(offsets, asked.zone.name());
        asked.zone = listed.unwrap_or(Zone::UTC);
        let series = gathered.series.into_iter();
        let series: Vec<Facts> = series
            .map(|record| Facts::of(record, asked.zone.clone()))
            .collect();
        let qualified = asked.qualified.clone().zip(gathered.state.as_ref());
        let qualified =
            qualified.map(|(frame, state)| QualifiedReport::new(frame, state, asked.made));
        let axis = asked.query.iter().find(|(option, _)| option == "--axis");
        let axis = axis.map(|(_, axis)| axis.as_str());
        let compared = asked
            .compare
            .as_ref()
            .map(|compare| comparison::compared(&series, compare, axis));
        Self {
            compared: compared.unwrap_or_default(),
            journal: gathered.journal,
            first: gathered.first,
            last: gathered.last,
            digest: gathered.digest,
            key: gathered.key,
            run: gathered.run,
            qualified,
            series,
            asked,
        }
    }

    /// The page: one HTML file.
    pub fn html(&self) -> String {
        document::written(self).text
    }
}
