//! Requests a time stamp from an authority, and checks it before it is returned.

mod transport;

pub(crate) use transport::reach;

use super::answer::{Answer, NotAStamp, request};
use super::authority::{CertificatesError, NotVouched, UNREADABLE, certificates};
use crate::config::AuthorityConfig;
use crate::durable::Failed;
use crate::durable::secret::random;
use crate::entry::line::Digest;
use transport::{Unreachable, ask};

/// A checked time stamp.
#[derive(Debug)]
pub(crate) struct Obtained {
    /// The answer as it came.
    pub(crate) bytes: Vec<u8>,
    /// The parsed answer.
    pub(crate) answer: Answer,
}

/// Why no time stamp was obtained.
#[derive(Debug, thiserror::Error)]
pub(crate) enum NotObtained {
    /// The authority does not answer.
    #[error(transparent)]
    Unreachable(#[from] Unreachable),
    /// Its answer is not a time stamp of this digest.
    #[error("the answer is not kept: {0}")]
    NoStamp(#[from] NotAStamp),
    /// Its answer is signed by somebody else.
    #[error("the time stamp is not kept: {0}")]
    NotVouched(NotVouched),
    /// The certificates of the authority cannot be used.
    #[error(transparent)]
    Certificates(#[from] CertificatesError),
    /// A file could not be read or written.
    #[error(transparent)]
    File(#[from] Failed),
    /// The request could not be made.
    #[error("no request could be made: {0}")]
    Request(String),
}

impl NotObtained {
    /// What to do.
    pub(crate) fn remedy(&self) -> &'static str {
        match self {
            Self::Unreachable(error) => error.remedy(),
            Self::NoStamp(NotAStamp::Refused { .. }) => {
                "read what it says; ask again later, or another authority"
            }
            Self::NoStamp(_) => "check the address; if it is right, ask another authority",
            Self::NotVouched(_) => {
                "name the certificate that this authority publishes with authority (--authority); if it is the right one, somebody else answers in its place"
            }
            Self::Certificates(error) => error.remedy(),
            Self::File(_) => UNREADABLE,
            Self::Request(_) => "look at the system: it gives no random numbers or threads",
        }
    }
}

/// Requests a time stamp of a digest. The answer must be to this request, and the authority must vouch for it if its
/// certificate is given.
pub(crate) async fn obtain(
    whom: &AuthorityConfig,
    digest: Digest,
) -> Result<Obtained, NotObtained> {
    let no_request = |error: &dyn std::fmt::Display| NotObtained::Request(error.to_string());
    let authority = match whom.certificate.clone() {
        Some(path) => {
            let read = tokio::task::spawn_blocking(move || certificates(&path)).await;
            Some(read.map_err(|error| no_request(&error))??)
        }
        None => None,
    };
    let nonce = nonce().map_err(|error| no_request(&error))?;
    let request = request(digest, Some(nonce)).map_err(|error| no_request(&error))?;
    let bytes = ask(whom, request).await?;
    let answer = Answer::read(&bytes)?;
    answer.is_of(digest, Some(nonce))?;
    if let Some(authority) = authority {
        let vouched = authority.vouches_for(&answer);
        vouched.map_err(NotObtained::NotVouched)?;
    }
    Ok(Obtained { bytes, answer })
}

/// A random number that ties an answer to its request.
fn nonce() -> std::io::Result<u64> {
    random().map(u64::from_be_bytes)
}
