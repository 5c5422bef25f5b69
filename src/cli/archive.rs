//! `tallyjaw archive`: exit 0 if all of it is intact, 1 if something is damaged, 2 if it cannot be done, 4 if a file
//! cannot be read or written.

use super::query::{lines, time};
use super::verify::{Folder, Outside};
use super::{Context, Exit, Failure};
use crate::archive::{
    ArchiveError, Evidence, Extended, Removed, SUMS, extend, remove_before, restore,
};
use crate::entry::Seq;
use crate::files;
use crate::journal::Kept;
use crate::journal::Report;
use crate::quantity::WallMicros;
use serde_json::{Value, json};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Archive the journal, its pictures and the configuration
///
/// DIR has the layout of a state folder, so `verify DIR` and `verify FILE --state-dir DIR` read it, here or on another
/// machine. SHA256SUMS in it lists every file. If DIR is an archive already, new entries and files are added, and
/// nothing in it is changed. It can run while the daemon writes. No secret is copied: no token, no private key.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw archive /mnt/backup/bench-1\n  tallyjaw verify /mnt/backup/bench-1         is it whole and unchanged?\n  tallyjaw archive /mnt/backup/bench-1 --remove-before 2024-01-01 -n\n                                              how much room would that make on the bench?\n  tallyjaw archive /mnt/backup/bench-1 --restore /var/lib/tallyjaw\n                                              a state folder for a new machine\n\nWithout tallyjaw: cd DIR && sha256sum -c SHA256SUMS\n\nExit codes: 0 intact; 1 something is damaged, and named; 2 no configuration, or it cannot be done; 4 a file cannot be read or written."
)]
pub(super) struct Archive {
    /// The folder of the archive
    #[arg(value_name = "DIR")]
    dir: PathBuf,
    /// Then remove the full segments of the bench that ended before this time; the daemon must be stopped
    #[arg(long, value_name = "TIME", value_parser = time, conflicts_with = "restore")]
    remove_before: Option<WallMicros>,
    /// With --remove-before: show what would be removed, and remove nothing
    #[arg(short = 'n', long, requires = "remove_before")]
    dry_run: bool,
    /// Make this state folder from the archive instead
    #[arg(long, value_name = "STATE_DIR")]
    restore: Option<PathBuf>,
    /// With --restore: the last entry that anybody knows, such as a broker, a label or a report
    #[arg(long, value_name = "SEQ", requires = "restore")]
    last_known: Option<u64>,
}

impl Archive {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        if let Some(state_dir) = &self.restore {
            return self.make(state_dir, context, out);
        }
        let (main, config) = context.load()?;
        let daemon = config.daemon;
        let configuration = files::named(&main)
            .map_err(|error| Failure::usage(error.to_string()).with_remedy(error.remedy()))?;
        let evidence = Evidence {
            state_dir: &daemon.state_dir,
            durable: lines::durable_end(&daemon),
            configuration: &names(&main, configuration),
        };
        let extended = extend(&self.dir, &evidence).map_err(|error| failure(&error))?;
        let folder = Folder::verified(&self.dir, Kept::default(), Outside::default())?;
        let removed = match self.remove_before {
            Some(before) if folder.is_usable() => {
                let removed = remove_before(&daemon.state_dir, &self.dir, before, self.dry_run);
                Some(removed.map_err(|error| failure(&error))?)
            }
            Some(_) | None => None,
        };
        if context.json {
            let written = json!({"files": extended.files, "bytes": extended.bytes});
            let mut object = folder.as_json();
            if let Some(fields) = object.as_object_mut() {
                fields.insert("written".to_owned(), written);
                let name = if self.dry_run {
                    "would_remove"
                } else {
                    "removed"
                };
                fields.extend(removed.as_ref().map(|it| (name.to_owned(), as_json(it))));
            }
            writeln!(out, "{object}")?;
            return Ok(folder.exit());
        }
        folder.write(false, &self.dir, out)?;
        let Extended { files, bytes } = extended;
        writeln!(out, "written: {files} files, {bytes} bytes")?;
        match (&removed, self.remove_before) {
            (Some(removed), _) => write_removed(out, removed, self.dry_run)?,
            (None, Some(_)) => writeln!(out, "removed: nothing, since the archive is not intact")?,
            (None, None) => {}
        }
        Ok(folder.exit())
    }

    /// Makes a state folder from the archive.
    fn make(
        &self,
        state_dir: &Path,
        context: &Context,
        out: &mut dyn Write,
    ) -> Result<Exit, Failure> {
        let folder = Folder::verified(&self.dir, Kept::default(), Outside::default())?;
        if !folder.is_archive() {
            let dir = self.dir.display();
            return Err(
                Failure::usage(format!("{dir} is not an archive: it has no {SUMS}"))
                    .with_remedy("name the folder that `tallyjaw archive` has made"),
            );
        }
        let Report {
            journal,
            last,
            last_digest,
            ..
        } = &folder.report;
        let (Some(journal), Some(last), Some(digest), true) =
            (journal, *last, *last_digest, folder.is_usable())
        else {
            folder.write(context.json, &self.dir, out)?;
            return Ok(Exit::No);
        };
        let known = self.last_known.map(Seq);
        let copied = restore(&self.dir, state_dir, (journal, last, digest), known)
            .map_err(|error| failure(&error))?;
        if context.json {
            writeln!(
                out,
                "{}",
                json!({"restored": state_dir, "files": copied, "journal": journal.0, "last": last.0})
            )?;
            return Ok(Exit::Yes);
        }
        let folder = state_dir.display();
        writeln!(
            out,
            "{folder}: {copied} files, journal {journal} up to entry {last}"
        )?;
        writeln!(
            out,
            "  The files of the configuration are in {}: put them where they belong.",
            self.dir.join("configuration").display()
        )?;
        writeln!(
            out,
            "  The bench that it was made from must not continue: both would write entries with the same numbers."
        )?;
        match known.filter(|known| *known > last) {
            Some(known) => writeln!(
                out,
                "  Entries {} to {known} are lost. The daemon starts once that is accepted: tallyjaw serve --accept-rollback {last}",
                last.following()
            )?,
            None => writeln!(
                out,
                "  If a broker, a label or a report knows a later entry, restore again with --last-known SEQ."
            )?,
        }
        Ok(Exit::Yes)
    }
}

fn failure(error: &ArchiveError) -> Failure {
    let text = error.to_string();
    let failure = match error {
        ArchiveError::Failed(_) | ArchiveError::Journal(_) => Failure::io(text),
        ArchiveError::Unlike { .. } | ArchiveError::Occupied { .. } => Failure::usage(text),
    };
    failure.with_remedy_of(error.remedy())
}

/// Names for the configuration's files in the archive: the path relative to the main file's folder, or the last name of
/// a file elsewhere.
fn names(main: &Path, files: Vec<PathBuf>) -> Vec<(String, PathBuf)> {
    let beside = main.parent().unwrap_or(Path::new(""));
    let mut named: Vec<(String, PathBuf)> = Vec::new();
    for file in files {
        let inside = file.strip_prefix(beside).ok().filter(|inside| {
            inside
                .components()
                .all(|part| matches!(part, std::path::Component::Normal(_)))
        });
        let name = match inside {
            // With the mark between folders that SHA256SUMS has on every system.
            Some(inside) => {
                let parts = inside.iter().map(|part| part.to_string_lossy());
                parts.collect::<Vec<_>>().join("/")
            }
            None => format!(
                "elsewhere/{}",
                file.file_name().unwrap_or_default().to_string_lossy()
            ),
        };
        let name = name.replace(['\n', '\r', '\\'], "_");
        let twins = named.iter().filter(|(other, _)| *other == name).count();
        let name = if twins == 0 {
            name
        } else {
            format!("{name}.{twins}")
        };
        named.push((name, file));
    }
    named
}

fn as_json(removed: &Removed) -> Value {
    json!({
        "segments": removed.segments,
        "pictures": removed.pictures,
        "last": removed.last.map(|(seq, _)| seq.0),
        "digest": removed.last.map(|(_, digest)| digest.to_string()),
    })
}

fn write_removed(out: &mut dyn Write, removed: &Removed, is_dry: bool) -> Result<(), Failure> {
    let done = if is_dry { "would remove" } else { "removed" };
    let Some((seq, digest)) = removed.last else {
        writeln!(
            out,
            "{done}: nothing, since no full segment ended before that time"
        )?;
        return Ok(());
    };
    writeln!(
        out,
        "{done}: segments {}, pictures {}, up to entry {seq}",
        removed.segments, removed.pictures
    )?;
    if is_dry {
        return Ok(());
    }
    writeln!(
        out,
        "The bench's journal now begins after entry {seq}. To show that nothing else is missing: tallyjaw verify --digest {digest}"
    )?;
    Ok(())
}
