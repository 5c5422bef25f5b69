//! Reads all files of the configuration.
//!
//! In: the path of the main file. Out: a checked configuration, or all faults of all files.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: reads the files of the configuration"
)]

use crate::clock;
use crate::config::import::decode;
use crate::config::{self, Config, DaemonConfig, Faulty, FilePattern, Files, MainFile, Source};
use crate::letterhead::Letterhead;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Maximum size of a file.
const LARGEST_FILE: u64 = 1 << 20;
/// Maximum number of files; no shop has more sheets.
const MOST_FILES: usize = 1_000;

/// Why there is no configuration.
#[derive(Debug, thiserror::Error)]
pub enum LoadError {
    /// The main file could not be read.
    #[error("cannot read {}: {cause}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Error of the system.
        cause: io::Error,
    },
    /// The files were read and contain errors.
    #[error("{} in the configuration", faults(.0.diagnostics.len()))]
    Faulty(Faulty),
}

fn faults(count: usize) -> String {
    match count {
        1 => "1 error".to_owned(),
        more => format!("{more} errors"),
    }
}

impl LoadError {
    /// What to do. It is printed on a line of its own, never as part of the message.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Unreadable { cause, .. } if cause.kind() == io::ErrorKind::PermissionDenied => {
                "give this user read permission, or run as the file's owner"
            }
            Self::Unreadable { cause, .. } if cause.kind() == io::ErrorKind::InvalidData => {
                "save it as plain text in UTF-8"
            }
            Self::Unreadable { .. } => {
                "check the file name in --config or TALLYJAW_CONFIG; to make a new configuration: tallyjaw init DIR"
            }
            Self::Faulty { .. } => "correct the marked places, then check again: tallyjaw check",
        }
    }

    /// Every fault as text with its line and a caret; empty if no file was read.
    pub fn rendered(&self, colour: bool) -> Vec<String> {
        match self {
            Self::Faulty(faulty) => faulty.rendered(colour),
            Self::Unreadable { .. } => Vec::new(),
        }
    }
}

/// Reads the main file and all files that it names.
pub fn load(main: &Path) -> Result<Config, LoadError> {
    let (main_file, files) = read_over(main, &Over::new())?;
    let config = config::assemble(main_file, &files).map_err(LoadError::Faulty)?;
    clock::read_by(config.shop.zone.clone());
    Ok(config)
}

/// As [`load`], with `text` as the content of the main file.
pub fn load_text(main: &Path, text: String) -> Result<Config, LoadError> {
    let text = BTreeMap::from([(main.to_path_buf(), text)]);
    let (main_file, files) = read_over(main, &text)?;
    config::assemble(main_file, &files).map_err(LoadError::Faulty)
}

/// Texts that replace the content of files, or stand for files that do not exist yet.
pub(crate) type Over = BTreeMap<PathBuf, String>;

/// The patterns of one kind of file in the main file.
type Patterns = fn(&MainFile) -> &[FilePattern];

/// All files as they would be with `over`. References between them are not checked yet.
pub(crate) fn read_over(main: &Path, over: &Over) -> Result<(MainFile, Files), LoadError> {
    let text = text_of(main, (read, over)).map_err(|cause| LoadError::Unreadable {
        path: main.to_path_buf(),
        cause,
    })?;
    let mut main_file = config::main_file(&Source {
        path: main.to_path_buf(),
        text,
    });
    if let Some(name) = main_file.time_zone() {
        let found = clock::zone_named(name);
        main_file.found_zone(found);
    }
    read_logo(&mut main_file);
    let mut seen = BTreeSet::new();
    let mut group = |patterns: Patterns, main_file: &mut MainFile, read: ReadText| {
        let mut sources = Vec::new();
        for pattern in patterns(main_file).to_vec() {
            sources.extend(read_all(&pattern, main_file, &mut seen, (read, over)));
        }
        sources
    };
    let files = Files {
        sheets: group(MainFile::sheets, &mut main_file, read),
        plans: group(MainFile::plans, &mut main_file, read),
        tools: group(MainFile::tools, &mut main_file, read),
        jobs: group(MainFile::jobs, &mut main_file, read_cells),
    };
    Ok((main_file, files))
}

/// Every file of a configuration, the main file first.
pub fn named(main: &Path) -> Result<Vec<PathBuf>, LoadError> {
    let (main_file, files) = read_over(main, &Over::new())?;
    let groups = [files.sheets, files.plans, files.tools, files.jobs];
    let named = groups.into_iter().flatten().map(|source| source.path);
    let logo = main_file.logo().map(Path::to_path_buf);
    Ok([main.to_path_buf()]
        .into_iter()
        .chain(named)
        .chain(logo)
        .collect())
}

fn read_logo(main_file: &mut MainFile) {
    if let Some(file) = main_file.logo() {
        let read = bytes(file).map_err(|cause| cause.to_string());
        main_file.found_logo(read);
    }
}

/// Whether a file of this name would be read for `pattern`.
pub(crate) fn would_read(pattern: &FilePattern, path: &Path) -> bool {
    let escaped = glob::Pattern::escape(&pattern.base.to_string_lossy());
    let whole = Path::new(&escaped).join(&pattern.pattern);
    let pattern = glob::Pattern::new(&whole.to_string_lossy());
    pattern.is_ok_and(|pattern| pattern.matches_path(path))
}

/// The settings of the daemon in `main` and the letterhead, even if that file or others have errors. That is enough to
/// reach a daemon that runs with an earlier configuration. `None` if the file cannot be read.
pub fn main_alone(main: &Path) -> Option<(DaemonConfig, Arc<Letterhead>)> {
    let source = Source {
        path: main.to_path_buf(),
        text: read(main).ok()?,
    };
    let mut main_file = config::main_file(&source);
    read_logo(&mut main_file);
    Some((
        main_file.daemon().clone(),
        Arc::clone(main_file.letterhead()),
    ))
}

/// Reads every file that `pattern` names and that was not read before. Errors are reported at the pattern.
fn read_all(
    pattern: &FilePattern,
    main_file: &mut MainFile,
    seen: &mut BTreeSet<PathBuf>,
    (read, over): (ReadText, &Over),
) -> Vec<Source> {
    let paths = match expand(pattern, over) {
        Ok(paths) => paths,
        Err((got, help)) => {
            main_file.report(pattern, &got, "want files that are there", help);
            return Vec::new();
        }
    };
    let mut sources = Vec::new();
    for path in paths {
        if seen.len() >= MOST_FILES {
            let got = format!("more than {MOST_FILES} files");
            main_file.report(pattern, &got, "want fewer, each with many entries", None);
            break;
        }
        if !seen.insert(path.clone()) {
            continue;
        }
        match text_of(&path, (read, over)) {
            Ok(text) => sources.push(Source { path, text }),
            Err(cause) => {
                let got = format!("cannot read {}: {cause}", path.display());
                main_file.report(pattern, &got, "want files that can be read", None);
            }
        }
    }
    sources
}

/// The files of a pattern in the order of their names; at least one.
fn expand(pattern: &FilePattern, over: &Over) -> Result<Vec<PathBuf>, (String, Option<String>)> {
    let written = pattern.pattern.to_string_lossy();
    let whole = pattern.base.join(&pattern.pattern);
    if !written.contains(['*', '?', '[']) {
        if over.contains_key(&whole) {
            return Ok(vec![whole]);
        }
        return match whole.try_exists() {
            Ok(false) => Err((format!("no file {}", whole.display()), None)),
            Ok(true) | Err(_) => Ok(vec![whole]), // Reading it will report why it cannot be read.
        };
    }
    let text = if pattern.pattern.is_absolute() {
        written.into_owned()
    } else {
        let base = glob::Pattern::escape(&pattern.base.to_string_lossy());
        Path::new(&base)
            .join(&*written)
            .to_string_lossy()
            .into_owned()
    };
    let found = glob::glob(&text).map_err(|error| {
        let help = "* stands for any part of a name, ** for any folders".to_owned();
        (format!("not a pattern: {}", error.msg), Some(help))
    })?;
    let mut paths = Vec::new();
    for path in found.take(MOST_FILES + 1) {
        paths.push(path.map_err(|error| (format!("cannot look there: {error}"), None))?);
    }
    if paths.is_empty() {
        let help = "leave the key out if there is none yet".to_owned();
        return Err((format!("no file matches {}", whole.display()), Some(help)));
    }
    Ok(paths)
}

/// How a file is read.
type ReadText = fn(&Path) -> io::Result<String>;

/// The text of a table that a spreadsheet saved, in any encoding.
fn read_cells(path: &Path) -> io::Result<String> {
    Ok(decode(&bytes(path)?).0)
}

/// The text of a file as it would be with `over`.
fn text_of(path: &Path, (read, over): (ReadText, &Over)) -> io::Result<String> {
    over.get(path).cloned().map_or_else(|| read(path), Ok)
}

/// The text of a plain file in UTF-8.
pub(crate) fn read(path: &Path) -> io::Result<String> {
    String::from_utf8(bytes(path)?).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let valid = error.as_bytes().get(..at).unwrap_or(&[]);
        let line = valid.split(|byte| *byte == b'\n').count();
        // a mistake in the file, not a fault of the disk
        io::Error::new(
            io::ErrorKind::InvalidData,
            format!("not UTF-8 at line {line}"),
        )
    })
}

/// The bytes of a plain file of a size that makes sense.
pub(crate) fn bytes(path: &Path) -> io::Result<Vec<u8>> {
    let other = |what: String| io::Error::other(what);
    let metadata = fs::metadata(path)?;
    if !metadata.is_file() {
        return Err(other("not a plain file".to_owned())); // Reading a pipe could wait for ever.
    }
    let mut bytes = Vec::new();
    fs::File::open(path)?
        .take(LARGEST_FILE + 1)
        .read_to_end(&mut bytes)?;
    if u64::try_from(bytes.len()).unwrap_or(u64::MAX) > LARGEST_FILE {
        return Err(other(format!("larger than {LARGEST_FILE} bytes")));
    }
    Ok(bytes)
}

/// Shows times for people in the zone that the configuration file `main` names, before it is read as a whole. Faults in
/// it are reported where it is used.
pub fn take_zone_of(main: &Path) {
    let Ok(text) = read(main) else { return };
    let path = main.to_path_buf();
    let main_file = config::main_file(&Source { path, text });
    let zone = main_file.time_zone().map(clock::zone_named);
    clock::read_by(zone.and_then(Result::ok));
}
