//! Asks an authority over HTTP or HTTPS, by RFC 3161, 3.4. Plain HTTP is enough to trust the answer, which is signed;
//! but then others on the network can see the digest and the time of the request.
//!
//! Time and size of everything that a server may do are bounded. A redirect is not followed, because only the address
//! that a person has written may learn of the digest.

use super::super::store::LONGEST;
use crate::config::{AuthorityConfig, TlsFiles};
use crate::web::{self, Exchange, body_of, header_text, within};
use axum::http::{Response, StatusCode, header};
use hyper::body::Incoming;
use std::time::Duration;

/// Time limit for a whole request.
const WITHIN: Duration = Duration::from_secs(30);
/// Time limit for a connection that a person waits for.
const REACHED_WITHIN: Duration = Duration::from_secs(5);

const QUERY: &str = "application/timestamp-query";
const REPLY: &str = "application/timestamp-reply";

/// Why an authority did not answer.
#[derive(Debug, thiserror::Error)]
pub(crate) enum Unreachable {
    /// There is no connection to its server.
    #[error(transparent)]
    Web(#[from] web::Unreachable),
    /// It redirects to another address.
    #[error("{host} answered with status {} and sends us to {to:?}", status.as_u16())]
    Moved {
        /// The host.
        host: String,
        /// The HTTP status.
        status: StatusCode,
        /// That address.
        to: String,
    },
    /// It does not answer with a time stamp.
    #[error("{host} answered with status {status}")]
    Status {
        /// The host.
        host: String,
        /// The HTTP status.
        status: StatusCode,
    },
    /// It sends more data than a time stamp can have.
    #[error("{host} answered with more than {LONGEST} bytes, which is no time stamp")]
    TooLong {
        /// The host.
        host: String,
    },
    /// It sends another kind of content.
    #[error("{host} answered with {got:?}, want {REPLY}")]
    Content {
        /// The host.
        host: String,
        /// Its kind of content.
        got: String,
    },
}

impl Unreachable {
    /// What to do.
    pub(crate) fn remedy(&self) -> &'static str {
        match self {
            Self::Web(error) => error.remedy(),
            Self::Moved { .. } => {
                "redirects are not followed: if that address is the same authority's, write it instead"
            }
            Self::Status { status, .. } if status.is_server_error() => {
                "the authority is at fault: ask again later"
            }
            Self::Status { .. } => {
                "check the path of the address: the authority publishes where it is asked by RFC 3161 (POST)"
            }
            Self::Content { .. } | Self::TooLong { .. } => {
                "check the address; a login page of the network in between answers so too"
            }
        }
    }
}

/// The files of the TLS connection to an authority's server.
fn files(whom: &AuthorityConfig) -> TlsFiles {
    TlsFiles {
        ca_file: whom.ca_file.clone(),
        identity: None,
    }
}

/// Sends a request to an authority and returns its answer.
pub(super) async fn ask(whom: &AuthorityConfig, request: Vec<u8>) -> Result<Vec<u8>, Unreachable> {
    let host = whom.address.place();
    let exchanged = async {
        let mut exchange = Exchange::open(&whom.address, &files(whom)).await?;
        let post = Exchange::post(&whom.address)
            .header(header::CONTENT_TYPE, QUERY)
            .header(header::ACCEPT, REPLY);
        let answer = exchange.send(post, request).await?;
        let answer = accepted(&host, answer)?;
        let most = usize::try_from(LONGEST).unwrap_or(usize::MAX);
        let body = body_of(&host, answer, most).await?;
        body.ok_or_else(|| Unreachable::TooLong { host: host.clone() })
    };
    within(WITHIN, host.clone(), exchanged).await
}

/// Whether an authority's server can be reached, and is the intended one. No time stamp is requested.
pub(crate) async fn reach(whom: &AuthorityConfig) -> Result<(), Unreachable> {
    let reached = async {
        Exchange::open(&whom.address, &files(whom)).await?;
        Ok(())
    };
    within(REACHED_WITHIN, whom.address.place(), reached).await
}

/// Checks the head of an answer: a time stamp must follow.
fn accepted(host: &str, answer: Response<Incoming>) -> Result<Response<Incoming>, Unreachable> {
    let host = host.to_owned();
    let status = answer.status();
    if status.is_redirection() {
        let to = header_text(answer.headers(), header::LOCATION);
        return Err(Unreachable::Moved { host, status, to });
    }
    if status != StatusCode::OK {
        return Err(Unreachable::Status { host, status });
    }
    let got = header_text(answer.headers(), header::CONTENT_TYPE);
    let kind = got.split(';').next().unwrap_or_default().trim();
    if !kind.eq_ignore_ascii_case(REPLY) {
        return Err(Unreachable::Content { host, got });
    }
    Ok(answer)
}
