//! Compares a journal with anchors that others keep of it: brokers, databases, a person.
//!
//! In: anchors from files (as JSON, or in the metadata of Parquet), standard input and web addresses, and every line of
//! the journal. Out: which are met, and a finding for each that is not. An anchor proves something only if whoever could
//! change the journal could not change the anchor too.
#![expect(
    clippy::disallowed_methods,
    reason = "edge: reads anchors that were kept"
)]

use crate::cli::{Failure, bench};
use crate::entry::line::{Digest, decode};
use crate::entry::{Anchor, NoAnchor, Seq};
use crate::export::{ExportFormat, Question};
use crate::journal::{Finding, Report, StoredLine};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, Read, Write};
use std::path::Path;

/// A longer text is not one of anchors.
const LONGEST: u64 = 16 * 1024 * 1024;

const REMEDY: &str = "give the anchors as they were kept: the retained message at a broker, rows of a database as JSON, events of a webhook, a file of a data set, or a line {\"seq\":…,\"digest\":…}";

const REMEDY_OF_MANY: &str = "give the newest of them, each covers all lines before its own: tail -n 1000 FILE | tallyjaw verify --anchor -";

/// The anchors, and what the journal has in their places.
#[derive(Default)]
pub(super) struct Anchors {
    /// With where each is from.
    kept: Vec<(String, Anchor)>,
    /// The digests of the lines that they name; `None` until the line has come.
    lines: BTreeMap<Seq, Option<Digest>>,
    /// Whether the first line has come.
    begun: bool,
    met: Vec<Seq>,
    /// Number of those of entries that the journal no longer has.
    before_the_first: usize,
}

impl Anchors {
    /// Reads them from files, from standard input (`-`) and from web addresses. `ca_file` has the certificates that a
    /// server is checked against.
    pub(super) fn read(sources: &[String], ca_file: Option<&Path>) -> Result<Self, Failure> {
        let mut kept = Vec::new();
        for source in sources {
            let anchors = of_source(source, ca_file)?;
            kept.extend(anchors.into_iter().map(|anchor| (source.clone(), anchor)));
        }
        let mut lines = BTreeMap::new();
        for (_, anchor) in &kept {
            lines.insert(anchor.seq, None);
        }
        Ok(Self {
            kept,
            lines,
            ..Self::default()
        })
    }

    /// Takes the next line of the journal.
    pub(super) fn take(&mut self, line: StoredLine<'_>) {
        if !std::mem::replace(&mut self.begun, true) {
            // The first line has the digest of the one before it, which may have been moved to an archive.
            let before = Seq(line.seq.0.saturating_sub(1));
            if let (Some(digest), Ok((_, prev))) = (self.lines.get_mut(&before), decode(line.bytes))
            {
                *digest = Some(prev);
            }
        }
        if let Some(digest) = self.lines.get_mut(&line.seq) {
            *digest = Some(Digest::of(line.bytes));
        }
    }

    /// Compares each of them with its line.
    pub(super) fn compare(&mut self, report: &mut Report) {
        let kept = std::mem::take(&mut self.kept);
        for (source, anchor) in &kept {
            let line = self.lines.get(&anchor.seq).copied().flatten();
            match difference(anchor, line, report) {
                Ok(true) => self.met.push(anchor.seq),
                Ok(false) => self.before_the_first += 1,
                Err((what, got, want)) => report.findings.push(Finding {
                    file: source.clone(),
                    line: 0,
                    seq: Some(anchor.seq),
                    what: what.to_owned(),
                    got,
                    want,
                    accepted_in: None,
                }),
            }
        }
        if let Some((source, _)) = kept.first()
            && self.before_the_first == kept.len()
        {
            let first = report.first.unwrap_or(Seq::FIRST);
            report.findings.push(Finding {
                file: source.clone(),
                line: 0,
                seq: None,
                what: "every anchor is of an entry before the first one here".to_owned(),
                got: format!("a journal that begins with entry {first}"),
                want: format!("an anchor of entry {first} or a later one, or the archive that has the entries before"),
                accepted_in: None,
            });
        }
        self.kept = kept;
    }

    /// Writes which are met, and where the journal is the anchored one.
    pub(super) fn write(&self, out: &mut dyn Write, report: &Report) -> io::Result<()> {
        if self.kept.is_empty() {
            return Ok(());
        }
        let (met, all) = (self.met.len(), self.kept.len());
        let last = self.met.iter().max();
        match last {
            None => writeln!(out, "  anchors   none of {all} is met")?,
            Some(last) => {
                let since = report.last.map_or(0, |end| end.0.saturating_sub(last.0));
                writeln!(
                    out,
                    "  anchors   {met} of {all} met, the last of entry {last}; {since} entries since"
                )?;
            }
        }
        if self.before_the_first > 0 {
            writeln!(
                out,
                "  anchors   {} of entries before the first one here: not compared, give them with the archive that has the entries",
                self.before_the_first
            )?;
        }
        Ok(())
    }

    /// The same for programs; `None` without anchors.
    pub(super) fn as_json(&self) -> Option<Value> {
        let object = json!({
            "kept": self.kept.len(),
            "met": self.met.len(),
            "last_met": self.met.iter().max().map(|seq| seq.0),
            "before_the_first": self.before_the_first,
        });
        (!self.kept.is_empty()).then_some(object)
    }
}

/// Whether an anchor is met; `false` if its entry is before the first one here. Otherwise what differs, what is there and
/// what is expected.
fn difference(
    anchor: &Anchor,
    line: Option<Digest>,
    report: &Report,
) -> Result<bool, (&'static str, String, String)> {
    let Anchor {
        journal,
        seq,
        digest,
    } = anchor;
    if let (Some(named), Some(known)) = (journal, &report.journal)
        && named != known
    {
        let what =
            "an anchor is of another journal: this is not the one, or another was put in its place";
        return Err((what, format!("journal {known}"), format!("journal {named}")));
    }
    match line {
        Some(line) if line == *digest => Ok(true),
        Some(line) => {
            let what = "an entry is not the one of its anchor: the journal was written again, or the entry changed";
            Err((what, line.to_string(), digest.to_string()))
        }
        None if report.first.is_some_and(|first| *seq < first) => Ok(false),
        None if report.last.is_none_or(|last| *seq > last) => {
            let what = "the journal ends before an anchor: it was cut";
            let end = report
                .last
                .map_or("none".to_owned(), |last| last.to_string());
            let want = format!("entry {seq} with the digest {digest}");
            Err((what, format!("last entry: {end}"), want))
        }
        None => {
            let what = "the entry of an anchor is missing";
            Err((what, "none".to_owned(), digest.to_string()))
        }
    }
}

/// Whether this is the scheme of an address, and not the beginning of a path.
fn is_scheme(text: &str) -> bool {
    text.len() > 1 && text.bytes().all(|byte| byte.is_ascii_alphanumeric())
}

fn of_source(source: &str, ca_file: Option<&Path>) -> Result<Vec<Anchor>, Failure> {
    let text = match source.split_once("://") {
        Some(("http" | "https", _)) => bench::fetched(source, ca_file)?,
        Some((scheme, _)) if is_scheme(scheme) => {
            return Err(Failure::usage(format!(
                "got an anchor at {scheme}://, want a file, - or an address with http:// or https://"
            ))
            .with_remedy(
                "get it with a client of that kind: mosquitto_sub … | tallyjaw verify --anchor -",
            ));
        }
        Some(_) | None if is_parquet(source) => return Ok(vec![of_parquet(source)?]),
        Some(_) | None => of_file(source)?,
    };
    Anchor::all_of(&text).map_err(|error| {
        let remedy = match error {
            NoAnchor::TooMany => REMEDY_OF_MANY,
            NoAnchor::Empty | NoAnchor::Other { .. } => REMEDY,
        };
        Failure::usage(format!("{source}: {error}")).with_remedy(remedy)
    })
}

/// Whether the file begins as a Parquet file does. One that cannot be read is said by whoever reads it.
fn is_parquet(source: &str) -> bool {
    let mut first = [0; 4];
    let read = File::open(source).and_then(|mut file| file.read_exact(&mut first));
    read.is_ok() && first == *b"PAR1"
}

/// The anchor of an export or of a file of a data set: the last entry that it was made of.
fn of_parquet(source: &str) -> Result<Anchor, Failure> {
    let question = Question::of(Path::new(source), ExportFormat::Parquet, None)
        .map_err(|error| Failure::usage(format!("{source}: {error}")).with_remedy(REMEDY))?;
    let anchor = question.and_then(|(question, _)| question.anchor());
    anchor.ok_or_else(|| {
        let what = format!("{source}: got a Parquet file that does not say of which entries it was made, want one as the daemon or an export wrote it");
        Failure::usage(what).with_remedy(REMEDY)
    })
}

fn of_file(source: &str) -> Result<Vec<u8>, Failure> {
    let unread = |cause: io::Error| {
        Failure::io(format!("cannot read {source}"))
            .because(&cause)
            .with_remedy("name a file that is there and may be read, or - for standard input")
    };
    let input: Box<dyn Read> = if source == "-" {
        Box::new(io::stdin().lock())
    } else {
        Box::new(File::open(source).map_err(unread)?)
    };
    let mut text = Vec::new();
    let read = input.take(LONGEST + 1).read_to_end(&mut text);
    read.map_err(unread)?;
    if u64::try_from(text.len()).unwrap_or(u64::MAX) > LONGEST {
        return Err(Failure::usage(format!(
            "{source}: got more than {LONGEST} bytes, want anchors"
        ))
        .with_remedy(REMEDY_OF_MANY));
    }
    Ok(text)
}
