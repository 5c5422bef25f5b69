//! The report of one series. It is the same as from `tallyjaw report`, and can be verified like it.
#![expect(
    clippy::disallowed_methods,
    reason = "edge: a report says when it was made"
)]

use crate::album::Album;
use crate::entry::Seq;
use crate::entry::line::{self, Digest};
use crate::index::Index;
use crate::letterhead::Letterhead;
use crate::quantity::{WallMicros, Zone};
use crate::report::{Gathering, Report, ReportRequest};
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;
use std::time::SystemTime;

/// The report as one HTML page; `None` if there is no such series up to entry `last`.
pub(super) fn make(
    state_dir: &Path,
    (wanted, last): (Seq, Seq),
    (version, zone, letterhead): (String, Zone, Arc<Letterhead>),
) -> Result<Option<String>, String> {
    let index = Index::open(state_dir, last);
    let plan = index.map(|mut index| index.plan_of_reports(&BTreeSet::from([wanted])));
    let plan = plan.map_err(|error| error.to_string())?;
    let mut lines = plan
        .lines(Seq(0), last)
        .map_err(|error| error.to_string())?;
    let mut gathering = Gathering::new(|id, _, _| id == wanted);
    while let Some(read) = lines.next_line().map_err(|error| error.to_string())? {
        let (stamped, _) = line::decode(&read.bytes).map_err(|error| error.to_string())?;
        gathering.take(&stamped, Digest::of(&read.bytes));
    }
    let gathered = gathering.finish();
    let Some(gathered) = gathered.filter(|gathered| !gathered.series.is_empty()) else {
        return Ok(None);
    };
    let (copies, missing) = Album::new(state_dir).copies(&gathered, false);
    for picture in missing {
        tracing::warn!("{picture}; the report of series {wanted} says so");
    }
    let asked = ReportRequest {
        lines: None,
        copies: Arc::new(copies),
        compare: None,
        full: false,
        qualified: None,
        query: Vec::new(), // The series was named.
        made: now(),
        zone,
        version,
        letterhead,
    };
    Ok(Some(Report::new(gathered, asked).html()))
}

pub(super) fn now() -> WallMicros {
    let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH);
    let micros = since.map_or(0, |since| since.as_micros());
    WallMicros(i64::try_from(micros).unwrap_or(i64::MAX))
}
