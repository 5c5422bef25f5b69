//! Answers on disk, as they came: `state_dir/timestamps/SEQ.tsr`, and `SEQ.SINK.tsr` of a sink, so that two authorities may
//! be asked about the same entry.

use crate::durable::{Access, Failed, failed, make_folder, put};
use crate::entry::Seq;
use std::fs::{self, File};
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

const FOLDER: &str = "timestamps";
/// A longer file is not an answer.
pub(super) const LONGEST: u64 = 64 * 1024;

/// A stored answer.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Stamp {
    /// The entry that it stamps.
    pub(crate) seq: Seq,
    /// The sink that requested it; `None` if a person did.
    pub(crate) sink: Option<String>,
    /// The answer.
    pub(crate) bytes: Vec<u8>,
}

impl Stamp {
    /// The path of its file, relative to the state folder.
    pub(crate) fn name(&self) -> String {
        name(self.seq, self.sink.as_deref())
    }
}

fn name(seq: Seq, sink: Option<&str>) -> String {
    match sink {
        Some(sink) => format!("{FOLDER}/{seq}.{sink}.tsr"),
        None => format!("{FOLDER}/{seq}.tsr"),
    }
}

/// The entry and the sink in the name of a file; `None` if it is not the name of an answer.
fn named(file_name: &str) -> Option<(Seq, Option<String>)> {
    let stem = file_name.strip_suffix(".tsr")?;
    let (seq, sink) = match stem.split_once('.') {
        Some((seq, sink)) => (seq, Some(sink.to_owned())),
        None => (stem, None),
    };
    Some((Seq(seq.parse().ok()?), sink))
}

/// Every answer in a state folder, by entry; empty if there is no such folder.
pub(crate) fn kept(state_dir: &Path) -> Result<Vec<Stamp>, Failed> {
    let folder = state_dir.join(FOLDER);
    let items = match fs::read_dir(&folder) {
        Ok(items) => items,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(cause) => return Err(failed("list", &folder)(cause)),
    };
    let mut stamps = Vec::new();
    for item in items {
        let path = item.map_err(failed("list", &folder))?.path();
        let file_name = path.file_name().and_then(|name| name.to_str());
        if let Some((seq, sink)) = file_name.and_then(named) {
            let bytes = read(&path, LONGEST)?;
            stamps.push(Stamp { seq, sink, bytes });
        }
    }
    stamps.sort();
    Ok(stamps)
}

/// The answer that a sink has stored for an entry.
pub(crate) fn kept_by(state_dir: &Path, seq: Seq, sink: &str) -> Result<Vec<u8>, Failed> {
    read(&state_dir.join(name(seq, Some(sink))), LONGEST)
}

/// The bytes of a file that a person names: an answer, or certificates.
pub(crate) fn file(path: &Path) -> Result<Vec<u8>, Failed> {
    const LARGEST: u64 = 1 << 20;
    read(path, LARGEST)
}

fn read(path: &Path, most: u64) -> Result<Vec<u8>, Failed> {
    let mut bytes = Vec::new();
    let file = File::open(path).map_err(failed("open", path))?;
    let read = file.take(most).read_to_end(&mut bytes);
    read.map_err(failed("read", path))?;
    Ok(bytes)
}

/// Stores an answer durably. It replaces an earlier one for the same entry by the same sink.
pub(crate) fn keep(state_dir: &Path, stamp: &Stamp) -> Result<PathBuf, Failed> {
    let folder = state_dir.join(FOLDER);
    make_folder(&folder, 0o700).map_err(failed("make the folder", &folder))?;
    let path = state_dir.join(stamp.name());
    put(&path, &stamp.bytes, true, Access::Private).map_err(failed("write", &path))?;
    Ok(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_named_for_entry_and_sink_and_nothing_else_is_taken_for_an_answer() {
        for sink in [None, Some("clock"), Some("tsa.example-2")] {
            let name = name(Seq(412), sink);
            let file = name.strip_prefix("timestamps/").unwrap();
            assert_eq!(named(file), Some((Seq(412), sink.map(str::to_owned))));
        }
        for other in ["412", "a.tsr", ".412.tsr", "412.clock.tsr.tmp", ".tsr"] {
            assert_eq!(named(other), None, "{other}");
        }
    }
}
