//! Compares a report with its journal.
#![expect(clippy::disallowed_methods, reason = "edge: reads the report")]

use super::{BAD, GOOD, HELP, daemon, short, walked};
use crate::cli::columns::count;
use crate::cli::report::{Again, again, lines_of};
use crate::cli::{Context, Exit, Failure};
use crate::clock;
use crate::config::DaemonConfig;
use crate::entry::words::safe;
use crate::journal::Kept;
use crate::quantity::WallMicros;
use crate::report::check::{
    Difference, NoReport, OtherLayout, comparable, differences, made, release, unvouched,
};
use crate::report::{Made, Report, ReportRequest};
use serde_json::json;
use std::io::{Read as _, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Maximum number of differences that are shown.
const MOST_SHOWN: usize = 40;

/// The result for a report.
struct Checked {
    differences: Vec<Difference>,
    /// Number of verdicts judged again, and what is wrong with the journal itself.
    verdicts: u64,
    findings: usize,
    /// Number of later entries, and of those about its series.
    since: (u64, u64),
}

impl Checked {
    /// Whether page and journal agree, and the journal is intact.
    fn agrees(&self) -> bool {
        self.differences.is_empty() && self.findings == 0
    }
}

/// Whether the file looks like a report.
pub(super) fn is_page(file: &Path) -> bool {
    let mut beginning = String::new();
    let read = std::fs::File::open(file).map(|file| file.take(64).read_to_string(&mut beginning));
    read.is_ok()
        && beginning
            .trim_start_matches('\u{feff}')
            .trim_start()
            .starts_with('<')
}

pub(super) fn verify(
    context: &Context,
    file: &Path,
    state_dir: Option<PathBuf>,
    kept: Kept,
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    let shown = file.display();
    let bytes = std::fs::read(file)
        .map_err(|error| Failure::io(format!("cannot read {shown}")).because(&error))?;
    let none = |error: &NoReport| {
        Failure::usage(format!("{shown}: {error}")).with_remedy(
            "make one: tallyjaw report SERIES; a journal is a folder: tallyjaw verify STATE_DIR",
        )
    };
    let text = String::from_utf8(bytes).map_err(|_| none(&NoReport::Other))?;
    let made = match made(&text) {
        Ok(made) => made,
        Err(error @ NoReport::Other) => return Err(none(&error)),
        Err(error @ NoReport::NoData { .. }) => {
            let difference = Difference {
                about: format!("the data for programs: {error}"),
                reported: None,
                journal: None,
            };
            return tell(context, file, None, &only(vec![difference]), out);
        }
    };
    if let Err(other) = comparable(&made) {
        return tell_other(context, file, &made, &other, out);
    }
    let daemon = daemon(context, state_dir)?;
    let checked = checked(&daemon, kept, &text, &made)?;
    tell(context, file, Some(&made), &checked, out)
}

fn only(differences: Vec<Difference>) -> Checked {
    Checked {
        differences,
        verdicts: 0,
        findings: 0,
        since: (0, 0),
    }
}

fn checked(daemon: &DaemonConfig, kept: Kept, text: &str, made: &Made) -> Result<Checked, Failure> {
    let journal = walked(&daemon.state_dir, kept, |_, _| (), |_, ()| {})?;
    let known = journal.journal.as_ref();
    if let Some(other) = known.filter(|known| **known != made.journal) {
        return Ok(only(vec![difference("the journal", &made.journal, other)]));
    }
    if let Some(last) = journal.last.filter(|last| *last < made.last) {
        let about = "the last entry: this journal is shorter than that of the report";
        return Ok(only(vec![difference(about, &made.last, &last)]));
    }
    let Again {
        gathered,
        differences: of_entries,
        since,
    } = match again(daemon, made) {
        Ok(again) => again,
        Err(error) if !journal.is_intact() => {
            let damage = Difference {
                about: format!("everything: {error}"),
                reported: None,
                journal: None,
            };
            return Ok(Checked {
                findings: journal.findings.len(),
                ..only(vec![damage])
            });
        }
        Err(error) => return Err(error),
    };
    let mut found: Vec<Difference> = release(made).into_iter().chain(of_entries).collect();
    let asked = ReportRequest {
        query: made.query.clone(),
        compare: made.compare.clone(),
        full: made.full,
        qualified: made.qualified.clone(),
        made: made.at,
        zone: made.zone.clone(),
        version: made.version.clone(),
        letterhead: Arc::clone(&made.letterhead),
        copies: Arc::clone(&made.copies),
        lines: if made.checkable {
            lines_of(daemon, &gathered)?
        } else {
            None
        },
    };
    found.extend(differences(text, &Report::new(gathered, asked)));
    Ok(Checked {
        differences: found,
        verdicts: journal.verdicts,
        findings: journal.findings.len(),
        since,
    })
}

fn difference(about: &str, reported: &impl ToString, journal: &impl ToString) -> Difference {
    Difference {
        about: about.to_owned(),
        reported: Some(reported.to_string()),
        journal: Some(journal.to_string()),
    }
}

/// Says that a page which this release cannot make again is not verified.
fn tell_other(
    context: &Context,
    file: &Path,
    made: &Made,
    other: &OtherLayout,
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    if context.json {
        let line = json!({
            "kind": "verified_report",
            "file": file,
            "agrees": false,
            "compared": false,
            "why": other.to_string(),
            "remedy": other.remedy(),
            "layout": made.layout,
        });
        writeln!(out, "{line}")?;
        return Ok(Exit::No);
    }
    writeln!(
        out,
        "{}: {BAD}not verified{BAD:#}: {other}\n{HELP}help{HELP:#}: {}",
        file.display(),
        safe(&other.remedy())
    )?;
    Ok(Exit::No)
}

fn tell(
    context: &Context,
    file: &Path,
    made: Option<&Made>,
    checked: &Checked,
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    if context.json {
        as_json(file, made, checked, out)?;
    } else {
        as_text(file, made, checked, out)?;
    }
    Ok(if checked.agrees() {
        Exit::Yes
    } else {
        Exit::No
    })
}

fn as_text(
    file: &Path,
    made: Option<&Made>,
    checked: &Checked,
    out: &mut dyn Write,
) -> Result<(), Failure> {
    let file = file.display();
    let found = &checked.differences;
    match found.len() {
        0 if checked.findings > 0 => writeln!(
            out,
            "{file}: {BAD}not verified{BAD:#}: it is as the journal gives it, and the journal is not intact"
        )?,
        0 => writeln!(
            out,
            "{file}: {GOOD}agrees{GOOD:#} with the journal in every word and picture"
        )?,
        1 => writeln!(
            out,
            "{file}: {BAD}differs from the journal{BAD:#} in 1 place"
        )?,
        more => writeln!(
            out,
            "{file}: {BAD}differs from the journal{BAD:#} in {more} places"
        )?,
    }
    for difference in found.iter().take(MOST_SHOWN) {
        writeln!(out, "  {BAD}{}{BAD:#}", safe(&difference.about))?;
        let sides = [
            ("reported", &difference.reported),
            ("journal ", &difference.journal),
        ];
        for (side, says) in sides {
            match says {
                Some(says) => writeln!(out, "    {side}  {}", safe(&short(says)))?,
                None if difference.reported.is_some() || difference.journal.is_some() => {
                    writeln!(out, "    {side}  (nothing)")?;
                }
                None => {}
            }
        }
    }
    if let Some(more) = found.len().checked_sub(MOST_SHOWN).filter(|more| *more > 0) {
        writeln!(out, "  and {more} more")?;
    }
    let Some(made) = made else {
        return Ok(());
    };
    writeln!(
        out,
        "  journal   {}, up to entry {}",
        safe(&made.journal.0),
        made.last
    )?;
    match checked.findings {
        0 if checked.verdicts > 0 => writeln!(
            out,
            "  chain     intact, {} verdicts judged again",
            checked.verdicts
        )?,
        0 => {}
        findings => writeln!(
            out,
            "  chain     {BAD}{}{BAD:#}\n{HELP}help{HELP:#}: find the fault of the journal: tallyjaw verify",
            count(findings, "finding")
        )?,
    }
    let zone = clock::zone();
    let for_people = |says: String| {
        let at = says.parse::<WallMicros>();
        at.map_or(says, |at| at.local(&zone))
    };
    let unvouched = unvouched(made).into_iter();
    let unvouched = unvouched.map(|(about, says)| format!("{about} ({})", for_people(says)));
    let unvouched: Vec<String> = unvouched.collect();
    writeln!(out, "  not in the journal: {}", safe(&unvouched.join(", ")))?;
    match checked.since {
        (0, _) => {}
        (since, 0) => writeln!(
            out,
            "  since     {since} more entries, none about these series"
        )?,
        (since, about) => writeln!(
            out,
            "  since     {since} more entries, {about} of them about these series: make the report again to include them"
        )?,
    }
    Ok(())
}

fn as_json(
    file: &Path,
    made: Option<&Made>,
    checked: &Checked,
    out: &mut dyn Write,
) -> Result<(), Failure> {
    let differences = checked.differences.iter().map(|difference| {
        json!({
            "about": difference.about,
            "reported": difference.reported,
            "journal": difference.journal,
        })
    });
    let line = json!({
        "kind": "verified_report",
        "file": file,
        "agrees": checked.agrees(),
        "compared": true,
        "not_vouched_for": made.map_or_else(Vec::new, |made| unvouched(made).iter().map(
            |(about, reported)| json!({ "about": about, "reported": reported })
        ).collect()),
        "differences": differences.collect::<Vec<_>>(),
        "layout": made.map(|made| made.layout),
        "journal": made.map(|made| made.journal.0.as_str()),
        "last": made.map(|made| made.last.0),
        "journal_findings": checked.findings,
        "verdicts": checked.verdicts,
        "entries_since": checked.since.0,
        "entries_since_about_it": checked.since.1,
    });
    writeln!(out, "{line}")?;
    Ok(())
}
