//! Answers on disk: `state_dir/timestamps/SEQ.tsr`, as they came.

use crate::durable::{Access, Failed, failed, make_folder, put};
use crate::entry::Seq;
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

const FOLDER: &str = "timestamps";
/// A longer answer is none.
pub(super) const LONGEST: u64 = 64 * 1024;

/// The answers of a state folder.
#[derive(Debug, Default)]
pub(crate) struct Stamps(pub(crate) BTreeMap<Seq, Vec<u8>>);

impl Stamps {
    /// Reads all of them; none if there is no such folder.
    pub(crate) fn read(state_dir: &Path) -> Result<Self, Failed> {
        let folder = state_dir.join(FOLDER);
        let items = match fs::read_dir(&folder) {
            Ok(items) => items,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Self::default()),
            Err(cause) => return Err(failed("list", &folder)(cause)),
        };
        let mut stamps = Self::default();
        for item in items {
            let path = item.map_err(failed("list", &folder))?.path();
            let name = path.file_name().and_then(|name| name.to_str());
            let Some(seq) = name.and_then(|name| name.strip_suffix(".tsr")) else {
                continue;
            };
            if let Ok(seq) = seq.parse() {
                let mut bytes = Vec::new();
                let file = File::open(&path).map_err(failed("open", &path))?;
                let read = file.take(LONGEST).read_to_end(&mut bytes);
                read.map_err(failed("read", &path))?;
                stamps.0.insert(Seq(seq), bytes);
            }
        }
        Ok(stamps)
    }

    /// The name of an answer, from the state folder on.
    pub(crate) fn name(seq: Seq) -> String {
        format!("{FOLDER}/{seq}.tsr")
    }
}

/// The bytes of a file of a person: an answer, or certificates.
pub(crate) fn file(path: &Path) -> Result<Vec<u8>, Failed> {
    const LARGEST: u64 = 1 << 20;
    let mut bytes = Vec::new();
    let file = File::open(path).map_err(failed("open", path))?;
    let read = file.take(LARGEST).read_to_end(&mut bytes);
    read.map_err(failed("read", path))?;
    Ok(bytes)
}

/// Keeps an answer durably, in place of an earlier one for the same entry.
pub(crate) fn keep(state_dir: &Path, seq: Seq, answer: &[u8]) -> Result<PathBuf, Failed> {
    let folder = state_dir.join(FOLDER);
    make_folder(&folder, 0o700).map_err(failed("make the folder", &folder))?;
    let path = state_dir.join(Stamps::name(seq));
    put(&path, answer, true, Access::Private).map_err(failed("write", &path))?;
    Ok(path)
}
