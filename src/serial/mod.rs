//! Opening a port, reading it, its end, and its coming back.
//!
//! In: how a port is found and set, and bytes to send. Out: [`Event`]s of one instrument over a
//! bounded channel.
//!
//! - The bytes are passed on as they came, in chunks; where a frame ends is not known in here.
//! - A byte that the line spoiled is an event of another kind, in its place among the others.
//! - A read of 0 bytes is the end of the port: never tried again on the same descriptor.
//! - When nobody takes the events, the port is not read: memory stays bounded.
//! - Sending never waits: what the port does not take at once is reported and dropped.
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

/// What bytes are behind that came when older ones had just been thrown away.
pub const BEHIND_STALE: &str = "from while the port was opened";
/// What bytes are behind that waited while nobody could read them.
const BEHIND_STANDSTILL: &str = "from while the computer stood still";

/// A port that was open for less is not opened again at once: whatever closes it may do so again.
const SETTLED: Duration = Duration::from_secs(2);

/// What happens at one instrument's port, in order: trouble while it cannot be opened, then open,
/// bytes, closed, and so on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Event {
    /// The port is open and set.
    Opened(Attached),
    /// Bytes that were waiting when the port was opened, the first 64 KiB of them. They are from
    /// before: nobody knows what they measured, so they must not be judged.
    Stale(Vec<u8>),
    /// Bytes, in whatever chunks they came.
    Bytes(Vec<u8>),
    /// Bytes that the line spoiled (parity, framing, a break), in their place among the others.
    Spoiled(Vec<u8>),
    /// Other programs have the port open beside us, none has any more, or somebody had set it otherwise.
    Disturbed {
        /// Those that have it open now: `cat (pid 12)`.
        holders: Vec<String>,
        /// The settings that were found, and set back.
        settings: Option<String>,
    },
    /// Bytes may be missing from here on, or those before them were thrown away: what comes next may be
    /// the rest of a frame.
    OutOfStep {
        /// Behind what, in words.
        behind: &'static str,
    },
    /// Nothing more came up to now, for one of the silences that matter ([`crate::config::SILENCES`]) since the last byte.
    Quiet {
        /// How long. A silence that is reported late is not reported as longer.
        lasted: Duration,
    },
    /// The contact on the configured modem line has closed or opened.
    Contact {
        /// It is closed now.
        closed: bool,
    },
    /// The port is gone; it is waited for.
    Closed {
        /// Why, in words.
        reason: String,
    },
    /// The port cannot be opened; it is tried again. Sent once per message, not once per trial.
    /// Or: the port is open and did not take the bytes of a request; those are given up.
    Trouble {
        /// What was got and what was expected.
        message: String,
        /// What a person can do about it.
        remedy: Option<String>,
    },
}

/// Nobody takes the events any more.
struct Unwanted;

/// Keeps an instrument's port open and sends what happens there to `out`, until its receiver is
/// dropped. A plugged-out adapter is waited for, on any number if it was named by its identity.
///
/// What comes over `requests` is sent to the instrument as it is; what came while the port was not open is
/// dropped, since the request has timed out by then. A request that the port does not take at once
/// is reported as [`Event::Trouble`]. The sender of `requests` may be dropped at any time.
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
        // Before it is waited for: found by its serial number, the twin would be taken for it.
        twin_seen |= twin_is_there(&attached).await;
        tell(out, Event::Closed { reason }).await?;
        if since.elapsed() >= SETTLED {
            pauses = Pauses::new();
        }
        // It was there all the time: a plug that is back already is not missed.
        watch.wait(pauses.next()).await;
    }
}

/// Whether an adapter that could pass for the one that has just gone is there.
async fn twin_is_there(gone: &Attached) -> bool {
    let Some(adapter) = gone.adapter() else {
        return false;
    };
    let looking =
        tokio::task::spawn_blocking(move || socket::twin_is_there(&adapter.usb, &adapter.socket));
    looking.await.unwrap_or(false)
}

/// Reads the port to its end, and closes it: while its old descriptor is open, an adapter that is
/// plugged in again gets another number.
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
                    // Where the whole computer stood, an adapter hands on what it has only after a moment.
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
    // Before the first trial, so that nothing appears unseen between a trial and the wait.
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

/// Looking for rivals takes some milliseconds: not on the thread that serves the other ports.
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
