//! Asks an authority over HTTP, by RFC 3161, 3.4. Plain HTTP is enough: the answer is signed, and the request tells
//! nothing but a digest.

use super::store::LONGEST;
use axum::body::{Body, to_bytes};
use axum::http::{Request, StatusCode, Uri, header};
use hyper_util::rt::TokioIo;
use std::io;
use std::time::Duration;
use tokio::net::TcpStream;
use tokio::time::timeout;

const SCHEME: &str = concat!("http", "://");
/// How long an authority may take.
const WITHIN: Duration = Duration::from_secs(30);

/// Why an authority did not answer.
#[derive(Debug, thiserror::Error)]
pub(crate) enum Unreachable {
    /// The address.
    #[error("got the address {got:?}, want HOST/PATH of a plain HTTP server")]
    Address {
        /// What was given.
        got: String,
    },
    /// The connection.
    #[error("{host} cannot be reached: {cause}")]
    Connection {
        /// Whom.
        host: String,
        /// Error of the system.
        cause: io::Error,
    },
    /// No answer, or a broken one.
    #[error("{host} did not answer: {why}")]
    NoAnswer {
        /// Whom.
        host: String,
        /// Why.
        why: String,
    },
    /// An answer that is no time stamp.
    #[error("{host} answered with status {status}")]
    Status {
        /// Whom.
        host: String,
        /// The status of HTTP.
        status: StatusCode,
    },
}

/// Sends a request to an authority and returns its answer.
pub(crate) async fn ask(url: &str, request: Vec<u8>) -> Result<Vec<u8>, Unreachable> {
    let wrong = || Unreachable::Address {
        got: url.to_owned(),
    };
    let address = url.strip_prefix(SCHEME).unwrap_or(url);
    let uri: Uri = format!("{SCHEME}{address}").parse().map_err(|_| wrong())?;
    let host = uri.host().filter(|_| !address.contains("://"));
    let host = host.ok_or_else(wrong)?;
    let place = format!("{host}:{}", uri.port_u16().unwrap_or(80));
    match timeout(WITHIN, exchange(&uri, &place, request)).await {
        Ok(answer) => answer,
        Err(_) => Err(Unreachable::NoAnswer {
            host: place,
            why: format!("nothing within {} s", WITHIN.as_secs()),
        }),
    }
}

async fn exchange(uri: &Uri, place: &str, request: Vec<u8>) -> Result<Vec<u8>, Unreachable> {
    let silent = |why: String| Unreachable::NoAnswer {
        host: place.to_owned(),
        why,
    };
    let stream = TcpStream::connect(place).await;
    let stream = stream.map_err(|cause| Unreachable::Connection {
        host: place.to_owned(),
        cause,
    })?;
    let opened = hyper::client::conn::http1::handshake(TokioIo::new(stream)).await;
    let (mut sender, connection) = opened.map_err(|error| silent(error.to_string()))?;
    let path = uri.path_and_query().map_or("/", |path| path.as_str());
    let post = Request::post(path)
        .header(
            header::HOST,
            uri.authority().map_or(place, |host| host.as_str()),
        )
        .header(header::CONTENT_TYPE, "application/timestamp-query")
        .body(Body::from(request))
        .map_err(|error| silent(error.to_string()))?;
    // Ends by itself: with the answer, or with an error that the request is given.
    tokio::spawn(connection);
    let answer = sender.send_request(post).await;
    let answer = answer.map_err(|error| silent(error.to_string()))?;
    if answer.status() != StatusCode::OK {
        return Err(Unreachable::Status {
            host: place.to_owned(),
            status: answer.status(),
        });
    }
    let most = usize::try_from(LONGEST).unwrap_or(usize::MAX);
    let body = to_bytes(Body::new(answer.into_body()), most).await;
    let body = body.map_err(|error| silent(error.to_string()))?;
    Ok(body.to_vec())
}
