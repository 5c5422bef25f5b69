//! Reads a `[[sink]]` of the kind `webhook`: where entries are sent, in which form, and with which secret they are signed.

use super::faults::{Fault, Faults};
use super::table::Table;
use super::timestamp::WebAddress;
use super::tls::{self, TlsFiles};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Settings of a sink that sends entries to an address.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WebhookConfig {
    /// The address of the receiver.
    pub address: WebAddress,
    /// The files of its TLS connection.
    pub files: TlsFiles,
    /// File with the secret that requests are signed with; `None` signs none.
    pub secret_file: Option<PathBuf>,
    /// The form of a request.
    pub mode: WebhookMode,
    /// Time limit for a request and its answer.
    pub timeout: Duration,
}

/// The content modes of `CloudEvents` over HTTP.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WebhookMode {
    /// One event a request, as one JSON object.
    Structured,
    /// One event a request: the entry is the body, the attributes are headers.
    Binary,
    /// All events that wait, as one JSON list.
    Batch,
}

const MODES: [(&str, WebhookMode); 3] = [
    ("structured", WebhookMode::Structured),
    ("binary", WebhookMode::Binary),
    ("batch", WebhookMode::Batch),
];

/// Every key of such a sink except `name`, `kind` and those of [`tls`].
pub(super) const KEYS: [&str; 4] = ["url", "secret_file", "mode", "timeout"];

/// Default time limit, and the shortest and the longest.
const WITHIN: Duration = Duration::from_secs(30);
const WITHIN_LEAST: Duration = Duration::from_secs(1);
const WITHIN_MOST: Duration = Duration::from_secs(300);

/// Reads the settings. Relative paths are joined to `base`.
pub(super) fn read(
    table: &mut Table<'_>,
    faults: &mut Faults,
    base: &Path,
) -> Option<WebhookConfig> {
    let example = "\"https://erp.example/crimps\"";
    let no_login = "a password has no place in an address: secret_file signs each request";
    let address = WebAddress::read(table, faults, example, no_login);
    let open = address.as_ref().filter(|address| !address.tls);
    let open = open.map(|_| "url = \"https://…\"");
    let files = tls::read(table, faults, base, open);
    let secret_file = table.text(faults, "secret_file");
    let names = MODES.map(|(name, _)| name);
    let mode = table.one_of(faults, "mode", &names, |name| {
        let known = MODES.iter().find(|(known, _)| *known == name);
        known.map(|(_, mode)| *mode)
    });
    let timeout = timeout(table, faults);
    Some(WebhookConfig {
        address: address?,
        files,
        secret_file: secret_file.map(|file| base.join(file.value)),
        mode: mode.map_or(WebhookMode::Structured, |mode| mode.value),
        timeout,
    })
}

fn timeout(table: &mut Table<'_>, faults: &mut Faults) -> Duration {
    let place = table.taken("timeout");
    let timeout = table.duration(faults, "timeout", WITHIN_MOST);
    if let (Some(place), Some(short)) = (place, timeout)
        && short < WITHIN_LEAST
    {
        let fault = Fault::new("timeout is less than a second", "want at least \"1 s\"");
        faults.add(&place, fault);
    }
    timeout.unwrap_or(WITHIN)
}
