//! One series with all its readings, from the files of the journal.

use crate::entry::Seq;
use crate::entry::history::OneSeries;
use crate::index::Index;
use crate::message::series::SeriesMessage;
use std::collections::BTreeSet;
use std::path::Path;

/// The series as a line of JSON; `None` if there is no such series up to entry `last`.
pub(super) fn find(state_dir: &Path, wanted: Seq, last: Seq) -> Result<Option<Vec<u8>>, String> {
    let index = Index::open(state_dir, last);
    let plan = index.map(|mut index| index.plan(&BTreeSet::from([wanted])));
    let plan = plan.map_err(|error| error.to_string())?;
    let mut lines = plan
        .lines(Seq(0), last)
        .map_err(|error| error.to_string())?;
    let mut one = OneSeries::new(wanted);
    while let Some(line) = lines.next_line().map_err(|error| error.to_string())? {
        one.take(&line.entry().map_err(|error| error.to_string())?);
    }
    let found = one.finish();
    let message = found.map(|(listed, entries)| SeriesMessage::with_readings(&listed, &entries));
    Ok(message.map(|series| crate::message::line(&series)))
}
