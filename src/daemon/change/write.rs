//! Copies the old file beside it, and then replaces it.

use super::NewText;
use super::propose::shown;
use crate::durable::{Access, WholeFile};
use crate::entry::FileEdited;
use crate::files::{self, Over, read_over, would_read};
use crate::message::{ErrorObject, code};
use crate::quantity::{WallMicros, hex};
use sha2::{Digest, Sha256};
use std::fs;
use std::io::{self, Write as _};
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};

/// Maximum number of copies of a file that are kept.
const COPIES_MOST: usize = 20;

/// Ending of the name of a copy.
const OLD: &str = ".old";

/// SHA-256 of bytes, hex.
pub(super) fn digest(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

fn refused(message: String, remedy: impl Into<String>) -> ErrorObject {
    ErrorObject::new(code::REFUSED, message, Some(remedy.into()))
}

fn failed(action: &str, file: &str, cause: &io::Error) -> ErrorObject {
    let is = |kinds: [io::ErrorKind; 2]| kinds.contains(&cause.kind());
    let remedy = if is([
        io::ErrorKind::PermissionDenied,
        io::ErrorKind::ReadOnlyFilesystem,
    ]) {
        "let the daemon's user write to this folder"
    } else if is([io::ErrorKind::StorageFull, io::ErrorKind::QuotaExceeded]) {
        "make room on the disk, then repeat the change"
    } else {
        "nothing was changed; look at the disk of this folder"
    };
    refused(format!("cannot {action} {file}: {cause}"), remedy)
}

/// Whether a file may be replaced. This is checked before anybody has filled in a whole form.
pub(super) fn may_write(main: &Path, file: &NewText) -> Result<(), ErrorObject> {
    let name = &file.shown;
    let folder = file
        .path
        .parent()
        .filter(|above| !above.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new("."));
    if let Err(errno) = rustix::fs::access(folder, rustix::fs::Access::WRITE_OK) {
        return Err(failed("write to the folder of", name, &errno.into()));
    }
    if file.old.is_some() {
        let found =
            fs::symlink_metadata(&file.path).map_err(|cause| failed("look at", name, &cause))?;
        if !found.is_file() {
            return Err(refused(
                format!("{name} is a link, want a regular file"),
                "make this change in the file that it points to, in an editor",
            ));
        }
        let own = rustix::process::geteuid().as_raw();
        if found.uid() != own {
            return Err(refused(
                format!("{name} belongs to uid {}, want uid {own}", found.uid()),
                "make this change in an editor, or give the file to the daemon's user",
            ));
        }
        if found.nlink() > 1 {
            return Err(refused(
                format!("{name} has {} names, want one", found.nlink()),
                "make this change in an editor: the page would part them",
            ));
        }
    }
    let copy = copy_of(&file.path, WallMicros(0));
    let over = Over::new();
    let patterns = read_over(main, &over).map(|(main_file, _)| {
        let jobs = main_file.jobs();
        let all = [
            main_file.sheets(),
            main_file.plans(),
            main_file.tools(),
            jobs,
        ];
        all.concat()
    });
    let patterns = patterns.unwrap_or_default();
    match patterns.iter().find(|pattern| would_read(pattern, &copy)) {
        Some(pattern) => Err(refused(
            format!(
                "{} would take the copy of {name} for a file of the configuration",
                pattern.pattern.display()
            ),
            format!("end the pattern with *.{}", ending(&file.path)),
        )),
        None => Ok(()),
    }
}

/// The ending of the names of such files.
fn ending(path: &Path) -> &str {
    let ending = path.extension().and_then(|ending| ending.to_str());
    ending.unwrap_or("toml")
}

/// The path of a copy: `NAME.20261129T191500.123Z.old`, beside the file.
fn copy_of(path: &Path, at: WallMicros) -> PathBuf {
    let time: String = at
        .to_string()
        .chars()
        .filter(|c| !matches!(c, '-' | ':'))
        .collect();
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{time}{OLD}"));
    path.with_file_name(name)
}

/// Writes every file in turn. If one cannot be written, those before it are restored.
pub(super) fn write(
    main: &Path,
    files: &[NewText],
    at: WallMicros,
) -> Result<Vec<FileEdited>, ErrorObject> {
    let mut written: Vec<(&NewText, Option<PathBuf>)> = Vec::new();
    for file in files {
        match one(file, at) {
            Ok(copy) => written.push((file, copy)),
            Err(error) => {
                for (file, copy) in written.into_iter().rev() {
                    undo(file, copy);
                }
                return Err(error);
            }
        }
    }
    Ok(written
        .into_iter()
        .map(|(file, copy)| {
            forget_oldest(&file.path);
            FileEdited {
                file: file.shown.clone(),
                before: file.old.as_ref().map(|old| digest(&old.bytes)),
                after: digest(&file.new.bytes),
                copy: copy.map(|copy| shown(main, &copy)),
            }
        })
        .collect())
}

/// Copies one file, and replaces it. Returns the name of the copy.
fn one(file: &NewText, at: WallMicros) -> Result<Option<PathBuf>, ErrorObject> {
    let Some(old) = &file.old else {
        put(&file.path, &file.new.bytes, None)
            .map_err(|cause| failed("write", &file.shown, &cause))?;
        return Ok(None);
    };
    let mode = fs::metadata(&file.path)
        .map_err(|cause| failed("look at", &file.shown, &cause))?
        .permissions();
    let copy = copy_of(&file.path, at);
    put(&copy, &old.bytes, Some(mode))
        .map_err(|cause| failed("write a copy of", &file.shown, &cause))?;
    match replace(file, &old.bytes) {
        Ok(()) => Ok(Some(copy)),
        Err(error) => {
            let _ = fs::remove_file(&copy); // the file was not replaced, so it needs no copy
            Err(error)
        }
    }
}

fn replace(file: &NewText, old: &[u8]) -> Result<(), ErrorObject> {
    let fails = |cause: io::Error| failed("write", &file.shown, &cause);
    let mut whole = WholeFile::create(&file.path, true, Access::Kept).map_err(fails)?;
    whole.write_all(&file.new.bytes).map_err(fails)?;
    // Somebody may have saved the file while the change was checked.
    if files::bytes(&file.path).map_err(fails)? != old {
        return Err(refused(
            format!("{} was changed meanwhile", file.shown),
            "load the configuration again, then repeat the change",
        ));
    }
    whole.commit().map_err(fails)
}

/// Writes a new file with the permissions of another one.
fn put(path: &Path, bytes: &[u8], like: Option<fs::Permissions>) -> io::Result<()> {
    let access = if like.is_some() {
        Access::Private
    } else {
        Access::Usual
    };
    let mut file = WholeFile::create(path, false, access)?;
    file.write_all(bytes)?;
    file.commit()?;
    match like {
        Some(like) => fs::set_permissions(path, like),
        None => Ok(()),
    }
}

fn undo(file: &NewText, copy: Option<PathBuf>) {
    let undone = match copy {
        Some(copy) => fs::rename(copy, &file.path),
        None => fs::remove_file(&file.path),
    };
    if let Err(error) = undone {
        tracing::error!(file = file.shown, %error, "a change that failed could not be undone");
    }
}

/// Removes the oldest copies of a file.
fn forget_oldest(path: &Path) {
    let folder = path.parent().unwrap_or(Path::new("."));
    let Some(name) = path.file_name().and_then(|name| name.to_str()) else {
        return;
    };
    let is_copy = |other: &str| {
        let time = other
            .strip_prefix(name)
            .and_then(|rest| rest.strip_prefix('.'));
        let time = time.and_then(|rest| rest.strip_suffix(OLD));
        time.is_some_and(|time| {
            time.ends_with('Z')
                && time
                    .chars()
                    .all(|c| c.is_ascii_digit() || "TZ.".contains(c))
        })
    };
    let Ok(items) = fs::read_dir(folder) else {
        return;
    };
    let names = items.filter_map(|item| item.ok()?.file_name().into_string().ok());
    let mut copies: Vec<String> = names.filter(|other| is_copy(other)).collect();
    copies.sort();
    for old in copies.iter().rev().skip(COPIES_MOST) {
        // An extra copy does no harm.
        let _ = fs::remove_file(folder.join(old));
    }
}
