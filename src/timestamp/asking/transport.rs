//! Asks an authority over HTTP or HTTPS, by RFC 3161, 3.4. Plain HTTP is enough to trust the answer, which is signed;
//! but then others on the network can see the digest and the time of the request.
//!
//! Time and size of everything that a server may do are bounded. A redirect is not followed, because only the address
//! that a person has written may learn of the digest.

use super::super::store::LONGEST;
use super::tls::TlsFault;
use crate::config::{AuthorityConfig, WebAddress};
use axum::body::Body;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Request, Response, StatusCode, header};
use futures_util::StreamExt as _;
use hyper::body::Incoming;
use hyper::client::conn::http1;
use hyper_util::rt::TokioIo;
use std::io;
use std::net::{SocketAddr, ToSocketAddrs as _};
use std::path::PathBuf;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio::sync::oneshot;
use tokio::time::timeout;

/// Time limit for a whole request.
const WITHIN: Duration = Duration::from_secs(30);
/// Time limit for a connection that a person waits for.
const REACHED_WITHIN: Duration = Duration::from_secs(5);
/// Time limit for connecting to one address of a host, so that there is time for the next.
const CONNECTS_WITHIN: Duration = Duration::from_secs(8);
/// A longer head is not that of an answer.
const HEAD_BYTES: usize = 16 * 1024;

const QUERY: &str = "application/timestamp-query";
const REPLY: &str = "application/timestamp-reply";

/// Why an authority did not answer.
#[derive(Debug, thiserror::Error)]
pub(crate) enum Unreachable {
    /// The file of certificates for the server cannot be used.
    #[error("{}: {why}", path.display())]
    Trust {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// The system has no certificates.
    #[error("this system trusts no authority for https: {why}")]
    NoRoots {
        /// What is wrong.
        why: String,
    },
    /// The name of the host cannot be resolved.
    #[error("the name {host} is not found: {cause}")]
    Name {
        /// The host.
        host: String,
        /// Error of the system.
        cause: io::Error,
    },
    /// The connection failed.
    #[error("{host} cannot be reached: {cause}")]
    Connection {
        /// The host.
        host: String,
        /// Error of the system.
        cause: io::Error,
    },
    /// The server cannot be confirmed to be the intended one.
    #[error("no trusted connection to {host}: {fault}")]
    Tls {
        /// The host.
        host: String,
        /// What is wrong.
        fault: TlsFault,
    },
    /// It took too long.
    #[error("{host} did not answer within {} s", within.as_secs())]
    Silent {
        /// The host.
        host: String,
        /// The time limit.
        within: Duration,
    },
    /// The connection ended, or the data is not HTTP.
    #[error("{host} did not answer: {why}")]
    NoAnswer {
        /// The host.
        host: String,
        /// What happened.
        why: String,
    },
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
            Self::Trust { .. } => {
                "name the file of the authority that signed the server's certificate, in PEM, and let the daemon's user read it"
            }
            Self::NoRoots { .. } => {
                "install the system's certificates (on Debian the package ca-certificates), or name a file of your own with ca_file"
            }
            Self::Name { .. } => {
                "check the name in the address, and that this machine has a network"
            }
            Self::Connection { .. } => {
                "check the address, and that this machine may reach it: the unit of the Debian package denies the network, timestamp.conf beside its examples opens it"
            }
            Self::Tls { fault, .. } => fault.remedy(),
            Self::Silent { .. } | Self::NoAnswer { .. } => {
                "check the address, its port, and whether it is https; if all that is right, the authority is at fault"
            }
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

/// Sends a request to an authority and returns its answer.
pub(super) async fn ask(whom: &AuthorityConfig, request: Vec<u8>) -> Result<Vec<u8>, Unreachable> {
    let exchanged = async {
        let (address, stream) = (&whom.address, connected(&whom.address).await?);
        if !address.tls {
            return exchanged(address, stream, request).await;
        }
        let stream = super::tls::secured(whom, stream).await?;
        exchanged(address, stream, request).await
    };
    limited(whom, WITHIN, exchanged).await
}

/// Whether an authority's server can be reached, and is the intended one. No time stamp is requested.
pub(crate) async fn reach(whom: &AuthorityConfig) -> Result<(), Unreachable> {
    let reached = async {
        let stream = connected(&whom.address).await?;
        if whom.address.tls {
            super::tls::secured(whom, stream).await?;
        }
        Ok(())
    };
    limited(whom, REACHED_WITHIN, reached).await
}

async fn limited<T>(
    whom: &AuthorityConfig,
    within: Duration,
    done: impl Future<Output = Result<T, Unreachable>>,
) -> Result<T, Unreachable> {
    let host = whom.address.place();
    match timeout(within, done).await {
        Ok(done) => done,
        Err(_) => Err(Unreachable::Silent { host, within }),
    }
}

async fn connected(address: &WebAddress) -> Result<TcpStream, Unreachable> {
    let host = address.place();
    let failed = |cause| Unreachable::Connection {
        host: host.clone(),
        cause,
    };
    let mut last = io::Error::from(io::ErrorKind::AddrNotAvailable);
    for found in looked_up(address).await? {
        match timeout(CONNECTS_WITHIN, TcpStream::connect(found)).await {
            Ok(Ok(stream)) => return Ok(stream),
            Ok(Err(cause)) => last = cause,
            Err(_) => last = io::ErrorKind::TimedOut.into(),
        }
    }
    Err(failed(last))
}

/// The addresses of a host. A name server may be silent for half a minute, so the lookup has a thread of its own: the
/// few threads of the runtime read the journal for others.
async fn looked_up(address: &WebAddress) -> Result<Vec<SocketAddr>, Unreachable> {
    let (host, port) = (bare(&address.host).to_owned(), address.port);
    let failed = |cause| Unreachable::Name {
        host: address.host.clone(),
        cause,
    };
    let (found, addresses) = oneshot::channel();
    let look = move || {
        let looked = (host.as_str(), port).to_socket_addrs();
        let _ = found.send(looked.map(Iterator::collect)); // Nobody waits for the result any more.
    };
    let thread = std::thread::Builder::new().name("lookup".to_owned());
    thread.spawn(look).map_err(failed)?;
    let ended = |_| Err(io::Error::other("the lookup broke off"));
    addresses.await.unwrap_or_else(ended).map_err(failed)
}

/// A host without the brackets of an IPv6 address.
pub(super) fn bare(host: &str) -> &str {
    host.trim_start_matches('[').trim_end_matches(']')
}

/// One request and its answer.
async fn exchanged(
    address: &WebAddress,
    stream: impl AsyncRead + AsyncWrite + Send + Unpin + 'static,
    request: Vec<u8>,
) -> Result<Vec<u8>, Unreachable> {
    let host = address.place();
    let silent = |why: String| Unreachable::NoAnswer {
        host: host.clone(),
        why,
    };
    let mut opening = http1::Builder::new();
    opening.max_buf_size(HEAD_BYTES);
    let opened = opening.handshake(TokioIo::new(stream)).await;
    let (mut sender, connection) = opened.map_err(|error| silent(error.to_string()))?;
    let named = match address.to_string().split_once("://") {
        Some((_, rest)) => rest.split('/').next().unwrap_or_default().to_owned(),
        None => host.clone(),
    };
    let post = Request::post(address.path.as_str())
        .header(header::HOST, named)
        .header(header::CONTENT_TYPE, QUERY)
        .header(header::ACCEPT, REPLY)
        .body(Body::from(request))
        .map_err(|error| silent(error.to_string()))?;
    let answer = async {
        let answer = sender.send_request(post).await;
        let answer = answer.map_err(|error| silent(error.to_string()))?;
        let answer = accepted(&host, answer)?;
        let mut chunks = Body::new(answer.into_body()).into_data_stream();
        let mut bytes = Vec::new();
        while let Some(chunk) = chunks.next().await {
            bytes.extend(chunk.map_err(|error| silent(error.to_string()))?);
            if u64::try_from(bytes.len()).unwrap_or(u64::MAX) > LONGEST {
                return Err(Unreachable::TooLong { host: host.clone() });
            }
        }
        Ok(bytes)
    };
    // Both end here, so that nothing continues when nobody waits for the answer.
    tokio::pin!(connection, answer);
    tokio::select! {
        biased;
        answer = &mut answer => answer,
        _ = &mut connection => answer.await,
    }
}

/// Checks the head of an answer: a time stamp must follow.
fn accepted(host: &str, answer: Response<Incoming>) -> Result<Response<Incoming>, Unreachable> {
    let host = host.to_owned();
    let status = answer.status();
    if status.is_redirection() {
        let to = text(answer.headers(), header::LOCATION);
        return Err(Unreachable::Moved { host, status, to });
    }
    if status != StatusCode::OK {
        return Err(Unreachable::Status { host, status });
    }
    let got = text(answer.headers(), header::CONTENT_TYPE);
    let kind = got.split(';').next().unwrap_or_default().trim();
    if !kind.eq_ignore_ascii_case(REPLY) {
        return Err(Unreachable::Content { host, got });
    }
    Ok(answer)
}

/// A value of a head, shortened for messages.
fn text(headers: &HeaderMap, name: HeaderName) -> String {
    const MOST: usize = 200;
    let value = headers.get(name).map(HeaderValue::as_bytes);
    let text = String::from_utf8_lossy(value.unwrap_or_default()).into_owned();
    text.chars().take(MOST).collect()
}
