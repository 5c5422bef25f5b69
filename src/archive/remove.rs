//! Removes old segments from a state folder that an archive has.

use super::ArchiveError;
use crate::album::{Album, Named, pictured};
use crate::durable::failed;
use crate::entry::Seq;
use crate::entry::line::{Digest, decode};
use crate::journal::{Dir, JOURNAL_FOLDER, StateLock};
use crate::quantity::WallMicros;
use std::fs::{self, File};
use std::path::Path;

/// What was removed, or would be.
#[derive(Debug)]
pub(crate) struct Removed {
    /// Number of segments.
    pub(crate) segments: usize,
    /// Number of pictures; each was removed with its small copy.
    pub(crate) pictures: usize,
    /// The last removed entry, and the digest of its line: the first remaining line names it.
    pub(crate) last: Option<(Seq, Digest)>,
}

/// Removes the segments whose last entry is older than `before`, from the oldest one, each only if the archive has all
/// of it; and the pictures that only they name. The newest segment stays. The daemon must not run. With `is_dry` nothing
/// is removed, and the daemon may run.
pub(crate) fn remove_before(
    state_dir: &Path,
    archive: &Path,
    before: WallMicros,
    is_dry: bool,
) -> Result<Removed, ArchiveError> {
    let _lock = if is_dry {
        None
    } else {
        Some(StateLock::take(state_dir)?)
    };
    let folder = state_dir.join(JOURNAL_FOLDER);
    let mut numbers = Dir::open(&folder)?.segments()?;
    numbers.pop();
    let mut last_removed = None;
    let mut gone = Named::default();
    let mut old = Vec::new();
    for number in numbers {
        let path = folder.join(number.file_name());
        let bytes = fs::read(&path).map_err(failed("read", &path))?;
        let last = bytes.strip_suffix(b"\n").unwrap_or(&bytes);
        let last = last.rsplit(|byte| *byte == b'\n').next().unwrap_or(last);
        let Ok((stamped, _)) = decode(last) else {
            break; // A damaged segment is left for a person to examine.
        };
        if stamped.at >= before {
            break;
        }
        let kept = archive.join(JOURNAL_FOLDER).join(number.file_name());
        if !fs::read(&kept).is_ok_and(|kept| kept == bytes) {
            return Err(ArchiveError::Unlike { path: kept });
        }
        bytes
            .split(|byte| *byte == b'\n')
            .for_each(|line| gone.take(line, pictured(line)));
        last_removed = Some((stamped.seq, Digest::of(last)));
        old.push(path);
    }
    let mut left = Named::default();
    for number in Dir::open(&folder)?.segments()? {
        let path = folder.join(number.file_name());
        if old.contains(&path) {
            continue;
        }
        let bytes = fs::read(&path).map_err(failed("read", &path))?;
        bytes
            .split(|byte| *byte == b'\n')
            .for_each(|line| left.take(line, pictured(line)));
    }
    let mut pictures = gone.only_here(&left, &Album::new(state_dir));
    pictures.retain(|path| path.exists());
    let removed = Removed {
        segments: old.len(),
        pictures: pictures.len(),
        last: last_removed,
    };
    if is_dry {
        return Ok(removed);
    }
    // The oldest is removed first, so that after an interruption the journal begins later but has no gap.
    for path in old {
        fs::remove_file(&path).map_err(failed("remove", &path))?;
        File::open(&folder)
            .and_then(|folder| folder.sync_all()) // fsync: the removal, before that of the next one
            .map_err(failed("sync", &folder))?;
    }
    for path in pictures {
        fs::remove_file(&path).map_err(failed("remove", &path))?;
    }
    Ok(removed)
}
