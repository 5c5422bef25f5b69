//! `tallyjaw verify [STATE_DIR|FILE]`: exit 0 if the journal is intact; 1 if an entry was changed or does not follow; 2
//! without a configuration; 4 if it cannot be read. For a report or export: 0 if it agrees with its journal, 1 if it
//! does not.

mod anchors;
mod claim;
mod export;
mod finding;
mod label;
mod report;
mod seals;
mod stamped;

use super::progress::Progress;
use super::{Context, Exit, Failure};
use crate::album::{self, Looked as Pictures, Named};
use crate::archive;
use crate::config::DaemonConfig;
use crate::durable::Failed;
use crate::entry::Seq;
use crate::entry::line::{Digest, NEWER_REMEDY};
use crate::entry::words::safe;
use crate::export::{ExportFormat, Question, ReadError};
use crate::journal::{self, Cursor, Kept, ParsedLine, Report, StoredLine};
use crate::timestamp::Authority;
use anchors::Anchors;
use anstyle::{AnsiColor, Style};
use serde_json::{Value, json};
use stamped::Stamped;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

const GOOD: Style = AnsiColor::Green.on_default().bold();
const BAD: Style = AnsiColor::Red.on_default().bold();
const HELP: Style = AnsiColor::Cyan.on_default();

/// The commands that check the chain without tallyjaw; a test runs them.
const COMMON_TOOLS: &str = include_str!("../verify_chain.sh");

/// Verify the journal, or a report or an export against it
///
/// Each line holds the SHA-256 of the line before, so no line can be changed, removed or inserted unnoticed. Every
/// verdict is judged again from the limits of its series, every value is decoded again from its bytes, and the order of
/// times is checked. Every picture is compared with the digest in its entry. It only reads, and can run while the
/// daemon writes. No later line protects the last one: keep the digest that is printed, and give it to a later run
/// with --digest.
///
/// A report is made again from the journal. Every word, number and line of a picture that differs is shown, as it is
/// reported and as the journal gives it. What the journal does not contain (when and by which release the report was
/// made) is listed. A report whose layout this release does not make is not verified.
///
/// An export (csv, jsonl, parquet) has its options with it: in FILE.question.json beside it, or in the metadata of a
/// Parquet file. It is made again from the journal; rows that were changed, added, repeated or left out are shown. The
/// kept options can be forged too: they are shown, and if you give options yourself (--series, --axis, …) they must be
/// the same. Without kept options the rows are compared, but missing rows cannot be found. The file may have been
/// sorted or saved by another program.
///
/// With --anchor the journal is compared with anchors, {"seq":…,"digest":…}, that a broker or an outlet keeps of it
/// (docs/integrate.md): a journal that was cut behind one, or written again as a whole, is found.
///
/// With --label the text of a label's code is compared with the journal: the entry, and the outcome up to then and since.
///
/// If the bench has a signing key (tallyjaw key), its seals are checked. A journal that somebody rewrote as a whole
/// without the key is found with --key FILE, where FILE has the public key as it was kept elsewhere; without it the
/// keys are shown, and nobody vouches for them. The signature beside a report or an export, FILE.sig, is checked; with
/// --key it must be by a key in that file, or by one that such a key has signed in the journal, whose seals must hold
/// too.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw verify\n  tallyjaw verify /mnt/old-laptop/state     a journal without its configuration\n  tallyjaw verify series-37.html            a report against the journal\n  tallyjaw verify --digest 5f3a…            is that line still in the journal?\n  tallyjaw verify --anchor kept.jsonl       has it every line that was anchored elsewhere?\n  mosquitto_sub -h broker -C 1 -t 'tallyjaw/anchors/#' | tallyjaw verify --anchor -\n  tallyjaw verify --key bench-1.allowed     are the seals by the key that was kept?\n  tallyjaw verify november.csv              an export against the journal\n  tallyjaw verify pulls.csv --series 37 --axis pull_force\n                                            are these options its options, and is nothing missing?\n  tallyjaw verify --label 'TJ1 SERIES 37 ACCEPTED ENTRY 412 5F3A…'\n                                            is what was scanned from a label what the journal says?\n  tallyjaw verify series-37.html --state-dir /mnt/old-laptop/state\n\nExit codes: 0 intact, or the file agrees; 1 damage was found, there is no journal, or the file differs from it; 2 no configuration, or the file is neither a report nor an export; 4 the journal or the file cannot be read."
)]
pub(super) struct Verify {
    /// The state folder of a daemon, a report or an export [default: the configured state folder]
    #[arg(value_name = "STATE_DIR|FILE")]
    path: Option<PathBuf>,
    /// The state folder whose journal the file is compared with [default: the configured one]
    #[arg(long, value_name = "STATE_DIR", requires = "path")]
    state_dir: Option<PathBuf>,
    /// A digest from an earlier `verify`, a report or `archive`: the journal must still have that line, or begin after
    /// it
    #[arg(long, value_name = "SHA256", value_parser = digest, conflicts_with = "state_dir")]
    digest: Option<Digest>,
    /// The certificate in PEM of an authority: are the time stamps of the journal signed by it? Once for each authority
    #[arg(long, value_name = "FILE", conflicts_with_all = ["state_dir", "label"])]
    authority: Vec<PathBuf>,
    /// Anchors that others keep of the journal: a file (- is standard input) or a web address with one, or one on each
    /// line, or a Parquet file of a data set; the journal must have each line. Once for each source
    #[arg(long, value_name = "FILE|URL", conflicts_with_all = ["state_dir", "label"])]
    anchor: Vec<String>,
    /// The certificates in PEM that the server of an https address is checked against [default: the system's]
    #[arg(long, value_name = "FILE", requires = "anchor")]
    ca_file: Option<PathBuf>,
    /// A public key, or a file of allowed signers: whether the seals, or the signature of the file, are by a key in it
    #[arg(long, value_name = "FILE")]
    key: Option<PathBuf>,
    /// The text of a label's code, as a scanner reads it: is it what the journal says?
    #[arg(long, value_name = "TEXT", conflicts_with_all = ["state_dir", "digest"])]
    label: Option<String>,
    #[command(flatten)]
    demanded: claim::Demanded,
}

impl Verify {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let kept = |digest: Option<Digest>| -> Result<Kept, Failure> {
            let keys = self.key.as_deref().map(seals::trusted).transpose()?;
            Ok(Kept { digest, keys })
        };
        let configured = || -> Result<PathBuf, Failure> { Ok(context.load()?.1.daemon.state_dir) };
        let state_dir = match (self.path, self.state_dir) {
            (Some(file), _) if file.is_file() && self.label.is_some() => {
                return Err(Failure::usage(format!(
                    "{} is a file, but --label needs a journal",
                    file.display()
                ))
                .with_remedy("name the state folder, or leave the file out"));
            }
            (Some(file), _) if file.is_file() && self.digest.is_some() => {
                return Err(Failure::usage(format!(
                    "{} is a file, but --digest needs a journal",
                    file.display()
                ))
                .with_remedy("name the state folder, or leave out --digest"));
            }
            (Some(file), _) if file.is_file() && !self.anchor.is_empty() => {
                return Err(Failure::usage(format!(
                    "{} is a file, but --anchor needs a journal",
                    file.display()
                ))
                .with_remedy("name the state folder, or leave out --anchor"));
            }
            (Some(file), named) if file.is_file() => {
                let kept = kept(None)?;
                let state_dir = named.clone().or_else(|| configured().ok());
                let (keys, journal) = (kept.keys.as_ref(), state_dir.as_deref());
                let mut is_signed = seals::signature(context, &file, keys, journal, out)?;
                let question = Question::beside(&file);
                if question.is_file() {
                    is_signed &= seals::signature(context, &question, keys, journal, out)?;
                }
                let exit = of_file(context, &file, named, (&self.demanded, kept), out)?;
                return Ok(if is_signed { exit } else { Exit::No });
            }
            (Some(nowhere), None) if !nowhere.exists() => {
                return Err(Failure::io(format!("there is no {}", nowhere.display()))
                    .with_remedy("name a state folder, a report or an export; without a name the configured journal is verified"));
            }
            (Some(folder), None) => folder,
            (Some(other), Some(_)) => {
                return Err(Failure::usage(format!(
                    "{} is not a file, want a report or an export",
                    other.display()
                ))
                .with_remedy("make one: tallyjaw report SERIES, tallyjaw export csv -o FILE"));
            }
            (None, _) => configured()?,
        };
        if self.demanded.is_any() {
            return Err(
                Failure::usage("these options are only for exports").with_remedy(
                    "name an export: tallyjaw verify FILE; of a journal everything is verified",
                ),
            );
        }
        if let Some(text) = &self.label {
            return label::verify(context, text, &state_dir, kept(None)?, out);
        }
        let authority = stamped::authority(&self.authority)?;
        let outside = Outside {
            authority,
            anchors: Anchors::read(&self.anchor, self.ca_file.as_deref())?,
        };
        let folder = Folder::verified(&state_dir, kept(self.digest)?, outside)?;
        folder.write(context.json, &state_dir, out)?;
        Ok(folder.exit())
    }
}

/// What others say of the journal.
#[derive(Default)]
pub(super) struct Outside {
    authority: Option<Authority>,
    anchors: Anchors,
}

/// The journal of a state folder or archive and its pictures, after verification.
pub(super) struct Folder {
    pub(super) report: Report,
    pictures: Pictures,
    /// Number of files of an archive, compared with its list.
    files: Option<usize>,
    stamped: Stamped,
    anchors: Anchors,
}

impl Folder {
    /// Verifies all of it, and compares it with what was `kept` elsewhere.
    pub(super) fn verified(folder: &Path, kept: Kept, outside: Outside) -> Result<Self, Failure> {
        let Outside {
            authority,
            mut anchors,
        } = outside;
        let mut named = Named::default();
        let mut stamped = Stamped::read(folder)?;
        let entered = |line: &[u8], _: &ParsedLine| album::pictured(line);
        let mut report = walked(folder, kept, entered, |line, pictured| {
            named.take(line.bytes, pictured);
            stamped.take(line);
            anchors.take(line);
        })?;
        let pictures = named.look(folder).map_err(|failed| unreadable(&failed))?;
        report.findings.extend(pictures.findings.iter().cloned());
        stamped.held_against(authority.as_ref(), &mut report);
        anchors.compare(&mut report);
        let summed = archive::check(folder).map_err(|failed| unreadable(&failed))?;
        let files = summed.as_ref().map(|summed| summed.files);
        report
            .findings
            .extend(summed.into_iter().flat_map(|summed| summed.findings));
        Ok(Self {
            report,
            pictures,
            files,
            stamped,
            anchors,
        })
    }

    /// Writes the findings, as text or JSON.
    pub(super) fn write(&self, json: bool, folder: &Path, out: &mut dyn Write) -> io::Result<()> {
        if json {
            return writeln!(out, "{}", self.as_json());
        }
        self.write_text(out, &folder.join(journal::JOURNAL_FOLDER))
    }

    /// Whether it is an archive, whose files are in its list.
    pub(super) const fn is_archive(&self) -> bool {
        self.files.is_some()
    }

    /// Whether there is a journal without faults other than accepted ones.
    pub(super) fn is_usable(&self) -> bool {
        let mut findings = self.report.findings.iter();
        self.report.segments > 0 && findings.all(|finding| finding.accepted_in.is_some())
    }

    /// Exit code 0 if nothing was found.
    pub(super) fn exit(&self) -> Exit {
        if self.report.is_intact() {
            Exit::Yes
        } else {
            Exit::No
        }
    }
}

fn unreadable(failed: &Failed) -> Failure {
    Failure::io(failed.to_string()).with_remedy("check the permissions of the folder")
}

/// Verifies a report or an export, recognized by its content, and what was kept of its journal.
fn of_file(
    context: &Context,
    file: &Path,
    state_dir: Option<PathBuf>,
    (demanded, kept): (&claim::Demanded, Kept),
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    match ExportFormat::of(file) {
        Ok(form) => {
            let daemon = daemon(context, state_dir)?;
            export::verify(context, (file, form), &daemon, (demanded, kept), out)
        }
        Err(ReadError::Other { .. }) if report::is_page(file) && demanded.is_any() => {
            let file = file.display();
            let text = format!("{file} is a report, but these options are only for exports");
            Err(Failure::usage(text)
                .with_remedy("leave them out: a report is always compared as a whole"))
        }
        Err(ReadError::Other { .. }) if report::is_page(file) => {
            report::verify(context, file, state_dir, kept, out)
        }
        Err(error) => Err(export::unreadable(file, &error)),
    }
}

/// The configured folders, or a substitute where only a state folder is named.
fn daemon(context: &Context, state_dir: Option<PathBuf>) -> Result<DaemonConfig, Failure> {
    match state_dir {
        None => Ok(context.load()?.1.daemon),
        Some(state_dir) => Ok(DaemonConfig::of_folder(state_dir)),
    }
}

/// A text cut to a length that can be read: a line of a page or journal may be long.
fn short(text: &str) -> String {
    const MOST: usize = 160;
    match text.char_indices().nth(MOST) {
        Some((at, _)) => format!("{}…", text.get(..at).unwrap_or_default()),
        None => text.to_owned(),
    }
}

fn digest(text: &str) -> Result<Digest, String> {
    let text = text.trim().to_ascii_lowercase();
    text.parse()
        .map_err(|_| "want 64 hex digits, as `tallyjaw verify` prints them".to_owned())
}

/// Checks every line of the journal. `work` is done on the lines by all processors; `each` gets the result.
fn walked<W: Send>(
    state_dir: &Path,
    kept: Kept,
    work: impl Fn(&[u8], &ParsedLine) -> W + Sync,
    mut each: impl FnMut(StoredLine<'_>, W),
) -> Result<Report, Failure> {
    let failed = |error: journal::JournalError| {
        Failure::io(error.to_string()).with_remedy_of(error.remedy())
    };
    let ahead = Cursor::new(state_dir, Seq(0)).and_then(|mut cursor| cursor.bytes_ahead());
    let mut progress = Progress::of_bytes("checking the journal", ahead.unwrap_or(0));
    journal::verify_with(state_dir, kept, work, |line, done| {
        progress.advance(line.stored_len());
        each(line, done);
    })
    .map_err(failed)
}

impl Folder {
    fn write_text(&self, out: &mut dyn Write, folder: &Path) -> io::Result<()> {
        let Self {
            report,
            pictures,
            files,
            stamped,
            anchors,
        } = self;
        for finding in &report.findings {
            finding::write(out, finding)?;
        }
        let folder = folder.display();
        if report.segments == 0 {
            return writeln!(
                out,
                "{folder}: {BAD}no journal{BAD:#}\n{HELP}help{HELP:#}: if nothing was recorded yet, `tallyjaw serve` begins a journal; else name the right state folder: tallyjaw verify STATE_DIR"
            );
        }
        let (Some(journal), Some(last), Some(digest)) =
            (&report.journal, report.last, report.last_digest)
        else {
            return writeln!(out, "{folder}: no entry");
        };
        match report.findings.len() {
            0 => writeln!(out, "journal {journal}: {GOOD}intact{GOOD:#}")?,
            1 => writeln!(out, "journal {journal}: {BAD}1 finding{BAD:#}")?,
            more => writeln!(out, "journal {journal}: {BAD}{more} findings{BAD:#}")?,
        }
        if report.newer > 0 {
            writeln!(
                out,
                "  newer     {} entries are not checked by this release; {NEWER_REMEDY}",
                report.newer
            )?;
        }
        let first = report
            .first
            .map_or_else(|| "?".to_owned(), |seq| seq.to_string());
        writeln!(out, "  entries   {} ({first} to {last})", report.entries)?;
        writeln!(
            out,
            "  segments  {} ({} bytes)",
            report.segments, report.bytes
        )?;
        writeln!(out, "  readings  {}", report.readings)?;
        writeln!(out, "  verdicts  {} judged again", report.verdicts)?;
        match report.values_unchecked {
            0 => writeln!(
                out,
                "  values    {} read again from their bytes",
                report.values
            )?,
            unchecked => writeln!(
                out,
                "  values    {} read again from their bytes; {unchecked} not checked, since the journal does not name their format",
                report.values
            )?,
        }
        write_pictures(out, pictures)?;
        seals::write(out, &report.seals)?;
        stamped.write(out, report.is_intact())?;
        anchors.write(out, report)?;
        if let Some(files) = files {
            writeln!(out, "  files     {files} compared with {}", archive::SUMS)?;
        }
        if let (Some((kept, Some(seq))), Some(first)) = (report.kept, report.first)
            && seq < first
        {
            writeln!(
                out,
                "  digest    {kept} is of the line before entry {first}, with which the journal begins here"
            )?;
        } else if let Some((kept, Some(seq))) = report.kept {
            let since = report.last.map_or(0, |last| last.0.saturating_sub(seq.0));
            writeln!(
                out,
                "  digest    {kept} is of entry {seq}; {since} entries since"
            )?;
        }
        if report.unfinished_bytes > 0 {
            writeln!(
                out,
                "  after the last line there are {} bytes of an incomplete one: it is being written, or a crash broke it off, then the next start sets it aside",
                report.unfinished_bytes
            )?;
        }
        writeln!(out, "  last line {digest}")?;
        writeln!(
            out,
            "{HELP}help{HELP:#}: keep that digest on another machine; to check the chain without tallyjaw, in {folder}:"
        )?;
        COMMON_TOOLS
            .lines()
            .try_for_each(|line| writeln!(out, "  {line}"))
    }

    pub(super) fn as_json(&self) -> Value {
        let Self {
            report,
            pictures,
            files,
            stamped,
            anchors,
        } = self;
        let mut object = json!({
            "intact": report.is_intact(),
            "segments": report.segments,
            "entries": report.entries,
            "readings": report.readings,
            "verdicts": report.verdicts,
            "values": report.values,
            "values_unchecked": report.values_unchecked,
            "pictures": pictures.pictures,
            "pictures_unnamed": pictures.unnamed,
            "bytes": report.bytes,
            "unfinished_bytes": report.unfinished_bytes,
            "newer": report.newer,
            "seals": seals::json(&report.seals),
            "findings": report.findings.iter().map(finding::json).collect::<Vec<_>>(),
        });
        let known = [
        (
            "journal",
            report.journal.as_ref().map(|journal| json!(journal.0)),
        ),
        ("first", report.first.map(|seq| json!(seq.0))),
        ("last", report.last.map(|seq| json!(seq.0))),
        (
            "digest_kept",
            report
                .kept
                .map(|(digest, seq)| json!({ "digest": digest.to_string(), "seq": seq.map(|seq| seq.0) })),
        ),
        ("files", files.map(|files| json!(files))),
        ("time_stamps", stamped.as_json()),
        ("anchors", anchors.as_json()),
        (
            "last_digest",
            report.last_digest.map(|digest| json!(digest.to_string())),
        ),
    ];
        add_known(&mut object, known);
        object
    }
}

fn write_pictures(out: &mut dyn Write, pictures: &Pictures) -> io::Result<()> {
    if pictures.pictures > 0 {
        let number = pictures.pictures;
        writeln!(out, "  pictures  {number} compared with their digests")?;
    }
    if !pictures.unnamed.is_empty() {
        writeln!(
            out,
            "  files that no entry names: {}; a power cut between a picture and its entry leaves such a file, and it may be removed",
            safe(&pictures.unnamed.join(", "))
        )?;
    }
    Ok(())
}

/// Adds known values; unknown ones are left out.
fn add_known<const N: usize>(object: &mut Value, known: [(&str, Option<Value>); N]) {
    let Some(fields) = object.as_object_mut() else {
        return;
    };
    for (name, value) in known {
        fields.extend(value.map(|value| (name.to_owned(), value)));
    }
}
