//! TLS to a server: which certificates are trusted, which one is ours, and what is wrong with one.

use super::reach::{Unreachable, bare};
use crate::config::TlsFiles;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer, ServerName};
use rustls::{CertificateError, ClientConfig, Error, RootCertStore};
use std::fmt;
use std::fs::File;
use std::io::{self, Read as _};
use std::path::Path;
use std::sync::Arc;
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;
use tokio_rustls::client::TlsStream;

/// What is wrong with a connection by TLS.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum TlsFault {
    /// The certificate is for another host.
    OtherName,
    /// The certificate is not valid at this machine's time.
    OutOfDate,
    /// No trusted authority has signed it.
    Unknown,
    /// The certificate of an authority is used as a server's certificate.
    SelfSigned,
    /// The port does not speak TLS.
    NoTls,
    /// The other side ended the handshake without a reason.
    Closed,
    /// Something else, in the words of the library or system.
    Other(String),
}

impl TlsFault {
    pub(crate) fn of(error: &io::Error) -> Self {
        let inner = error.get_ref().and_then(|inner| inner.downcast_ref());
        let Some(inner) = inner else {
            let closed = [io::ErrorKind::UnexpectedEof, io::ErrorKind::ConnectionReset];
            return if closed.contains(&error.kind()) {
                Self::Closed
            } else {
                Self::Other(error.to_string())
            };
        };
        #[expect(
            clippy::wildcard_enum_match_arm,
            reason = "the library's enum has dozens of variants and may grow"
        )]
        match inner {
            Error::InvalidMessage(_) => Self::NoTls,
            Error::InvalidCertificate(error) => match error {
                CertificateError::NotValidForName
                | CertificateError::NotValidForNameContext { .. } => Self::OtherName,
                CertificateError::Expired
                | CertificateError::ExpiredContext { .. }
                | CertificateError::NotValidYet
                | CertificateError::NotValidYetContext { .. } => Self::OutOfDate,
                CertificateError::UnknownIssuer | CertificateError::BadSignature => Self::Unknown,
                other if other.to_string().contains("CaUsedAsEndEntity") => Self::SelfSigned,
                other => Self::Other(other.to_string()),
            },
            other => Self::Other(other.to_string()),
        }
    }

    pub(crate) const fn remedy(&self) -> &'static str {
        match self {
            Self::OtherName => {
                "write the name that the certificate is for; if it was right yesterday, somebody else answers in its place"
            }
            Self::OutOfDate => {
                "check the clock of this machine (date); if it is right, the server's certificate must be renewed"
            }
            Self::Unknown => {
                "for an authority of your own, name its certificate with ca_file (--ca-file); otherwise somebody else answers in its place"
            }
            Self::SelfSigned => {
                "give the server a certificate of its own that is no authority (CA:FALSE), signed by the one in ca_file"
            }
            Self::NoTls | Self::Closed => {
                "write http:// if that port speaks no TLS, or the port that does"
            }
            Self::Other(_) => "check the address and its port, and the server's TLS",
        }
    }
}

impl fmt::Display for TlsFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::OtherName => "its certificate is for another name",
            Self::OutOfDate => "its certificate is not valid today",
            Self::Unknown => "its certificate is of no authority that is trusted",
            Self::SelfSigned => "its certificate is that of an authority, want one of a server",
            Self::NoTls => "it does not speak TLS",
            Self::Closed => "it closed the connection in the TLS handshake",
            Self::Other(text) => text,
        })
    }
}

/// A longer file has no certificates.
const LARGEST: u64 = 1 << 20;

/// The TLS settings of these files, read each time, so that a renewed certificate is used by the next connection.
pub(crate) async fn client(files: &TlsFiles) -> Result<ClientConfig, Unreachable> {
    let files = files.clone();
    let made = tokio::task::spawn_blocking(move || made(&files)).await;
    made.unwrap_or_else(|error| {
        Err(Unreachable::NoRoots {
            why: error.to_string(),
        })
    })
}

fn made(files: &TlsFiles) -> Result<ClientConfig, Unreachable> {
    let roots = roots(files.ca_file.as_deref())?;
    let unusable = |error: Error| Unreachable::NoRoots {
        why: error.to_string(),
    };
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(unusable)?
        .with_root_certificates(roots);
    let Some((certificate, key)) = &files.identity else {
        return Ok(config.with_no_client_auth());
    };
    let wrong = |path: &Path, why: String| Unreachable::Identity {
        path: path.to_owned(),
        why,
    };
    let bytes = read(certificate).map_err(|error| wrong(certificate, error.to_string()))?;
    let chain: Result<Vec<_>, _> = CertificateDer::pem_slice_iter(&bytes).collect();
    let chain = chain.unwrap_or_default();
    if chain.is_empty() {
        let why = "got no certificate, want one or more in PEM".to_owned();
        return Err(wrong(certificate, why));
    }
    let bytes = read(key).map_err(|error| wrong(key, error.to_string()))?;
    let private = PrivateKeyDer::from_pem_slice(&bytes)
        .map_err(|_| wrong(key, "got no private key, want one in PEM".to_owned()))?;
    let config = config.with_client_auth_cert(chain, private);
    config.map_err(|error| wrong(key, format!("not the key of the certificate: {error}")))
}

/// Connects to the server and checks that it is the intended one.
pub(crate) async fn secured(
    config: ClientConfig,
    host: &str,
    port: u16,
    stream: TcpStream,
) -> Result<TlsStream<TcpStream>, Unreachable> {
    let failed = |fault| Unreachable::Tls {
        host: format!("{host}:{port}"),
        fault,
    };
    let name = ServerName::try_from(bare(host).to_owned());
    let name = name.map_err(|error| failed(TlsFault::Other(error.to_string())))?;
    let connected = TlsConnector::from(Arc::new(config)).connect(name, stream);
    connected
        .await
        .map_err(|error| failed(TlsFault::of(&error)))
}

fn read(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(LARGEST).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// The certificates that a server is checked against: those of a file, otherwise the system's.
fn roots(ca_file: Option<&Path>) -> Result<RootCertStore, Unreachable> {
    let mut roots = RootCertStore::empty();
    let Some(path) = ca_file else {
        let found = rustls_native_certs::load_native_certs();
        let (taken, _) = roots.add_parsable_certificates(found.certs);
        if taken == 0 {
            let why = found.errors.first().map(ToString::to_string);
            let why = why.unwrap_or_else(|| "it has no certificates".to_owned());
            return Err(Unreachable::NoRoots { why });
        }
        return Ok(roots);
    };
    let wrong = |why: String| Unreachable::Trust {
        path: path.to_owned(),
        why,
    };
    let bytes = read(path).map_err(|error| wrong(error.to_string()))?;
    let found: Result<Vec<_>, _> = CertificateDer::pem_slice_iter(&bytes).collect();
    let (taken, _) = roots.add_parsable_certificates(found.unwrap_or_default());
    if taken == 0 {
        return Err(wrong(
            "got no certificate, want one or more in PEM".to_owned(),
        ));
    }
    Ok(roots)
}
