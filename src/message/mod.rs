//! Messages between clients and daemon: JSON, one message on each line.
//!
//! In: lines of the control socket and of feed clients, and the state. Out: typed requests, or faults to answer with;
//! and messages to write. Entries on the feed are not handled here: they are sent byte for byte as stored.
//!
//! - Nothing here is stored, so these types are independent of those of the journal.
//! - The same types write and read a message, so that daemon and command line agree.

mod arm;
pub mod armed;
pub mod catalog;
pub(crate) mod cloud_event;
pub mod feed;
mod forms;
pub mod jobs;
pub mod label;
mod methods;
pub mod metrics;
pub mod nests;
pub mod page;
pub mod picture;
pub mod production;
pub mod qualified;
pub mod reply;
pub mod request;
pub mod schema;
pub mod series;
pub mod setup;
pub mod state;
mod tablet;
mod token;

pub use feed::{FeedRequest, Hello, LONGEST_FEED_LINE, Notice, StateSent};
pub use reply::{ErrorObject, code};
pub use request::{Asked, Call, Parsed, Rejected, Request, RequestId};
pub use state::{StateMessage, left_open};
pub use tablet::TabletCall;
pub use token::{Scope, TokenCall};

/// The version of hello, state and control messages. Fields may be added within a version.
pub const VERSION: u32 = 1;

/// One message as a line, newline included.
pub fn line(message: &impl serde::Serialize) -> Vec<u8> {
    // Messages consist of texts, numbers and lists, so writing them cannot fail.
    let mut line = serde_json::to_vec(message).unwrap_or_else(|_| b"{}".to_vec());
    line.push(b'\n');
    line
}
