//! Sends every durable entry to an address, as `CloudEvents` over HTTP.
//!
//! In: durable lines in order. Out: one request at a time, for one entry or for all that wait (`batch`), each tried until
//! the receiver has answered with success (2xx).
//!
//! - An entry is sent at least once. Its `id`, journal and seq, lets a receiver drop repeats.
//! - A request is signed with HMAC-SHA-256 over its body, if there is a secret.
//! - A redirect is a failure: only the address that a person has written gets entries.
//! - `Retry-After` is honoured, up to an hour.

mod event;

use super::one_line;
use super::outlet::{Broken, Delivery, Outlet};
use crate::config::{WebhookConfig, WebhookMode};
use crate::durable::Failed;
use crate::journal::{Line, blocking};
use crate::quantity::{hex, safe};
use crate::web::{Exchange, Unreachable, body_of, header_text, within};
use axum::http::{HeaderMap, StatusCode, header};
use event::{Request, request};
use ring::hmac;
use std::path::PathBuf;
use std::time::Duration;

/// Maximum number of entries in a request.
const MOST: usize = 100;
/// Number of bytes of an answer that are read.
const ANSWER_BYTES: usize = 64 * 1024;
/// Number of characters of an answer that a message shows.
const SHOWN: usize = 200;
/// A longer secret file is not one.
const SECRET_BYTES: usize = 4096;
/// The longest `Retry-After` that is honoured.
const WAIT_MOST: Duration = Duration::from_secs(3600);

/// The header of the signature.
pub(crate) const SIGNATURE: &str = "tallyjaw-signature";

/// A receiver of entries.
#[derive(Debug, Clone)]
pub(crate) struct Webhook {
    /// Its settings.
    pub(crate) config: WebhookConfig,
    /// Identity of the journal.
    pub(crate) journal: String,
}

/// Why an entry was not delivered.
#[derive(Debug, thiserror::Error)]
enum HookError {
    #[error(transparent)]
    Web(#[from] Unreachable),
    /// The file of the secret cannot be read.
    #[error(transparent)]
    Secret(#[from] Failed),
    /// The file of the secret holds none.
    #[error("{}: got {got} bytes, want a secret of 1 to {SECRET_BYTES} bytes on one line", path.display())]
    NoSecret { path: PathBuf, got: usize },
    /// The receiver redirects to another address.
    #[error("{host} answered with status {} and sends us to {to:?}", status.as_u16())]
    Moved {
        host: String,
        status: StatusCode,
        to: String,
    },
    /// The receiver did not take the entry.
    #[error("{host} did not take entry {seq}: status {status}{said}")]
    Refused {
        host: String,
        seq: String,
        status: StatusCode,
        /// The beginning of its answer.
        said: String,
        wait: Option<Duration>,
    },
}

impl HookError {
    fn remedy(&self) -> &'static str {
        match self {
            Self::Web(error) => error.remedy(),
            Self::Secret(_) | Self::NoSecret { .. } => {
                "write the secret into the file of `secret_file`, and let only the daemon's user read it"
            }
            Self::Moved { .. } => {
                "redirects are not followed: if that address is the same receiver's, write it as `url`"
            }
            Self::Refused { status, .. } => refused(*status),
        }
    }
}

fn refused(status: StatusCode) -> &'static str {
    match status.as_u16() {
        401 | 403 => "check `secret_file` and what the receiver wants to know of us",
        404 | 405 | 410 => "check the path of `url`: the receiver must take POST there",
        413 => {
            "raise the receiver's limit of a body: the first entry of a segment holds the whole state"
        }
        400 | 415 | 422 => "check that the receiver takes CloudEvents in this `mode`",
        429 | 503 => "the receiver asks for time; the entries wait in the journal",
        507 => "make room at the receiver; the entries wait in the journal",
        _ => "look at the receiver's log",
    }
}

impl From<HookError> for Broken {
    fn from(error: HookError) -> Self {
        let remedy = error.remedy();
        let wait = match &error {
            HookError::Refused { wait, .. } => *wait,
            HookError::Web(_)
            | HookError::Secret(_)
            | HookError::NoSecret { .. }
            | HookError::Moved { .. } => None,
        };
        Self::new(error, remedy).not_before(wait)
    }
}

impl Outlet for Webhook {
    const KIND: &'static str = "webhook";
    type Connection = Receiver;

    async fn open(&self) -> Result<Receiver, Broken> {
        let key = match self.config.secret_file.clone() {
            Some(path) => Some(blocking(move || secret(path)).await?),
            None => None,
        };
        let exchange = connect(&self.config).await?;
        Ok(Receiver {
            webhook: self.clone(),
            key,
            exchange,
            is_used: false,
            most: MOST,
        })
    }
}

async fn connect(config: &WebhookConfig) -> Result<Exchange, HookError> {
    let opening = async { Ok(Exchange::open(&config.address, &config.files).await?) };
    within(config.timeout, config.address.place(), opening).await
}

fn secret(path: PathBuf) -> Result<hmac::Key, HookError> {
    let secret = one_line(&path)?;
    if secret.is_empty() || secret.len() > SECRET_BYTES {
        let got = secret.len();
        return Err(HookError::NoSecret { path, got });
    }
    Ok(hmac::Key::new(hmac::HMAC_SHA256, &secret))
}

/// The signature of a body: `sha256=` and HMAC-SHA-256 (RFC 2104) in hexadecimal.
fn signature(key: &hmac::Key, body: &[u8]) -> String {
    format!("sha256={}", hex(hmac::sign(key, body).as_ref()))
}

/// A connection to the receiver.
#[derive(Debug)]
pub(crate) struct Receiver {
    webhook: Webhook,
    key: Option<hmac::Key>,
    exchange: Exchange,
    /// Whether a request was answered on this connection.
    is_used: bool,
    /// Number of entries that the receiver takes in a request.
    most: usize,
}

impl Delivery for Receiver {
    async fn deliver(&mut self, lines: &[Line]) -> Result<usize, Broken> {
        let mode = self.webhook.config.mode;
        let count = match mode {
            WebhookMode::Batch => lines.len().min(self.most),
            WebhookMode::Structured | WebhookMode::Binary => 1,
        };
        let part: Vec<_> = lines.iter().take(count).cloned().collect();
        let Some(seq) = part.first().map(|line| line.seq.to_string()) else {
            return Ok(0);
        };
        let journal = self.webhook.journal.clone();
        let request = blocking(move || request(&part, &journal, mode)).await?;
        match self.taken(request, seq).await {
            Ok(()) => Ok(count),
            Err(HookError::Refused { status, .. })
                if status == StatusCode::PAYLOAD_TOO_LARGE && count > 1 =>
            {
                self.most = count / 2;
                Ok(0)
            }
            Err(error) => Err(error.into()),
        }
    }
}

impl Receiver {
    /// Sends a request; the receiver must answer it with success.
    async fn taken(&mut self, request: Request, seq: String) -> Result<(), HookError> {
        let host = self.webhook.config.address.place();
        let limit = self.webhook.config.timeout;
        within(limit, host.clone(), async {
            match self.answered(&request, &host, &seq).await {
                // A server may close a connection while nothing is sent, so this says nothing about the receiver.
                Err(HookError::Web(Unreachable::NoAnswer {
                    is_closed: true, ..
                })) if self.is_used => {
                    self.exchange = connect(&self.webhook.config).await?;
                    self.is_used = false;
                    self.answered(&request, &host, &seq).await
                }
                other => other,
            }
        })
        .await
    }

    async fn answered(
        &mut self,
        request: &Request,
        host: &str,
        seq: &str,
    ) -> Result<(), HookError> {
        let mut post = Exchange::post(&self.webhook.config.address);
        for (name, value) in &request.headers {
            post = post.header(*name, value);
        }
        if let Some(key) = &self.key {
            post = post.header(SIGNATURE, signature(key, &request.body));
        }
        let answer = self.exchange.send(post, request.body.clone()).await?;
        let (status, headers) = (answer.status(), answer.headers().clone());
        // An answer that breaks off is none: the entry is sent again. Of a long one the rest is not read, which ends the
        // connection.
        let body = body_of(host, answer, ANSWER_BYTES).await?;
        self.is_used = true;
        if status.is_success() {
            return Ok(());
        }
        let host = host.to_owned();
        if status.is_redirection() {
            let to = header_text(&headers, header::LOCATION);
            return Err(HookError::Moved { host, status, to });
        }
        Err(HookError::Refused {
            host,
            seq: seq.to_owned(),
            status,
            said: shown(&body.unwrap_or_default()),
            wait: retry_after(&headers),
        })
    }
}

/// The beginning of an answer, for a message.
fn shown(body: &[u8]) -> String {
    let text = String::from_utf8_lossy(body);
    let text: String = text.trim().chars().take(SHOWN).collect();
    if text.is_empty() {
        return text;
    }
    format!(", {:?}", safe(&text))
}

/// The time that the receiver asks for, in seconds or as a date (RFC 9110, 10.2.3).
fn retry_after(headers: &HeaderMap) -> Option<Duration> {
    let text = header_text(headers, header::RETRY_AFTER);
    let wait = if let Ok(seconds) = text.trim().parse() {
        Duration::from_secs(seconds)
    } else {
        let at = jiff::fmt::rfc2822::DateTimeParser::new()
            .relaxed_weekday(true)
            .parse_timestamp(text.trim())
            .ok()?;
        let micros = at.as_microsecond().saturating_sub(super::now().0);
        Duration::from_micros(u64::try_from(micros).unwrap_or_default())
    };
    Some(wait.min(WAIT_MOST))
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::HeaderValue;

    #[test]
    fn a_body_is_signed_as_rfc_4231_shows() {
        // RFC 4231, test cases 1 and 2.
        let key = |bytes: &[u8]| hmac::Key::new(hmac::HMAC_SHA256, bytes);
        assert_eq!(
            signature(&key(&[0x0b; 20]), b"Hi There"),
            "sha256=b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"
        );
        assert_eq!(
            signature(&key(b"Jefe"), b"what do ya want for nothing?"),
            "sha256=5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
        );
    }

    #[test]
    fn the_time_that_a_receiver_asks_for_is_a_number_or_a_date_and_at_most_an_hour() {
        let of = |text: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(header::RETRY_AFTER, HeaderValue::from_str(text).unwrap());
            retry_after(&headers)
        };
        let seconds = |seconds| Some(Duration::from_secs(seconds));
        assert_eq!((of("7"), of("99999999")), (seconds(7), seconds(3600)));
        assert_eq!((of("-7"), of("soon")), (None, None));
        // RFC 9110, 10.2.3 has this date, which has passed.
        assert_eq!(of("Fri, 31 Dec 1999 23:59:59 GMT"), seconds(0));
        assert_eq!(of("Fri, 31 Dec 2900 23:59:59 GMT"), seconds(3600));
    }
}
