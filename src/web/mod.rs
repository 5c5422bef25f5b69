//! Connections to servers elsewhere: the name, TCP, TLS, and one HTTP request after another.
//!
//! In: an address that a person has written. Out: a stream, or an answer; or why there is none, with a remedy.
//!
//! - A redirect is never followed: only the address that a person has written may learn what is sent.
//! - The size of everything that a server may send is bounded here, the time by [`within`].
#![expect(
    clippy::disallowed_methods,
    reason = "edge: sockets, and the certificates of the system"
)]

mod exchange;
mod reach;
mod tls;

pub(crate) use exchange::{Exchange, body_of, header_text};
pub(crate) use reach::{Unreachable, connected, within};
pub(crate) use tls::{client, secured};
