//! Time stamps by RFC 3161: an authority outside of the shop confirms that a line of the journal existed at a time.
//!
//! In: the digest of a line. Out: a request for an authority, and the check of its answer against an authority's
//! certificate. The stamped digest is the one that the next line holds, so the time stamp covers all lines up to that
//! one.
//!
//! - Only the digest leaves the bench.
//! - An answer is stored as it came, so that `openssl ts -verify` can check it too.
//! - Times with a fraction of a second are not supported: they are rare, and the DER library reads whole seconds only.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: answers on disk and over the network"
)]

mod answer;
#[cfg(target_os = "linux")]
mod asking;
mod authority;
mod store;

pub(crate) use answer::{Answer, NotAStamp, request};
#[cfg(target_os = "linux")]
pub(crate) use asking::{NotObtained, obtain, reach};
pub(crate) use authority::{Authority, CertificatesError, certificates};
pub(crate) use store::{Stamp, file, keep, kept, kept_by};
