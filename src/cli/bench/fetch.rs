//! Reads what stands at a web address, for commands that take a file or an address.

use super::Failure;
use crate::config::{TlsFiles, WebAddress};
use crate::web::{Exchange, Unreachable, body_of, header_text, within};
use axum::http::{Method, StatusCode, header};
use std::path::Path;
use std::time::Duration;

/// Time limit for a whole request.
const WITHIN: Duration = Duration::from_secs(30);

/// A longer answer is not read to its end.
const LONGEST: usize = 16 * 1024 * 1024;

/// Why there is nothing.
#[derive(Debug, thiserror::Error)]
enum NotFetched {
    /// The server does not answer.
    #[error(transparent)]
    Unreachable(#[from] Unreachable),
    /// It redirects to another address.
    #[error("{host} answered with status {} and sends us to {to:?}", status.as_u16())]
    Moved {
        host: String,
        status: StatusCode,
        to: String,
    },
    /// It has nothing there, or does not give it to us.
    #[error("{host} answered with status {status}, want 200")]
    Status { host: String, status: StatusCode },
    /// It sends more than is read.
    #[error("{host} answered with more than {LONGEST} bytes")]
    TooLong { host: String },
}

impl NotFetched {
    fn remedy(&self) -> &'static str {
        match self {
            Self::Unreachable(error) => error.remedy(),
            Self::Moved { .. } => {
                "redirects are not followed: if that address is the same server's, write it instead"
            }
            Self::Status { .. } => "check the path of the address, and who may read it",
            Self::TooLong { .. } => "check the address; give fewer at once",
        }
    }
}

/// What stands at an address, by GET. `ca_file` has the certificates that the server is checked against.
pub(super) fn fetched(address: &str, ca_file: Option<&Path>) -> Result<Vec<u8>, Failure> {
    let Some(parsed) = WebAddress::parse(address) else {
        return Err(Failure::usage(format!(
            "got the address {address:?}, want https://HOST/PATH, or the same with http"
        ))
        .with_remedy("give it as a browser shows it"));
    };
    let files = TlsFiles {
        ca_file: ca_file.map(Path::to_owned),
        ..TlsFiles::default()
    };
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure::io("no runtime can be started").because(&error))?;
    let fetching = within(WITHIN, parsed.place(), got(&parsed, &files));
    let fetched = runtime.block_on(fetching);
    fetched.map_err(|error| Failure::io(error.to_string()).with_remedy(error.remedy()))
}

async fn got(address: &WebAddress, files: &TlsFiles) -> Result<Vec<u8>, NotFetched> {
    let host = address.place();
    let mut server = Exchange::open(address, files).await?;
    let request = Exchange::post(address).method(Method::GET);
    let answer = server.send(request, Vec::new()).await?;
    let status = answer.status();
    if status.is_redirection() {
        let to = header_text(answer.headers(), header::LOCATION);
        return Err(NotFetched::Moved { host, status, to });
    }
    if status != StatusCode::OK {
        return Err(NotFetched::Status { host, status });
    }
    let body = body_of(&host, answer, LONGEST).await?;
    body.ok_or(NotFetched::TooLong { host })
}
