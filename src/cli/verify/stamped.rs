//! The time stamps of a journal, held against its lines and against an authority.

use crate::cli::Failure;
use crate::durable::Failed;
use crate::entry::Seq;
use crate::entry::line::Digest;
use crate::journal::{Finding, Report, StoredLine};
use crate::quantity::WallMicros;
use crate::timestamp::{Answer, Authority, Stamps};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::Path;

/// The time stamps of a state folder.
#[derive(Default)]
pub(super) struct Stamped {
    stamps: Stamps,
    /// The digests of the lines that they are of.
    lines: BTreeMap<Seq, Digest>,
    /// The entries whose time stamp fits, with its time.
    fit: BTreeMap<Seq, WallMicros>,
    authority_checked: bool,
}

impl Stamped {
    pub(super) fn read(state_dir: &Path) -> Result<Self, Failure> {
        let stamps = Stamps::read(state_dir).map_err(|failed: Failed| {
            Failure::io(failed.to_string()).with_remedy("check the permissions of the folder")
        })?;
        Ok(Self {
            stamps,
            ..Self::default()
        })
    }

    /// Takes the next line of the journal.
    pub(super) fn take(&mut self, line: StoredLine<'_>) {
        if self.stamps.0.contains_key(&line.seq) {
            self.lines.insert(line.seq, Digest::of(line.bytes));
        }
    }

    /// Holds each time stamp against its line, and against an authority if one is given.
    pub(super) fn held_against(&mut self, authority: Option<&Authority>, report: &mut Report) {
        self.authority_checked = authority.is_some();
        for (seq, bytes) in &self.stamps.0 {
            match self.checked(*seq, bytes, authority) {
                Ok(at) => {
                    self.fit.insert(*seq, at);
                }
                Err(why) => report.findings.push(Finding {
                    file: Stamps::name(*seq),
                    line: 0,
                    seq: Some(*seq),
                    what: "a time stamp does not hold".to_owned(),
                    got: why,
                    want: "a time stamp of this line by the authority".to_owned(),
                    accepted_in: None,
                }),
            }
        }
    }

    fn checked(
        &self,
        seq: Seq,
        bytes: &[u8],
        authority: Option<&Authority>,
    ) -> Result<WallMicros, String> {
        let answer = Answer::read(bytes).map_err(|error| error.to_string())?;
        let line = self.lines.get(&seq);
        let line = line.ok_or("the journal has no such entry: it was cut, or written again")?;
        answer.is_of(*line, None).map_err(|error| {
            format!("{error}: the line was changed, or the journal written again")
        })?;
        if let Some(authority) = authority {
            authority
                .vouches_for(&answer)
                .map_err(|error| error.to_string())?;
        }
        Ok(answer.at)
    }

    /// Says what the newest of them shows. It stands for the entries before only where the chain to them holds.
    pub(super) fn write(&self, out: &mut dyn Write, chain_holds: bool) -> io::Result<()> {
        let Some((seq, at)) = self.fit.last_key_value() else {
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
        if self.stamps.0.is_empty() {
            return None;
        }
        let fit = self.fit.iter();
        let fit = fit.map(|(seq, at)| json!({"seq": seq.0, "at": at.to_string()}));
        Some(json!({
            "authority_checked": self.authority_checked,
            "stamps": fit.collect::<Vec<_>>(),
        }))
    }
}
