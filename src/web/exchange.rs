//! HTTP/1.1: requests and their answers, one after another on one connection.

use super::reach::{Unreachable, connected};
use super::tls::{client, secured};
use crate::config::{TlsFiles, WebAddress};
use axum::body::Body;
use axum::http::request::Builder;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, Request, Response, header};
use futures_util::StreamExt as _;
use hyper::body::Incoming;
use hyper::client::conn::http1;
use hyper_util::rt::TokioIo;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::task::JoinHandle;

/// A longer head is not that of an answer.
const HEAD_BYTES: usize = 16 * 1024;

/// A connection to an HTTP server. It ends when it is dropped.
#[derive(Debug)]
pub(crate) struct Exchange {
    sender: http1::SendRequest<Body>,
    connection: JoinHandle<()>,
    address: WebAddress,
}

impl Drop for Exchange {
    fn drop(&mut self) {
        self.connection.abort();
    }
}

impl Exchange {
    /// Connects to the server of an address.
    pub(crate) async fn open(address: &WebAddress, files: &TlsFiles) -> Result<Self, Unreachable> {
        let stream = connected(&address.host, address.port).await?;
        if !address.tls {
            return Self::over(address, stream).await;
        }
        let config = client(files).await?;
        let stream = secured(config, &address.host, address.port, stream).await?;
        Self::over(address, stream).await
    }

    async fn over(
        address: &WebAddress,
        stream: impl AsyncRead + AsyncWrite + Send + Unpin + 'static,
    ) -> Result<Self, Unreachable> {
        let mut opening = http1::Builder::new();
        opening.max_buf_size(HEAD_BYTES);
        let opened = opening.handshake(TokioIo::new(stream)).await;
        let (sender, connection) = opened.map_err(|error| no_answer(&address.place(), &error))?;
        let connection = tokio::spawn(async {
            let _ = connection.await; // Whoever waits for an answer gets the error.
        });
        Ok(Self {
            sender,
            connection,
            address: address.clone(),
        })
    }

    /// A POST to the address, for more headers.
    pub(crate) fn post(address: &WebAddress) -> Builder {
        let named = address.to_string();
        let named = named.split_once("://").map_or("", |(_, rest)| rest);
        let named = named.split('/').next().unwrap_or_default();
        Request::builder()
            .method(Method::POST)
            .uri(address.path.as_str())
            .header(header::HOST, named)
    }

    /// Sends a request and returns the head of its answer.
    pub(crate) async fn send(
        &mut self,
        request: Builder,
        body: Vec<u8>,
    ) -> Result<Response<Incoming>, Unreachable> {
        let host = self.address.place();
        let request = request.body(Body::from(body));
        let request = request.map_err(|error| Unreachable::NoAnswer {
            host: host.clone(),
            why: error.to_string(),
            is_closed: false,
        })?;
        let ready = self.sender.ready().await;
        ready.map_err(|error| no_answer(&host, &error))?;
        let answer = self.sender.send_request(request).await;
        answer.map_err(|error| no_answer(&host, &error))
    }
}

fn no_answer(host: &str, error: &hyper::Error) -> Unreachable {
    Unreachable::NoAnswer {
        host: host.to_owned(),
        why: error.to_string(),
        is_closed: error.is_closed() || error.is_canceled() || error.is_incomplete_message(),
    }
}

/// The body of an answer; `None` if it is longer than `most` bytes.
pub(crate) async fn body_of(
    host: &str,
    answer: Response<Incoming>,
    most: usize,
) -> Result<Option<Vec<u8>>, Unreachable> {
    let mut chunks = Body::new(answer.into_body()).into_data_stream();
    let mut bytes = Vec::new();
    while let Some(chunk) = chunks.next().await {
        bytes.extend(chunk.map_err(|error| Unreachable::NoAnswer {
            host: host.to_owned(),
            why: error.to_string(),
            is_closed: false,
        })?);
        if bytes.len() > most {
            return Ok(None);
        }
    }
    Ok(Some(bytes))
}

/// A value of a head, shortened for messages.
pub(crate) fn header_text(headers: &HeaderMap, name: HeaderName) -> String {
    const MOST: usize = 200;
    let value = headers.get(name).map(HeaderValue::as_bytes);
    let text = String::from_utf8_lossy(value.unwrap_or_default()).into_owned();
    text.chars().take(MOST).collect()
}
