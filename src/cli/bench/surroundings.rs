//! Checks what the configuration relies on outside itself: programs, files, and permissions.
//!
//! In: a configuration without errors. Out: sentences about what will not work, or is open to other users.

use super::Failure;
use crate::config::{AuthorityConfig, Config, SinkSettings, TlsFiles};
use crate::timestamp::certificates;
use std::fs::Metadata;
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::path::{Path, PathBuf};

/// Permission bits: others may read; others or the group may write.
const OTHERS_READ: u32 = 0o004;
const OTHERS_WRITE: u32 = 0o002;
const GROUP_WRITE: u32 = 0o020;
const ANY_EXECUTE: u32 = 0o111;

/// The warnings that `check` prints.
pub(super) fn warnings(config: &Config) -> Vec<String> {
    let mut found = Vec::new();
    if let Some(program) = config.daemon.announce.first()
        && !is_program(program)
    {
        found.push(format!(
            "announce: no program {program} can be run; install it, or write its whole path"
        ));
    }
    for sink in &config.sinks {
        match &sink.settings {
            SinkSettings::Mqtt(mqtt) => {
                let file = mqtt.password_file.as_deref();
                found.extend(file.and_then(|file| password(&sink.name, file)));
                found.extend(tls(&sink.name, &mqtt.files));
            }
            SinkSettings::Webhook(webhook) => {
                let file = webhook.secret_file.as_deref();
                found.extend(file.and_then(|file| secret(&sink.name, "secret", file)));
                found.extend(tls(&sink.name, &webhook.files));
            }
            SinkSettings::Postgres(database) => {
                let file = database.password_file.as_deref();
                found.extend(file.and_then(|file| password(&sink.name, file)));
                found.extend(tls(&sink.name, &database.files));
            }
            SinkSettings::Timestamp(asks) => {
                let AuthorityConfig {
                    ca_file,
                    certificate,
                    ..
                } = &asks.authority;
                let files = [("authority", certificate), ("ca_file", ca_file)];
                for (key, file) in files {
                    let wrong = file.as_deref().and_then(|file| certificates(file).err());
                    found.extend(wrong.map(|wrong| format!("sink {}: {key}: {wrong}", sink.name)));
                }
            }
            SinkSettings::Parquet(_) => {}
        }
    }
    found
}

fn password(sink: &str, file: &Path) -> Option<String> {
    secret(sink, "password", file)
}

/// What is wrong with the files of a TLS connection.
fn tls(sink: &str, files: &TlsFiles) -> Vec<String> {
    let wrong = files.ca_file.as_deref();
    let wrong = wrong.and_then(|file| certificates(file).err());
    let wrong = wrong.map(|wrong| format!("sink {sink}: ca_file: {wrong}"));
    let key = files.identity.as_ref();
    let key = key.and_then(|(_, key)| secret(sink, "key", key));
    wrong.into_iter().chain(key).collect()
}

fn secret(sink: &str, what: &str, file: &Path) -> Option<String> {
    let shown = file.display();
    match std::fs::metadata(file) {
        Err(error) => Some(format!(
            "sink {sink}: the {what} file {shown} cannot be read: {error}"
        )),
        Ok(about) if about.permissions().mode() & OTHERS_READ != 0 => Some(format!(
            "sink {sink}: every user of this machine can read the {what} file {shown}; chmod o= {shown}"
        )),
        Ok(_) => None,
    }
}

/// Whether a program of this name can be started. The search is that of a shell, with this process's own search path.
fn is_program(name: &str) -> bool {
    let runs = |path: PathBuf| {
        std::fs::metadata(path)
            .is_ok_and(|about| about.is_file() && about.permissions().mode() & ANY_EXECUTE != 0)
    };
    if name.contains('/') {
        return runs(PathBuf::from(name));
    }
    let places = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&places).any(|folder| runs(folder.join(name)))
}

/// Refuses a file that was found in the current folder if another user can change it, and if either root would use it
/// or it names a program to start.
pub(super) fn trusted(path: &Path, announces: bool) -> Result<(), Failure> {
    let own = rustix::process::geteuid().as_raw();
    if own != 0 && !announces {
        return Ok(());
    }
    let Ok(about) = std::fs::metadata(path) else {
        return Ok(()); // Reading it will report why it cannot be read.
    };
    let Some(why) = distrusted(&about, own, rustix::process::getegid().as_raw()) else {
        return Ok(());
    };
    let danger = if own == 0 {
        "it is not used by root"
    } else {
        "it is not used, since it names a program to start (announce)"
    };
    Err(Failure::usage(format!(
        "{} was found in this folder and {why}: {danger}",
        path.display()
    ))
    .with_remedy(
        "read it, then make it yours (chown, chmod go-w), or name it with --config FILE if you trust it",
    ))
}

/// Why another user can change the file; root is allowed to.
fn distrusted(about: &Metadata, own: u32, group: u32) -> Option<String> {
    let mode = about.permissions().mode();
    let owner = about.uid();
    if owner != own && owner != 0 {
        return Some(format!(
            "belongs to another user (uid {owner}, we are uid {own})"
        ));
    }
    if mode & OTHERS_WRITE != 0 {
        return Some("can be written by every user".to_owned());
    }
    (mode & GROUP_WRITE != 0 && about.gid() != group)
        .then(|| format!("can be written by another group (gid {})", about.gid()))
}
