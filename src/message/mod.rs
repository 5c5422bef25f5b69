//! Messages between clients and daemon: JSON, one message on each line.
//!
//! In: lines of the control socket and of feed clients, and the state. Out: typed requests or a
//! fault to answer with, and messages to write. The entries on the feed are not in here: they go
//! out byte for byte as they are stored.
//!
//! - Nothing here is ever stored; these types share nothing with the journal's.
//! - Messages are read and written by the same types, so that the command line understands what
//!   the daemon says.

mod arm;
pub mod armed;
pub mod catalog;
pub mod feed;
mod forms;
pub mod page;
pub mod reply;
pub mod request;
pub mod schema;
pub mod series;
pub mod state;

pub use feed::{FeedRequest, Hello, Notice};
pub use reply::{ErrorObject, code};
pub use request::{Call, Rejected, Request, RequestId};
pub use state::{StateMessage, left_open};

/// The version of hello, state and control messages. Fields may be added within a version.
pub const VERSION: u32 = 1;

/// One message as a line, newline included.
pub fn line(message: &impl serde::Serialize) -> Vec<u8> {
    // Every message is made of texts, numbers and lists: there is nothing that cannot be written.
    let mut line = serde_json::to_vec(message).unwrap_or_else(|_| b"{}".to_vec());
    line.push(b'\n');
    line
}
