//! `tallyjaw verify --label TEXT`: compares the text of a label's code with the journal.
//!
//! The chain is checked as for the whole journal. The entry that the label names must be in it, with this digest, and
//! the entries up to it must give the same text. Then later changes are reported.

use super::{add_known, finding, walked};
use crate::cli::label::Gathering;
use crate::cli::{Context, Exit, Failure};
use crate::entry::words::safe;
use crate::journal::{Kept, ParsedLine};
use crate::message::label::LabelText;
use anstyle::{AnsiColor, Style};
use serde_json::json;
use std::io::Write;
use std::path::Path;

const GOOD: Style = AnsiColor::Green.on_default().bold();
const BAD: Style = AnsiColor::Red.on_default().bold();

/// What is wrong with a label.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
enum Wrong {
    #[error("the journal is damaged")]
    Damaged,
    #[error(
        "no line of this journal has the digest of the label: it is of another journal, or made up"
    )]
    Unknown,
    #[error("the digest is that of entry {got}, the label says entry {want}")]
    OtherEntry { got: u64, want: u64 },
    #[error("up to that entry the journal gives: {}", got.as_deref().unwrap_or("no such series"))]
    Differs { got: Option<String> },
    #[error("it was right when it was made; now the journal gives: {now}")]
    OutOfDate { now: String },
}

impl Wrong {
    const fn name(&self) -> &'static str {
        match self {
            Self::Damaged => "damaged",
            Self::Unknown => "unknown",
            Self::OtherEntry { .. } => "other_entry",
            Self::Differs { .. } => "differs",
            Self::OutOfDate { .. } => "out_of_date",
        }
    }
}

/// Verifies the text.
pub(super) fn verify(
    context: &Context,
    text: &str,
    state_dir: &Path,
    kept: Kept,
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    let label: LabelText = text.parse().map_err(|error| {
        let shown = safe(&super::short(text));
        Failure::usage(format!("{shown} is no label: {error}"))
            .with_remedy("give the whole text of the code in quotes, as a scanner reads it")
    })?;
    let mut gathering = Gathering::new(label.of.clone());
    let (mut found, mut then) = (None, None);
    let parsed = |_: &[u8], parsed: &ParsedLine| (parsed.digest, parsed.decoded.clone());
    let report = walked(state_dir, kept, parsed, |line, (digest, decoded)| {
        if digest == label.digest {
            found = Some(line.seq);
        }
        // A line that cannot be read is reported by the check of the chain.
        if let Ok((stamped, _)) = decoded {
            gathering.take(&stamped, digest);
            if stamped.seq == label.entry {
                then = gathering.text();
            }
        }
    })?;
    let now = gathering.text();
    let wrong = if report.findings.is_empty() {
        wrong(&label, found, then, now)
    } else {
        Some(Wrong::Damaged)
    };
    if context.json {
        let mut object = json!({
            "label": text.trim(),
            "agrees": wrong.is_none(),
            "findings": report.findings.iter().map(finding::json).collect::<Vec<_>>(),
        });
        let known = [
            ("wrong", wrong.as_ref().map(|wrong| json!(wrong.name()))),
            ("says", wrong.as_ref().map(|wrong| json!(wrong.to_string()))),
        ];
        add_known(&mut object, known);
        writeln!(out, "{object}")?;
    } else {
        for finding in &report.findings {
            finding::write(out, finding)?;
        }
        let of = crate::cli::label::of(&label.of);
        match &wrong {
            None => writeln!(
                out,
                "{GOOD}agrees{GOOD:#}: {of} is {}, by entry {} of the journal",
                label.state.name(),
                label.entry
            )?,
            Some(wrong) => writeln!(
                out,
                "{BAD}does not agree{BAD:#}: {}",
                safe(&wrong.to_string())
            )?,
        }
    }
    Ok(if wrong.is_none() { Exit::Yes } else { Exit::No })
}

fn wrong(
    label: &LabelText,
    found: Option<crate::entry::Seq>,
    then: Option<LabelText>,
    now: Option<LabelText>,
) -> Option<Wrong> {
    let Some(found) = found else {
        return Some(Wrong::Unknown);
    };
    if found != label.entry {
        return Some(Wrong::OtherEntry {
            got: found.0,
            want: label.entry.0,
        });
    }
    if then.as_ref() != Some(label) {
        let got = then.map(|then| then.to_string());
        return Some(Wrong::Differs { got });
    }
    let now = now.filter(|now| now != label)?;
    Some(Wrong::OutOfDate {
        now: now.to_string(),
    })
}
