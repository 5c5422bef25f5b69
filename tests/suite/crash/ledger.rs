//! What the journal is known to hold after each kill, and must still hold after the next.

use super::STATIONS;
use super::clients::Seen;
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use tallyjaw::entry::line::{Digest, decode};
use tallyjaw::entry::{Seq, State};
use tallyjaw::files;
use tallyjaw::journal::verify;
use tallyjaw::message::StateMessage;
use tallyjaw::spec::Catalog;

/// Number of pieces in the plan.
const PIECES: u64 = 5;

/// An open series, counted here and not by [`State::apply`].
#[derive(Clone)]
struct Open {
    id: u64,
    counted: u64,
}

pub(super) struct Ledger {
    folder: PathBuf,
    catalog: Catalog,
    /// Every complete line so far, without its newline, from entry 1 on.
    lines: Vec<Vec<u8>>,
    prev: Digest,
    state: State,
    series: BTreeMap<String, Open>,
    /// Whether every station was armed; its plan repeats.
    all_armed: bool,
    /// Incomplete last lines that were found after a kill.
    torn: Vec<Vec<u8>>,
    /// Number of entries that clients had received, all clients together.
    pub(super) seen: u64,
    /// Number of acknowledged notes.
    pub(super) acknowledged: u64,
    /// Number of readings that count.
    pub(super) counted: u64,
}

impl Ledger {
    pub(super) fn new(config: &Path, folder: &Path) -> Self {
        Self {
            folder: folder.to_owned(),
            catalog: std::sync::Arc::unwrap_or_clone(files::load(config).unwrap().catalog),
            lines: Vec::new(),
            prev: Digest::NONE,
            state: State::default(),
            series: BTreeMap::new(),
            all_armed: false,
            torn: Vec::new(),
            seen: 0,
            acknowledged: 0,
            counted: 0,
        }
    }

    /// The number of the last entry.
    pub(super) fn last(&self) -> u64 {
        u64::try_from(self.lines.len()).unwrap()
    }

    pub(super) fn segments(&self) -> u64 {
        u64::try_from(self.files(".jsonl").len()).unwrap()
    }

    /// Number of incomplete lines that were moved to a file.
    pub(super) fn torn(&self) -> u64 {
        let torn = self.torn.iter().filter(|torn| !torn.is_empty());
        u64::try_from(torn.count()).unwrap()
    }

    /// Number of new segments without content.
    pub(super) fn empty(&self) -> u64 {
        u64::try_from(self.torn.len()).unwrap() - self.torn()
    }

    /// After the daemon was killed: every earlier entry is still in the journal, new ones follow from it, and every
    /// entry that a client had seen is there.
    pub(super) fn take_in(&mut self, seen: &[Seen]) {
        let shown = seen.iter().flat_map(states_shown).collect();
        self.read(&shown);
        for seen in seen {
            match seen {
                Seen::Feed { bytes, after } => self.check_feed(bytes, *after),
                Seen::Notes(notes) => self.check_notes(notes),
            }
        }
    }

    /// Reads the journal. `shown` are the states that clients were shown, by entry.
    fn read(&mut self, shown: &BTreeMap<u64, Value>) {
        let files = self.files(".jsonl");
        let mut at = 0;
        for (index, path) in files.iter().enumerate() {
            let bytes = fs::read(path).unwrap();
            let whole = bytes
                .iter()
                .rposition(|byte| *byte == b'\n')
                .map_or(0, |at| at + 1);
            if whole < bytes.len() || bytes.is_empty() {
                assert_eq!(index + 1, files.len(), "{} is torn", path.display());
                self.torn.push(bytes[whole..].to_owned());
            }
            for line in bytes[..whole].split_inclusive(|byte| *byte == b'\n') {
                let line = &line[..line.len() - 1];
                match self.lines.get(at) {
                    Some(known) => assert!(line == known, "entry {} has changed", at + 1),
                    None => self.append(line, shown),
                }
                at += 1;
            }
        }
        assert_eq!(at, self.lines.len(), "the journal is shorter than before");
    }

    fn append(&mut self, line: &[u8], shown: &BTreeMap<u64, Value>) {
        let (stamped, prev) = decode(line).unwrap();
        assert_eq!((stamped.seq, prev), (Seq(self.last() + 1), self.prev));
        self.prev = Digest::of(line);
        self.state.apply(&stamped);
        self.lines.push(line.to_owned());
        self.count(&serde_json::from_slice(line).unwrap());
        if let Some(shown) = shown.get(&self.last()) {
            self.check_state(shown);
        }
    }

    /// Every series has its pieces in order, each once, and the last one closes it.
    fn count(&mut self, entry: &Value) {
        let Some(station) = entry["station"].as_str() else {
            return;
        };
        match entry["kind"].as_str().unwrap() {
            // No port is open before a start has entered what the kill left undone.
            "attached" if self.all_armed => {
                assert_eq!(self.series.len(), STATIONS, "not armed again: {entry}");
            }
            "armed" => {
                let id = entry["seq"].as_u64().unwrap();
                let before = self
                    .series
                    .insert(station.to_owned(), Open { id, counted: 0 });
                assert!(before.is_none(), "armed over an open series: {entry}");
                self.all_armed |= self.series.len() == STATIONS;
            }
            "reading" if entry["standing"] == "counted" => {
                let series = self.series.get_mut(station).unwrap();
                series.counted += 1;
                self.counted += 1;
                assert_eq!(
                    (&entry["series"], &entry["piece"]),
                    (&series.id.into(), &series.counted.into()),
                    "{entry}"
                );
            }
            "completed" => {
                let series = self.series.remove(station).unwrap();
                assert_eq!(
                    (entry["series"].as_u64(), series.counted),
                    (Some(series.id), PIECES),
                    "{entry}"
                );
            }
            _ => {}
        }
    }

    /// The state shown to a client is that of the entries up to here, with the right next slot.
    fn check_state(&self, shown: &Value) {
        let folded = serde_json::to_value(StateMessage::new(&self.state, &self.catalog)).unwrap();
        assert_eq!(shown, &folded);
        for station in shown["stations"].as_array().unwrap() {
            // Nothing is armed between `completed` and the next `armed`, which may be in different syncs.
            let Some(series) = self.series.get(station["station"].as_str().unwrap()) else {
                assert!(station["armed"].is_null(), "{station}");
                continue;
            };
            assert_eq!(station["armed"]["series"], series.id, "{station}");
            assert_eq!(station["armed"]["filled"], series.counted, "{station}");
            // Nothing is next while its caliper is not connected.
            if !station["next"].is_null() {
                assert_eq!(station["next"]["piece"], series.counted + 1, "{station}");
            }
        }
    }

    fn check_feed(&mut self, bytes: &[u8], after: Option<u64>) {
        let mut next = None;
        let mut jump = after.map(|after| after + 1);
        for line in bytes.split_inclusive(|byte| *byte == b'\n') {
            if !line.ends_with(b"\n") {
                self.check_cut(line, next);
                continue;
            }
            let line = &line[..line.len() - 1];
            let message: Value = serde_json::from_slice(line).unwrap();
            if matches!(message["kind"].as_str(), Some("hello" | "state")) {
                if message["kind"] == "state" {
                    next = message["seq"].as_u64().map(|seq| seq + 1);
                }
                continue;
            }
            let seq = message["seq"]
                .as_u64()
                .unwrap_or_else(|| panic!("{message}"));
            if Some(seq) == jump && Some(seq) != next {
                jump = None;
            } else {
                assert_eq!(Some(seq), next, "out of order");
            }
            next = Some(seq + 1);
            let known = self.lines.get(usize::try_from(seq).unwrap() - 1);
            let known = known.unwrap_or_else(|| panic!("LOST: {message}"));
            assert!(line == known, "entry {seq} was announced otherwise");
            self.seen += 1;
        }
    }

    /// The beginning of a line, as far as it had arrived.
    fn check_cut(&self, part: &[u8], next: Option<u64>) {
        let is_greeting = [b"{\"kind\":\"hello\"".as_slice(), b"{\"kind\":\"state\""]
            .iter()
            .any(|begin| part.starts_with(begin) || begin.starts_with(part));
        let known = next.and_then(|next| self.lines.get(usize::try_from(next).unwrap() - 1));
        assert!(
            is_greeting || known.is_some_and(|known| known.starts_with(part)),
            "LOST: {}",
            String::from_utf8_lossy(part)
        );
    }

    fn check_notes(&mut self, notes: &[(u64, String)]) {
        for (seq, text) in notes {
            let known = self.lines.get(usize::try_from(*seq).unwrap() - 1);
            let known = known.unwrap_or_else(|| panic!("LOST: acknowledged entry {seq}"));
            let entry: Value = serde_json::from_slice(known).unwrap();
            assert_eq!(
                (&entry["kind"], &entry["text"]),
                (&"noted".into(), &text.as_str().into())
            );
            self.acknowledged += 1;
        }
    }

    /// Verifies the journal with verdicts. A torn tail of this moment is no fault. A kill between creating a segment
    /// and its first line leaves an empty file, which is reported, and moved away by the next start.
    pub(super) fn verify(&self) {
        let state_dir = self.folder.parent().unwrap();
        let mut report = verify(state_dir, None, |_| ()).unwrap();
        let segments = self.files_with(".jsonl").into_iter();
        let is_segment = |path: &PathBuf| path.extension().is_some_and(|end| end == "jsonl");
        let newest = segments.filter(is_segment).max();
        let newest = newest.filter(|path| fs::metadata(path).unwrap().len() == 0);
        if let Some(empty) = newest.as_ref().and_then(|path| path.file_name()) {
            let told = report.findings.pop();
            let told = told.map(|told| (told.file, told.what));
            let want = (
                empty.to_str().unwrap().to_owned(),
                "a segment is empty".to_owned(),
            );
            assert_eq!(told, Some(want));
        }
        assert!(report.is_intact(), "{:#?}", report.findings);
        assert_eq!(report.last, Some(Seq(self.last())));
    }

    /// Every torn line is kept completely beside the journal. If the start is killed too, it leaves a part, and the
    /// next one moves the line again.
    pub(super) fn check_torn(&self) {
        let kept: Vec<_> = self
            .files_with(".torn-")
            .iter()
            .map(|path| fs::read(path).unwrap())
            .collect();
        for torn in &self.torn {
            assert!(kept.contains(torn), "a torn line was not kept");
        }
        for kept in &kept {
            assert!(
                self.torn.iter().any(|torn| torn.starts_with(kept)),
                "what is this?"
            );
        }
    }

    fn files(&self, ending: &str) -> Vec<PathBuf> {
        let mut files = self.files_with(ending);
        files.retain(|path| path.to_string_lossy().ends_with(ending));
        files
    }

    /// The files with `part` in their names, in order of name.
    fn files_with(&self, part: &str) -> Vec<PathBuf> {
        let Ok(folder) = fs::read_dir(&self.folder) else {
            return Vec::new(); // killed before there was one
        };
        let paths = folder.map(|item| item.unwrap().path());
        let mut files: Vec<_> = paths
            .filter(|path| path.to_string_lossy().contains(part))
            .collect();
        files.sort();
        files
    }
}

/// The states that a client of the feed was shown.
fn states_shown(seen: &Seen) -> Vec<(u64, Value)> {
    let Seen::Feed { bytes, .. } = seen else {
        return Vec::new();
    };
    let whole = bytes
        .split_inclusive(|byte| *byte == b'\n')
        .filter(|line| line.ends_with(b"\n"));
    whole
        .filter_map(|line| serde_json::from_slice::<Value>(line).ok())
        .filter(|message| message["kind"] == "state")
        .map(|message| (message["seq"].as_u64().unwrap(), message))
        .collect()
}
