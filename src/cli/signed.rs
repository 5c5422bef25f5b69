//! Signs the files that commands make, if the bench has a key.

use super::{Context, Failure};
use crate::durable::secret::SecretError;
use crate::signing::{Key, KeyError, beside};
use anstyle::{AnsiColor, Style};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

const WARNING: Style = AnsiColor::Yellow.on_default().bold();
const HELP: Style = AnsiColor::Cyan.on_default();

/// Removes the signature of an old file, before it is replaced.
pub(super) fn withdraw(file: &Path) -> Result<(), Failure> {
    beside::withdraw(file).map_err(|failed| Failure::io(failed.to_string()))
}

/// Signs a file that was written; `None` if there is no key, or if the target is a pipe. A key that cannot be used is
/// reported, and the file stays.
pub(super) fn sign(state_dir: &Path, file: &Path) -> Result<Option<PathBuf>, Failure> {
    if !file.is_file() {
        return Ok(None);
    }
    let key = Key::open(state_dir).unwrap_or_else(|error| {
        let remedy = error.remedy();
        anstream::eprintln!(
            "{WARNING}warning{WARNING:#}: not signed: {error}\n{HELP}help{HELP:#}: {remedy}"
        );
        None
    });
    key.map(|key| beside::sign(&key, file))
        .transpose()
        .map_err(|error| failure(&error))
}

/// Says how to check a signature without tallyjaw.
pub(super) fn tell(
    context: &Context,
    out: &mut dyn Write,
    file: &Path,
    signature: Option<&Path>,
) -> io::Result<()> {
    let Some(signature) = signature.filter(|_| !context.json) else {
        return Ok(());
    };
    writeln!(
        out,
        "signed: {}\nwithout tallyjaw: {}",
        signature.display(),
        beside::command(file, "KEPT.allowed")
    )
}

/// Why there is no key, as a failure of a command.
pub(super) fn failure(error: &KeyError) -> Failure {
    let failure = match error {
        KeyError::Secret(SecretError::Io(_)) => Failure::io(error.to_string()),
        KeyError::Secret(SecretError::Open { .. })
        | KeyError::NotAKey { .. }
        | KeyError::IsThere { .. }
        | KeyError::NoKey { .. }
        | KeyError::Signing(_) => Failure::usage(error.to_string()),
    };
    failure.with_remedy(error.remedy())
}
