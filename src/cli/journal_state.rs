//! What the journal amounts to, for commands that show more than the configuration.
//!
//! In: the journal's newest segment, which holds the whole state up to its beginning. Out: the state at its durable end.

use super::Failure;
use super::query::lines;
use crate::config::DaemonConfig;
use crate::entry::State;
use crate::journal::{Cursor, JOURNAL_FOLDER};
use std::ops::ControlFlow;

/// The state; the empty one where there is no journal yet.
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
