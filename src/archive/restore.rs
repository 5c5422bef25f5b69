//! Makes a state folder from an archive.

use super::{ArchiveError, BESIDE, names_in};
use crate::durable::{Access, failed, make_folder, put};
use crate::entry::line::Digest;
use crate::entry::{JournalId, Seq};
use crate::journal::{Dir, JOURNAL_FOLDER, StateLock};
use std::fs;
use std::path::Path;

/// Copies journal, pictures and time stamps into a state folder that has no journal. `end` is the identity of the
/// journal and its last entry with its digest. If others know a later entry, `known`, the next start of the daemon
/// requires that a person accepts the loss, so that no number is used twice. Returns the number of copied files.
pub(crate) fn restore(
    archive: &Path,
    state_dir: &Path,
    (journal, last, digest): (&JournalId, Seq, Digest),
    known: Option<Seq>,
) -> Result<u64, ArchiveError> {
    let path = state_dir.join(JOURNAL_FOLDER);
    if let Some(there) = Dir::open_if_there(&path)?
        && !there.segments()?.is_empty()
    {
        return Err(ArchiveError::Occupied { path });
    }
    let lock = StateLock::take(state_dir)?;
    let mut copied = 0;
    for folder in [JOURNAL_FOLDER].into_iter().chain(BESIDE) {
        let to = state_dir.join(folder);
        for name in names_in(&archive.join(folder))? {
            make_folder(&to, 0o700).map_err(failed("make the folder", &to))?;
            copy(&archive.join(folder).join(&name), &to.join(&name))?;
            copied += 1;
        }
    }
    let end = match known.filter(|known| *known > last) {
        Some(known) => (known, Digest::NONE),
        None => (last, digest),
    };
    lock.note(journal, end);
    Ok(copied)
}

fn copy(from: &Path, to: &Path) -> Result<(), ArchiveError> {
    let bytes = fs::read(from).map_err(failed("read", from))?;
    put(to, &bytes, true, Access::Private).map_err(failed("write", to))?;
    Ok(())
}
