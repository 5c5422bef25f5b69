//! Opens a port, reads it, notices its end, and opens it again.
//!
//! In: how to select and set a port, and bytes to send. Out: [`Event`]s of one instrument over a bounded channel.
//!
//! - Bytes are passed on in the chunks in which they came. Frames are not known here.
//! - Bytes with line errors are an event of another kind, in order with the others.
//! - A read of 0 bytes is the end of the port. The same descriptor is never read again.
//! - While no one takes events the port is not read, so memory is bounded.
//! - Sending never waits. Bytes that the port does not accept at once are reported and dropped.
#![expect(
    clippy::disallowed_methods,
    reason = "edge: ports, /proc and the time between two trials are the world"
)]

mod access;
mod contact;
pub mod discover;
mod error;
mod guard;
mod holder;
mod marks;
mod port;
mod quiet;
mod reopen;
mod settings;
mod socket;
mod stale;
pub mod tape;
mod tuning;

pub use access::Access;
pub use error::{Fitting, SerialError};
pub use holder::Holder;
pub use marks::{ByteRun, Marks, far_end_marks, marked};
pub use port::{Opened, Port, Read};

use crate::config::PortConfig;
use crate::entry::Attached;
use contact::Contact;
use guard::{Guard, Odd};
use quiet::{Late, Quiet};
use reopen::{FailureFilter, Pauses, Watch};
use std::time::{Duration, Instant};
use tokio::sync::mpsc::{Receiver, Sender};

/// Cause of a loss: older bytes were discarded when the port was opened.
pub const BEHIND_STALE: &str = "while the port was opened";
/// Cause of a loss: bytes waited while no one could read them.
const BEHIND_STANDSTILL: &str = "while the computer stood still";

/// A port that closes sooner than this is not opened again at once, because the cause may still be there.
const SETTLED: Duration = Duration::from_secs(2);

/// An event at an instrument's port. In order: trouble while it cannot be opened, then opened, bytes, closed, and so
/// on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Event {
    /// The port is open with its settings.
    Opened(Attached),
    /// Bytes that were waiting when the port was opened, at most 64 KiB. They are older than that, so it is unknown
    /// what they measured, and they must not be judged.
    Stale(Vec<u8>),
    /// Bytes, in any chunks.
    Bytes(Vec<u8>),
    /// Bytes with line errors (parity, framing, break), in order with the others.
    Spoiled(Vec<u8>),
    /// Other programs have the port open, or none has any more, or its settings had been changed.
    Disturbed {
        /// Programs that have it open now: `cat (pid 12)`.
        holders: Vec<String>,
        /// The settings that it had been changed to, and that were corrected.
        settings: Option<String>,
    },
    /// Bytes may have been lost here or were discarded, so the next bytes may be the rest of a frame.
    OutOfStep {
        /// The cause, in words.
        behind: &'static str,
    },
    /// Nothing came for one of the silences that matter ([`crate::config::SILENCES`]).
    Quiet {
        /// Time since the last byte. A late report does not make it longer.
        lasted: Duration,
    },
    /// The contact on the configured modem line changed.
    Contact {
        /// Whether it is closed now.
        closed: bool,
    },
    /// The port is gone. Opening it again is tried.
    Closed {
        /// The cause, in words.
        reason: String,
    },
    /// The port cannot be opened, and is tried again; sent once for each message, not for each attempt. Or: the open
    /// port did not accept the bytes of a request, which are dropped.
    Trouble {
        /// What was found and what was expected.
        message: String,
        /// What to do.
        remedy: Option<String>,
    },
}

/// No one takes the events any more.
struct Unwanted;

/// Keeps an instrument's port open and sends its events to `out`, until the receiver is dropped. An unplugged adapter
/// is waited for, under any device name if it is selected by its identity.
///
/// Requests from `requests` are sent to the instrument unchanged. Requests that came while the port was closed are
/// dropped, because they have timed out. A request that the port does not accept at once is reported as
/// [`Event::Trouble`]. The sender of `requests` may be dropped at any time.
pub async fn run(config: PortConfig, out: Sender<Event>, mut requests: Receiver<Vec<u8>>) {
    tokio::select! {
        () = out.closed() => {}
        _ = keep_open(&config, &out, &mut requests) => {}
    }
}

async fn keep_open(
    config: &PortConfig,
    out: &Sender<Event>,
    requests: &mut Receiver<Vec<u8>>,
) -> Result<(), Unwanted> {
    let mut pauses = Pauses::new();
    let mut twin_seen = false;
    loop {
        let (opened, watch) = wait_until_open(config, &mut pauses, out).await?;
        let since = Instant::now();
        let mut attached = opened.attached;
        attached.ambiguous |= twin_seen;
        tell(out, Event::Opened(attached.clone())).await?;
        if !opened.stale.is_empty() {
            tell(out, Event::Stale(opened.stale)).await?;
        }
        if opened.out_of_step {
            let behind = BEHIND_STALE;
            tell(out, Event::OutOfStep { behind }).await?;
        }
        while requests.try_recv().is_ok() {}
        let guard = Guard::over(opened.guarded);
        let mut quiet = Quiet::default();
        if opened.out_of_step {
            quiet.bytes_came(Instant::now());
        }
        let reason = pass_on(opened.port, quiet, opened.contact, guard, out, requests).await?;
        // Checked before waiting: if selected by its serial number, the twin would be taken for this adapter.
        twin_seen |= twin_is_there(&attached).await;
        tell(out, Event::Closed { reason }).await?;
        if since.elapsed() >= SETTLED {
            pauses = Pauses::new();
        }
        // It never went away: a plug that is back already causes no event.
        watch.wait(pauses.next()).await;
    }
}

/// Whether an adapter is there that has the same identity as the one that went away.
async fn twin_is_there(gone: &Attached) -> bool {
    let Some(adapter) = gone.adapter() else {
        return false;
    };
    let looking =
        tokio::task::spawn_blocking(move || socket::twin_is_there(&adapter.usb, &adapter.socket));
    looking.await.unwrap_or(false)
}

/// Reads the port to its end and closes it. While the old descriptor is open, an adapter that is plugged in again would
/// get another number.
async fn pass_on(
    mut port: Port,
    mut quiet: Quiet,
    mut contact: Option<Contact>,
    mut guard: Guard,
    out: &Sender<Event>,
    requests: &mut Receiver<Vec<u8>>,
) -> Result<String, Unwanted> {
    loop {
        let due = quiet.due(Instant::now());
        let event = tokio::select! {
            Odd { holders, settings } = guard.odd() => Event::Disturbed { holders, settings },
            closed = changed(contact.as_mut()) => Event::Contact { closed },
            read = port.read() => {
                let now = Instant::now();
                if quiet.late(now) == Late::Long {
                    let behind = BEHIND_STANDSTILL;
                    tell(out, Event::OutOfStep { behind }).await?;
                }
                quiet.bytes_came(now);
                match read {
                    Read::Run(ByteRun::Sound(bytes)) => Event::Bytes(bytes),
                    Read::Run(ByteRun::Spoiled(bytes)) => Event::Spoiled(bytes),
                    Read::HungUp(reason) => return Ok(reason),
                }
            }
            () = until(due) => {
                let now = Instant::now();
                match quiet.late(now) {
                    Late::Long => {
                        quiet.again(now);
                        let behind = BEHIND_STANDSTILL;
                        Event::OutOfStep { behind }
                    }
                    // After the whole computer stood still, an adapter delivers its bytes a moment later.
                    Late::Somewhat => {
                        quiet.again(now);
                        continue;
                    }
                    Late::No if port.waits() => continue,
                    Late::No => match quiet.next_passed() {
                        Some(lasted) => Event::Quiet { lasted },
                        None => continue,
                    },
                }
            }
            Some(request) = requests.recv() => match port.send(&request) {
                Ok(()) => continue,
                Err(error) => Event::Trouble {
                    message: error.to_string(),
                    remedy: error.remedy(),
                },
            },
        };
        tell(out, event).await?;
    }
}

async fn until(moment: Option<Instant>) {
    match moment {
        Some(moment) => tokio::time::sleep_until(moment.into()).await,
        None => std::future::pending().await,
    }
}

async fn changed(contact: Option<&mut Contact>) -> bool {
    match contact {
        Some(contact) => contact.changed().await,
        None => std::future::pending().await,
    }
}

async fn wait_until_open(
    config: &PortConfig,
    pauses: &mut Pauses,
    out: &Sender<Event>,
) -> Result<(Opened, Watch), Unwanted> {
    // Begun before the first attempt, so that no event between attempt and wait is missed.
    let watch = Watch::on(&config.selector);
    let mut telling = FailureFilter::default();
    loop {
        let error = match open(config.clone()).await {
            Ok(opened) => return Ok((opened, watch)),
            Err(error) => error,
        };
        if telling.is_news(&error, Instant::now()) {
            let (message, remedy) = (error.to_string(), error.remedy());
            tell(out, Event::Trouble { message, remedy }).await?;
        }
        watch.wait(pauses.next()).await;
    }
}

/// Looking for rivals takes some milliseconds, so it is not done on the thread of the other ports.
async fn open(config: PortConfig) -> Result<Opened, SerialError> {
    let selector = config.selector.to_string();
    let opening = tokio::task::spawn_blocking(move || Port::open(&config));
    opening.await.unwrap_or_else(|cause| {
        Err(SerialError::Failed {
            path: selector.into(),
            cause: std::io::Error::other(cause),
        })
    })
}

async fn tell(out: &Sender<Event>, event: Event) -> Result<(), Unwanted> {
    out.send(event).await.map_err(|_| Unwanted)
}
