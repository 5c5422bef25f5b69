//! One series with all its readings, from the files of the journal.

use crate::entry::Seq;
use crate::entry::history::OneSeries;
use crate::journal::Cursor;
use crate::message::series::SeriesMessage;
use std::path::Path;

/// The series as a line of JSON; `None` if there is no such series up to entry `last`.
pub(super) fn find(state_dir: &Path, wanted: Seq, last: Seq) -> Result<Option<Vec<u8>>, String> {
    let mut cursor = Cursor::new(state_dir, Seq(0)).map_err(|error| error.to_string())?;
    let mut one = OneSeries::new(wanted);
    while let Some(line) = cursor.next_line(last).map_err(|error| error.to_string())? {
        one.take(&line.entry().map_err(|error| error.to_string())?);
    }
    let found = one.finish();
    let message = found.map(|(listed, entries)| SeriesMessage::with_readings(&listed, &entries));
    Ok(message.map(|series| crate::message::line(&series)))
}
