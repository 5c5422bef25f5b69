//! Reads the state of the journal, for commands that work without a daemon.
//!
//! In: the newest segment, which begins with the whole state. Out: the state at the durable end.

use super::Failure;
use super::query::lines;
use crate::config::DaemonConfig;
use crate::entry::State;
use crate::journal::{Cursor, JOURNAL_FOLDER};
use std::ops::ControlFlow;

/// The state; an empty one if there is no journal yet.
pub(super) fn read(daemon: &DaemonConfig) -> Result<State, Failure> {
    let mut state = State::default();
    if let Ok(false) = daemon.state_dir.join(JOURNAL_FOLDER).try_exists() {
        return Ok(state);
    }
    let before = Cursor::before_the_newest_segment(&daemon.state_dir);
    let before = before.map_err(|error| lines::unreadable(daemon, &error))?;
    lines::each(daemon, before, |line| {
        state.apply(&lines::decoded(daemon, line)?);
        Ok(ControlFlow::Continue(()))
    })?;
    Ok(state)
}
