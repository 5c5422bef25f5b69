//! Finds a server by its name and connects to it.

use super::tls::TlsFault;
use std::io;
use std::net::{SocketAddr, ToSocketAddrs as _};
use std::path::PathBuf;
use std::time::Duration;
use tokio::net::TcpStream;
use tokio::sync::oneshot;
use tokio::time::timeout;

/// Time limit for connecting to one address of a host, so that there is time for the next.
const CONNECTS_WITHIN: Duration = Duration::from_secs(8);

/// Why a server did not answer.
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
    /// Our own certificate or its key cannot be used.
    #[error("{}: {why}", path.display())]
    Identity {
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
        /// Whether the connection was closed before a byte of an answer came.
        is_closed: bool,
    },
}

impl Unreachable {
    /// What to do.
    pub(crate) fn remedy(&self) -> &'static str {
        match self {
            Self::Trust { .. } => {
                "name the file of the authority that signed the server's certificate, in PEM, and let the daemon's user read it"
            }
            Self::Identity { .. } => {
                "name the file of the certificate and that of its key, in PEM, and let only the daemon's user read the key"
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
                "check the address, its port, and whether it is https; if all that is right, the server is at fault"
            }
        }
    }
}

/// Does something within a time limit.
pub(crate) async fn within<T, E: From<Unreachable>>(
    limit: Duration,
    host: String,
    done: impl Future<Output = Result<T, E>>,
) -> Result<T, E> {
    match timeout(limit, done).await {
        Ok(done) => done,
        Err(_) => Err(Unreachable::Silent {
            host,
            within: limit,
        }
        .into()),
    }
}

/// Connects to a host; an IPv6 address may stand in brackets.
pub(crate) async fn connected(host: &str, port: u16) -> Result<TcpStream, Unreachable> {
    let mut last = io::Error::from(io::ErrorKind::AddrNotAvailable);
    for found in looked_up(host, port).await? {
        match timeout(CONNECTS_WITHIN, TcpStream::connect(found)).await {
            Ok(Ok(stream)) => {
                let _ = stream.set_nodelay(true); // Only slower without it.
                return Ok(stream);
            }
            Ok(Err(cause)) => last = cause,
            Err(_) => last = io::ErrorKind::TimedOut.into(),
        }
    }
    Err(Unreachable::Connection {
        host: format!("{host}:{port}"),
        cause: last,
    })
}

/// The addresses of a host. A name server may be silent for half a minute, so the lookup has a thread of its own: the
/// few threads of the runtime read the journal for others.
async fn looked_up(host: &str, port: u16) -> Result<Vec<SocketAddr>, Unreachable> {
    let failed = |cause| Unreachable::Name {
        host: host.to_owned(),
        cause,
    };
    let (found, addresses) = oneshot::channel();
    let bare = bare(host).to_owned();
    let look = move || {
        let looked = (bare.as_str(), port).to_socket_addrs();
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
