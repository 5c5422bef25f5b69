//! Checks the signing key: whether it exists, belongs to its user alone, and is the one that the journal names.

use super::{Finding, Is, bench};
use crate::cli::journal_state;
use crate::clients::{self, Seen};
use crate::config::DaemonConfig;
use crate::durable::secret::SecretError;
use crate::entry::State;
use crate::entry::seal::KeyInUse;
use crate::signing::{Key, KeyError};
use std::path::Path;

/// Compares the key in the state folder with the journal.
pub(super) fn look(daemon: &DaemonConfig) -> Vec<Finding> {
    let key = match Key::open(&daemon.state_dir) {
        Ok(key) => key,
        Err(error) => {
            let is_unread = matches!(error, KeyError::Secret(SecretError::Io(_)));
            let refused = if is_unread { "" } else { "it is refused: " };
            let says = format!("{refused}{error}");
            return vec![new(Is::Wrong, says).help(error.remedy())];
        }
    };
    let state = match journal_state::read(daemon) {
        Ok(state) => state,
        Err(failure) => {
            return vec![new(Is::Wrong, failure.to_string()).help_of(failure.remedy())];
        }
    };
    let control = bench::control_of(daemon);
    let is_running = matches!(clients::look(&control), Ok(Seen::Listens { .. }));
    let mut findings = vec![match (&key, &state.key) {
        (None, None) => new(Is::Note, "there is none: outcomes are not sealed")
            .help("tallyjaw key make && tallyjaw reload; what it is for: docs/verify.md"),
        (None, Some(known)) => new(
            Is::Wrong,
            format!(
                "it is gone, and the journal names {}: nothing is sealed after the next start or reload",
                known.key
            ),
        )
        .help("put it back, or go on with a new one: tallyjaw key make && tallyjaw reload"),
        (Some(key), Some(known)) if known.key == key.public().fingerprint() => {
            new(Is::Good, format!("{}, as the journal names it", known.key))
        }
        (Some(key), known) => another(key, known.as_ref(), &daemon.state_dir, is_running),
    }];
    if !is_running {
        findings.extend(left_unsealed(&state));
    }
    findings
}

/// The finding if the key in the file is not the one that the journal names.
fn another(key: &Key, known: Option<&KeyInUse>, state_dir: &Path, is_running: bool) -> Finding {
    let own = key.public();
    let is_vouched_for = |known: &KeyInUse| {
        let made = key.handover(state_dir);
        made.is_some_and(|made| made.by().fingerprint() == known.key)
    };
    match known {
        Some(known) if !is_vouched_for(known) => {
            let says = format!(
                "{own} is in the file, the journal names {}, and that one does not vouch for it",
                known.key
            );
            let go_on = if is_running {
                "tallyjaw reload"
            } else {
                "tallyjaw serve"
            };
            new(Is::Wrong, says).help(format!(
                "put the old key back; if it is lost, go on with this one: {go_on}"
            ))
        }
        _ if is_running => {
            new(Is::Wrong, format!("the daemon has not begun to use {own}")).help("tallyjaw reload")
        }
        _ => new(
            Is::Note,
            format!("{own} is not in use yet; it begins with the next start"),
        )
        .help("start the daemon: tallyjaw serve"),
    }
}

/// The finding if entries other than the last seal itself are not sealed.
fn left_unsealed(state: &State) -> Option<Finding> {
    let (known, last) = (state.key.as_ref()?, state.last?);
    let up_to = known.up_to.map_or(0, |up_to| up_to.0);
    if last.0.saturating_sub(up_to) < 2 {
        return None;
    }
    let says = match known.up_to {
        Some(up_to) => {
            format!("the last seal covers entries up to {up_to}, the last entry is {last}")
        }
        None => format!("the journal has no seal yet, the last entry is {last}"),
    };
    let help = "with its key, the daemon seals them at its next start: tallyjaw serve";
    Some(new(Is::Note, says).help(help))
}

fn new(is: Is, says: impl Into<String>) -> Finding {
    Finding::new("signing key", is, says)
}
