//! Time stamps by RFC 3161: what an authority outside of the shop says that a line of the journal existed at a time.
//!
//! In: the digest of a line. Out: a request for an authority, and the check of its answer against an authority's
//! certificate. The digest that is stamped is that of the line, as the next line names it, so it stands for all lines
//! up to there.
//!
//! - Nothing but the digest leaves the bench.
//! - An answer is kept as it came, so that `openssl ts -verify` checks it too.
//! - Times with a fraction of a second are not read: they are rare, and the reader of DER knows whole seconds only.

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
