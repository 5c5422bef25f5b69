//! The page for tablets: over the network, with TLS of its own, for devices that a person has paired.
//!
//! In: connections from the network, and pairing codes and revocations by a person at the machine. Out: the same page
//! as over the loopback for paired devices, and only the pairing page for all others.
//!
//! - No socket is opened unless the configuration has `tablet = true`.
//! - A device is recognized only by its token, which is in a cookie that scripts cannot read.
//! - Revoking a tablet closes its open connections.

mod addresses;
mod certificate;
mod codes;
mod door;

pub use super::tokens::{TABLETS_FILE, Tokens};
pub use addresses::{addresses, names};
pub use certificate::{CERTIFICATE_FILE, Certificate, Fingerprint};
pub use codes::CODE_LASTS;

pub(super) use door::{Connection, Door};

use super::tokens::{TOKENS_FILE, digest};

use crate::durable::Failed;
use crate::durable::secret::SecretError;
use crate::message::reply::{Pairing, TabletMessage, TabletStatus, Tablets};
use crate::message::{ErrorObject, code};
use crate::quantity::WallMicros;
use axum::http::HeaderMap;
use axum::http::header::COOKIE;
use codes::{Codes, Denied};
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::time::Instant;

/// Maximum number of paired tablets.
pub const MOST_TABLETS: usize = 32;

/// Time for which a browser keeps the token: the longest that browsers allow.
const COOKIE_SECONDS: u32 = 400 * 86_400;

/// Why the page for tablets is not served.
#[derive(Debug, thiserror::Error)]
pub enum TabletError {
    /// A file with a secret cannot be used.
    #[error(transparent)]
    Secret(#[from] SecretError),
    /// A file has an unexpected content.
    #[error("{} is damaged, want {want}", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// The expected content.
        want: &'static str,
    },
    /// The certificate cannot be made or used.
    #[error("no certificate can be made: {cause}")]
    Make {
        /// The cause.
        cause: String,
    },
}

impl TabletError {
    /// What a person can do; printed on a line of its own, never part of the message.
    pub fn remedy(&self) -> String {
        let again = |path: &PathBuf| {
            let path = path.display();
            if path.to_string().ends_with(CERTIFICATE_FILE) {
                format!(
                    "others may know the key in it: take it away (rm {path}), then start the daemon; it makes a new certificate, and each tablet shows a warning once"
                )
            } else if path.to_string().ends_with(TOKENS_FILE) {
                format!(
                    "others may have put a token into it: take it away (rm {path}), then make the tokens again (tallyjaw token add) and start the daemon"
                )
            } else {
                format!(
                    "others may have put a tablet into it: take it away (rm {path}), then start the daemon and pair the tablets again"
                )
            }
        };
        match self {
            Self::Secret(SecretError::Io(_)) => {
                "use it as the user that runs the daemon".to_owned()
            }
            Self::Secret(SecretError::Open { path, .. }) => again(path),
            Self::Damaged { path, .. } if path.ends_with(TOKENS_FILE) => format!(
                "put a copy of it back, or take it away (rm {}) and make the tokens again (tallyjaw token add)",
                path.display()
            ),
            Self::Damaged { path, .. } => format!(
                "put a copy of it back, or take it away (rm {}) and pair the tablets again",
                path.display()
            ),
            Self::Make { .. } => {
                "look at the names in `hosts` of [page] and at the name of this machine".to_owned()
            }
        }
    }
}

/// Access of tablets: pairing, revoking and checking.
#[derive(Debug)]
pub struct Gate {
    /// The address at which tablets connect.
    listen: SocketAddr,
    fingerprint: Fingerprint,
    /// The names of the page, in lower case. The address of each connection is accepted too.
    names: Vec<String>,
    /// The tokens of paired tablets.
    pub(crate) tokens: Tokens,
    codes: Mutex<Codes>,
    code_lasts: Duration,
    now: fn() -> WallMicros,
}

/// A tablet that was just paired.
pub(super) struct LetIn {
    pub(super) tablet: String,
    /// The cookie for its browser.
    pub(super) cookie: String,
}

impl Gate {
    fn codes(&self) -> MutexGuard<'_, Codes> {
        self.codes.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Makes a code that pairs one device under this name.
    pub(crate) fn pair(&self, asked: Option<String>) -> Result<Pairing, ErrorObject> {
        let now = Instant::now();
        let taken: Vec<String> = self.tokens.list().into_iter().map(|it| it.name).collect();
        let refused = |message: String, remedy: &str| {
            Err(ErrorObject::new(
                code::REFUSED,
                message,
                Some(remedy.to_owned()),
            ))
        };
        if taken.len() >= MOST_TABLETS {
            return refused(
                format!("{MOST_TABLETS} tablets are paired, no more can be"),
                "revoke one that is not used any more: tallyjaw page --tablets, then tallyjaw page --revoke NAME",
            );
        }
        let tablet = match asked {
            Some(name) if !crate::config::is_name(&name) => {
                return refused(
                    format!(
                        "got the name {name:?}, want letters, digits, - _ and ., at most 64, a letter or digit first"
                    ),
                    "name it by where it is used, such as bench-left",
                );
            }
            Some(name) if taken.contains(&name) => {
                return refused(
                    format!("a tablet {name} is paired already"),
                    "give this one another name, or revoke that one first: tallyjaw page --revoke NAME",
                );
            }
            Some(name) => name,
            None => {
                let waiting = self.codes().names(now);
                let mut names = (1_u32..).map(|number| format!("tablet-{number}"));
                let is_free = |name: &String| !taken.contains(name) && !waiting.contains(name);
                names.find(is_free).unwrap_or_default()
            }
        };
        let made = self.codes().make(&tablet, now, self.code_lasts);
        let code = match made {
            Ok(Some(code)) => code,
            Ok(None) => {
                return refused(
                    "too many pairing codes are waiting to be used".to_owned(),
                    "use them, or wait ten minutes: then they are over",
                );
            }
            Err(error) => {
                return refused(format!("no pairing code can be made: {error}"), "try again");
            }
        };
        let lasts = i64::try_from(self.code_lasts.as_micros()).unwrap_or(i64::MAX);
        let expires = WallMicros((self.now)().0.saturating_add(lasts));
        Ok(Pairing {
            tablet,
            addresses: self.addresses(),
            code: codes::in_groups(&code),
            sha256: self.fingerprint.to_string(),
            expires_at: expires.to_string(),
        })
    }

    /// The addresses at which a tablet may reach the page, the most likely one first.
    fn addresses(&self) -> Vec<String> {
        let port = self.listen.port();
        let at = |ip: IpAddr| format!("https://{}/", SocketAddr::new(ip, port));
        if !self.listen.ip().is_unspecified() {
            return vec![at(self.listen.ip())];
        }
        let only_v4 = self.listen.is_ipv4();
        let own = addresses().into_iter();
        own.filter(|ip| ip.is_ipv4() || !only_v4).map(at).collect()
    }

    /// Uses up a pairing code. Returns the name for the device.
    pub(super) fn redeem(&self, said: &str, from: IpAddr) -> Result<String, Denied> {
        self.codes().redeem(said, from, Instant::now())
    }

    /// Makes the token of a tablet whose pairing is in the journal.
    pub(super) fn admit(&self, tablet: &str) -> std::io::Result<LetIn> {
        let token = self.tokens.admit(tablet, None, (self.now)())?;
        Ok(LetIn {
            tablet: tablet.to_owned(),
            cookie: format!(
                "{}={token}; Path=/; Secure; HttpOnly; SameSite=Strict; Max-Age={COOKIE_SECONDS}",
                self.cookie()
            ),
        })
    }

    /// Withdraws the unused code for this name; `false` if there is none.
    pub(crate) fn withdraw(&self, tablet: &str) -> bool {
        self.codes().withdraw(tablet)
    }

    /// The paired tablets.
    pub(crate) fn tablets(&self) -> Tablets {
        let tablets = self.tokens.list().into_iter().map(|tablet| TabletMessage {
            tablet: tablet.name,
            paired_at: tablet.since,
            used_at: tablet.used,
        });
        Tablets {
            tablets: tablets.collect(),
        }
    }

    /// Where tablets connect, and how many are paired.
    pub(crate) fn status(&self) -> TabletStatus {
        TabletStatus {
            listen: self.listen.to_string(),
            sha256: self.fingerprint.to_string(),
            paired: self.tokens.count(),
        }
    }

    /// Whether a host is one of the page's names, or the address that this connection reached.
    pub(super) fn knows(&self, host: &str, connection: &Connection) -> bool {
        let host = host.to_ascii_lowercase();
        let bare = bare_host(&host);
        let address = bare.trim_start_matches('[').trim_end_matches(']');
        self.names.contains(&host)
            || self.names.iter().any(|name| name == bare)
            || address
                .parse()
                .is_ok_and(|ip: IpAddr| ip.to_canonical() == connection.local)
    }

    /// The tablet that a request comes from. From here on the connection belongs to that tablet, and is closed when the
    /// tablet is revoked.
    pub(super) fn who(
        self: &Arc<Self>,
        headers: &HeaderMap,
        connection: &Connection,
    ) -> Option<String> {
        let token = self.shown(headers)?;
        let sha256 = digest(token.as_bytes());
        connection.held.belongs_to(Some(&sha256));
        let name = self.tokens.name_of(&sha256)?;
        if self.tokens.used(&sha256, (self.now)()) {
            let gate = Arc::clone(self);
            tokio::task::spawn_blocking(move || {
                if let Err(error) = gate.tokens.save() {
                    tracing::warn!(%error, "when a tablet was last used was not written");
                }
            });
        }
        Some(name)
    }

    /// The token of a request, if it has exactly one.
    fn shown<'h>(&self, headers: &'h HeaderMap) -> Option<&'h str> {
        let name = self.cookie();
        let lines = headers.get_all(COOKIE).iter();
        let texts = lines.filter_map(|line| line.to_str().ok());
        let pairs = texts.flat_map(|line| line.split(';'));
        let mut tokens =
            pairs.filter_map(|pair| pair.trim().strip_prefix(&*name)?.strip_prefix('='));
        let token = tokens.next();
        token.filter(|_| tokens.next().is_none())
    }

    /// The name of the cookie. Cookies belong to a host, not to a port, so each daemon of a machine needs a name of its
    /// own.
    fn cookie(&self) -> String {
        format!("__Host-tallyjaw-{}", self.listen.port())
    }
}

/// A host without its port.
pub(super) fn bare_host(host: &str) -> &str {
    match host.rsplit_once(':') {
        Some((name, port)) if !port.is_empty() && port.bytes().all(|b| b.is_ascii_digit()) => name,
        Some(_) | None => host,
    }
}

/// The answer if the file could not be written although the change is in force.
pub(crate) fn not_written(error: &Failed) -> ErrorObject {
    ErrorObject::new(
        code::REFUSED,
        format!("{error}; it counts until the daemon stops"),
        Some("look at the disk of state_dir, then do it again".to_owned()),
    )
}

pub(super) fn denied(why: Denied) -> (axum::http::StatusCode, &'static str, &'static str) {
    use axum::http::StatusCode;
    match why {
        Denied::Wrong => (
            StatusCode::FORBIDDEN,
            "the pairing code is wrong, was used, or has expired",
            "get a new one on the bench's machine: tallyjaw page --pair",
        ),
        Denied::TooMany => (
            StatusCode::TOO_MANY_REQUESTS,
            "too many wrong pairing codes came from here",
            "wait a minute, then get a new one: tallyjaw page --pair",
        ),
    }
}
