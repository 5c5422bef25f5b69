//! Compares the time stamps of a journal with its lines, and checks them against an authority.

use crate::cli::Failure;
use crate::durable::Failed;
use crate::entry::Seq;
use crate::entry::line::Digest;
use crate::journal::{Finding, Report, StoredLine};
use crate::quantity::WallMicros;
use crate::timestamp::{Answer, Authority, CertificatesError, Stamp, certificates, kept};
use serde_json::{Value, json};
use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// The certificates of all these files together; `None` without a file.
pub(super) fn authority(files: &[PathBuf]) -> Result<Option<Authority>, Failure> {
    let mut all: Option<Authority> = None;
    for file in files {
        let more = certificates(file).map_err(|error| {
            let text = error.to_string();
            let failure = match error {
                CertificatesError::File(_) => Failure::io(text),
                CertificatesError::Content { .. } => Failure::usage(text),
            };
            failure.with_remedy(error.remedy())
        })?;
        all = Some(match all {
            Some(known) => known.and(more),
            None => more,
        });
    }
    Ok(all)
}

/// The time stamps of a state folder.
#[derive(Default)]
pub(super) struct Stamped {
    stamps: Vec<Stamp>,
    /// Whether there are any time stamps.
    are_there: bool,
    /// The digests of the lines that they are for.
    lines: BTreeMap<Seq, Option<Digest>>,
    /// The valid time stamps, with their times, by entry.
    fit: Vec<(Stamp, WallMicros)>,
    /// Number of time stamps for entries that the journal no longer has.
    before_the_first: usize,
    authority_checked: bool,
}

impl Stamped {
    pub(super) fn read(state_dir: &Path) -> Result<Self, Failure> {
        let stamps = kept(state_dir).map_err(|failed: Failed| {
            Failure::io(failed.to_string()).with_remedy("check the permissions of the folder")
        })?;
        Ok(Self {
            are_there: !stamps.is_empty(),
            lines: stamps.iter().map(|stamp| (stamp.seq, None)).collect(),
            stamps,
            ..Self::default()
        })
    }

    /// Takes the next line of the journal.
    pub(super) fn take(&mut self, line: StoredLine<'_>) {
        if let Some(digest) = self.lines.get_mut(&line.seq) {
            *digest = Some(Digest::of(line.bytes));
        }
    }

    /// Compares each time stamp with its line, and checks it against an authority if one is given.
    pub(super) fn held_against(&mut self, authority: Option<&Authority>, report: &mut Report) {
        self.authority_checked = authority.is_some();
        for stamp in std::mem::take(&mut self.stamps) {
            if report.first.is_some_and(|first| stamp.seq < first) {
                self.before_the_first += 1;
                continue;
            }
            match self.checked(&stamp, authority) {
                Ok(at) => self.fit.push((stamp, at)),
                Err(why) => report.findings.push(Finding {
                    file: stamp.name(),
                    line: 0,
                    seq: Some(stamp.seq),
                    what: "a time stamp does not hold".to_owned(),
                    got: why,
                    want:
                        "a time stamp of this line by an authority that is given with --authority"
                            .to_owned(),
                    accepted_in: None,
                }),
            }
        }
    }

    fn checked(&self, stamp: &Stamp, authority: Option<&Authority>) -> Result<WallMicros, String> {
        let answer = Answer::read(&stamp.bytes).map_err(|error| error.to_string())?;
        let line = self.lines.get(&stamp.seq).copied().flatten();
        let line = line.ok_or("the journal has no such entry: it was cut, or written again")?;
        answer.is_of(line, None).map_err(|error| {
            format!("{error}: the line was changed, or the journal written again")
        })?;
        if let Some(authority) = authority {
            authority
                .vouches_for(&answer)
                .map_err(|error| error.to_string())?;
        }
        Ok(answer.at)
    }

    /// Writes what the newest one proves. It covers earlier entries only if the chain to them is intact.
    pub(super) fn write(&self, out: &mut dyn Write, chain_holds: bool) -> io::Result<()> {
        match self.before_the_first {
            0 => {}
            1 => writeln!(
                out,
                "  stamped   1 time stamp of an entry before the first one here: not checked, keep it with the archive that has the entry"
            )?,
            more => writeln!(
                out,
                "  stamped   {more} time stamps of entries before the first one here: not checked, keep them with the archive that has the entries"
            )?,
        }
        // Of several for the newest entry, the earliest.
        let fit = self.fit.iter();
        let newest = fit.max_by_key(|(stamp, at)| (stamp.seq, Reverse(at.0)));
        let Some((Stamp { seq, .. }, at)) = newest else {
            return Ok(());
        };
        let number = self.fit.len();
        let what = if chain_holds {
            format!("entry {seq} and all before it")
        } else {
            format!("entry {seq}, but not all before it,")
        };
        let shown = if self.authority_checked {
            format!("existed at {at}, signed by the given authority")
        } else {
            format!(
                "is said to have existed at {at}; by whom was not checked: give its certificate with --authority"
            )
        };
        writeln!(out, "  stamped   time stamps: {number}; {what} {shown}")
    }

    pub(super) fn as_json(&self) -> Option<Value> {
        if !self.are_there {
            return None;
        }
        let fit = self.fit.iter().map(|(stamp, at)| {
            let mut object = json!({"seq": stamp.seq.0, "at": at.to_string()});
            if let (Some(object), Some(sink)) = (object.as_object_mut(), &stamp.sink) {
                object.insert("sink".to_owned(), json!(sink));
            }
            object
        });
        Some(json!({
            "authority_checked": self.authority_checked,
            "stamps": fit.collect::<Vec<_>>(),
            "before_the_first": self.before_the_first,
        }))
    }
}
