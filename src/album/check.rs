//! Compares the pictures on disk with the entries that name them.
//!
//! In: the entries `pictured` of a verified journal. Out: a [`Finding`] for each picture that is missing or differs
//! from its entry, and for each whose series or piece is not in the journal; and the files that no entry names.

use super::{Album, FOLDER, Found, SMALL, find, read};
use crate::durable::{Failed, failed};
use crate::entry::line::Digest;
use crate::entry::{Entry, Pictured, Seq, SeriesEntry, Stamped};
use crate::journal::{Cursor, Finding, JournalError};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::io;
use std::path::{Path, PathBuf};

/// The result of checking all pictures.
#[derive(Debug, Default)]
pub(crate) struct Looked {
    /// Number of pictures that were compared with their entries; one that two entries name counts twice.
    pub(crate) pictures: usize,
    /// What is wrong, in the order of the entries.
    pub(crate) findings: Vec<Finding>,
    /// Files that no entry names, relative to the state folder.
    pub(crate) unnamed: Vec<String>,
}

/// The entries `pictured` of a journal, with the data needed for the check.
#[derive(Debug, Default)]
pub(crate) struct Named {
    pictured: Vec<(Seq, Pictured)>,
    /// The first entry of the journal: older ones were removed, and only an archive has them.
    first: Option<Seq>,
}

impl Named {
    /// Takes the next line of the journal, with the result of [`pictured`] for it.
    pub(crate) fn take(&mut self, line: &[u8], pictured: Option<(Seq, Pictured)>) {
        // A damaged line is reported elsewhere.
        if self.first.is_none() {
            self.first = crate::entry::line::decode(line)
                .ok()
                .map(|(stamped, _)| stamped.seq);
        }
        self.pictured.extend(pictured);
    }

    /// The files of these pictures that `others` do not name.
    pub(crate) fn only_here(&self, others: &Self, album: &Album) -> BTreeSet<PathBuf> {
        let files = |named: &Self| -> BTreeSet<PathBuf> {
            let each = named.pictured.iter().flat_map(|(_, pictured)| {
                let picture = album.path(pictured.picture, pictured.picture_format);
                [picture, album.small(pictured.shown)]
            });
            each.collect()
        };
        files(self).difference(&files(others)).cloned().collect()
    }

    /// Checks every picture of the state folder.
    pub(crate) fn look(&self, state_dir: &Path) -> Result<Looked, Failed> {
        let mut looking = Looking {
            album: Album::new(state_dir),
            first: self.first.unwrap_or(Seq::FIRST),
            owners: HashMap::new(),
            seen: BTreeMap::new(),
            looked: Looked::default(),
        };
        for (seq, pictured) in &self.pictured {
            for digest in [pictured.picture, pictured.shown] {
                looking.owners.entry(digest).or_insert(*seq);
            }
        }
        let mut series = BTreeMap::new();
        for (seq, pictured) in &self.pictured {
            looking.looked.pictures += 1;
            let found = series
                .entry(pictured.series)
                .or_insert_with(|| find(state_dir, pictured.series, Cursor::TO_THE_END));
            looking.subject(*seq, pictured, found);
            let picture = looking
                .album
                .path(pictured.picture, pictured.picture_format);
            looking.file(*seq, &picture, pictured.picture);
            let small = looking.album.small(pictured.shown);
            looking.file(*seq, &small, pictured.shown);
        }
        looking.leftovers(FOLDER)?;
        looking.leftovers(&format!("{FOLDER}/{SMALL}"))?;
        Ok(looking.looked)
    }
}

/// The picture that this line enters; `None` for every other line. A damaged line is a finding elsewhere.
pub(crate) fn pictured(line: &[u8]) -> Option<(Seq, Pictured)> {
    const KIND: &[u8] = br#""kind":"pictured""#;
    let head = line.get(..256).unwrap_or(line);
    memchr::memmem::find(head, KIND)?;
    let (Stamped { seq, entry, .. }, _) = crate::entry::line::decode(line).ok()?;
    if let Entry::Series(SeriesEntry::Pictured(pictured)) = entry {
        return Some((seq, pictured));
    }
    None
}

struct Looking {
    album: Album,
    first: Seq,
    /// Which entry a digest belongs to.
    owners: HashMap<Digest, Seq>,
    /// Files that were checked; `None` for those without fault.
    seen: BTreeMap<PathBuf, Option<(String, String)>>,
    looked: Looked,
}

impl Looking {
    /// The series and the piece must be in the journal, unless the series began before it does.
    fn subject(
        &mut self,
        seq: Seq,
        pictured: &Pictured,
        found: &Result<Option<Found>, JournalError>,
    ) {
        // A line that cannot be read is reported elsewhere.
        let Ok(found) = found else { return };
        let series = pictured.series;
        let Some(found) = found else {
            if series < self.first {
                return;
            }
            let got = series.to_string();
            self.add(
                seq,
                "journal",
                "a picture of no series",
                got,
                "a series that was opened",
            );
            return;
        };
        if found.station != pictured.station {
            let got = pictured.station.clone();
            self.add(
                seq,
                "journal",
                "a picture at another station",
                got,
                &found.station,
            );
        }
        if let Some(piece) = pictured.piece
            && !found.pieces.contains(&piece)
        {
            let got = format!("piece {piece} of series {series}");
            self.add(
                seq,
                "journal",
                "a picture of no piece",
                got,
                "a piece with a reading",
            );
        }
    }

    /// The file must hold the bytes whose digest is its name.
    fn file(&mut self, seq: Seq, path: &Path, want: Digest) {
        if !self.seen.contains_key(path) {
            let wrong = self.wrong(path, want);
            self.seen.insert(path.to_owned(), wrong);
        }
        if let Some(Some((what, got))) = self.seen.get(path).cloned() {
            let file = self.name_of(path);
            self.add(
                seq,
                &file,
                &what,
                got,
                &format!("bytes with the digest {want}"),
            );
        }
    }

    /// The fault of a file, with its actual content; `None` if it has none.
    fn wrong(&self, path: &Path, want: Digest) -> Option<(String, String)> {
        let bytes = match read(path) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                return Some(("a picture is missing".to_owned(), "no file".to_owned()));
            }
            Err(error) => {
                return Some(("a picture cannot be read".to_owned(), error.to_string()));
            }
        };
        let got = Digest::of(&bytes);
        if got == want {
            return None;
        }
        let what = match self.owners.get(&got) {
            Some(other) => format!("a picture was exchanged: it is that of entry {other}"),
            None => "a picture was changed".to_owned(),
        };
        Some((what, format!("bytes with the digest {got}")))
    }

    /// Files of a folder that no entry names.
    fn leftovers(&mut self, folder: &str) -> Result<(), Failed> {
        let state_dir = self.album.folder.parent().unwrap_or(Path::new("."));
        let path = state_dir.join(folder);
        let items = match std::fs::read_dir(&path) {
            Ok(items) => items,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
            Err(cause) => return Err(failed("list", &path)(cause)),
        };
        let mut names = BTreeSet::new();
        for item in items {
            let item = item.map_err(failed("list", &path))?;
            if item.file_name() != SMALL && !self.seen.contains_key(&item.path()) {
                names.insert(self.name_of(&item.path()));
            }
        }
        self.looked.unnamed.extend(names);
        Ok(())
    }

    /// A path for people, relative to the state folder.
    fn name_of(&self, path: &Path) -> String {
        let state_dir = self.album.folder.parent().unwrap_or(Path::new(""));
        let shown = path.strip_prefix(state_dir).unwrap_or(path);
        shown.display().to_string()
    }

    fn add(&mut self, seq: Seq, file: &str, what: &str, got: String, want: &str) {
        self.looked.findings.push(Finding {
            file: file.to_owned(),
            line: 0,
            seq: Some(seq),
            what: what.to_owned(),
            got,
            want: want.to_owned(),
            accepted_in: None,
        });
    }
}
