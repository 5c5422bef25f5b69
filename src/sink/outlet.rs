//! The common part of sinks whose destination acknowledges entries over a connection: brokers, receivers, databases.
//!
//! In: durable lines in order, and an [`Outlet`]. Out: every line delivered at least once, in order.
//!
//! - The cursor moves after an entry was acknowledged. After any failure the connection is discarded, and the next one
//!   begins after the last acknowledged entry. So an entry may come twice, none is missing, and repeats come in order.
//! - The pauses between connections grow until an entry was acknowledged ([`Attempts`]).
//! - A destination that is slow or gone delays nobody: this is a follower of the journal like any other.

use super::attempts::{Attempts, Tell};
use super::cursor::SinkCursor;
use super::{REMEDY, SinkError, now, until};
use crate::entry::Seq;
use crate::journal::{Follow, JournalError, Line, blocking};
use std::error::Error;
use std::fmt;
use std::future::{pending, ready};
use std::path::PathBuf;
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::{Instant, sleep, sleep_until, timeout};

/// How far the stored cursor may be behind. Each move costs the disk two syncs.
const LAG: Duration = Duration::from_secs(1);
/// Time limit for the last entries when the daemon stops.
const GOODBYE: Duration = Duration::from_secs(1);

/// Why a connection was discarded.
#[derive(Debug)]
pub(crate) struct Broken {
    error: Box<dyn Error + Send + Sync>,
    remedy: &'static str,
    /// The destination asks that it be left alone for this time.
    wait: Option<Duration>,
}

impl Broken {
    /// A failure, and what to do.
    pub(crate) fn new(
        error: impl Into<Box<dyn Error + Send + Sync>>,
        remedy: &'static str,
    ) -> Self {
        Self {
            error: error.into(),
            remedy,
            wait: None,
        }
    }

    /// The next attempt is not before this time has passed.
    pub(crate) fn not_before(self, wait: Option<Duration>) -> Self {
        Self { wait, ..self }
    }
}

impl fmt::Display for Broken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.error.fmt(f)
    }
}

impl From<SinkError> for Broken {
    fn from(error: SinkError) -> Self {
        Self::new(error, REMEDY)
    }
}

impl From<JournalError> for Broken {
    fn from(error: JournalError) -> Self {
        SinkError::from(error).into()
    }
}

/// A destination of entries.
pub(crate) trait Outlet: Send + Sync {
    /// Its kind in the configuration.
    const KIND: &'static str;
    /// An open connection.
    type Connection: Delivery;

    /// Connects.
    fn open(&self) -> impl Future<Output = Result<Self::Connection, Broken>> + Send;
}

/// The position of a destination in the journal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Place {
    /// It has every entry up to this one.
    pub(crate) has: Seq,
    /// It must be given the entries after this one, to know what they mean for later ones.
    pub(crate) reads_after: Seq,
}

/// A connection to a destination.
pub(crate) trait Delivery: Send {
    /// Where it goes on, if our own cursor is at `saved` and the journal ends with the entry `newest`.
    fn place(&self, saved: Seq, newest: Seq) -> Result<Place, Broken> {
        let _ = newest;
        Ok(Place {
            has: saved,
            reads_after: saved,
        })
    }

    /// Delivers the first of these lines, or all. Returns how many were acknowledged.
    fn deliver(&mut self, lines: &[Line]) -> impl Future<Output = Result<usize, Broken>> + Send;

    /// Every durable entry was delivered.
    fn caught_up(&mut self) -> impl Future<Output = Result<(), Broken>> + Send {
        ready(Ok(()))
    }

    /// Keeps the connection while there is nothing to deliver. Returns how it ended.
    fn ended(&mut self) -> impl Future<Output = Broken> + Send {
        pending()
    }

    /// Ends the connection.
    fn close(&mut self) -> impl Future<Output = Result<(), Broken>> + Send {
        ready(Ok(()))
    }
}

/// The journal of a sink, and its own name.
#[derive(Debug, Clone)]
pub(crate) struct OutletContext {
    /// Name of the sink.
    pub(crate) name: String,
    /// Folder that contains the journal.
    pub(crate) state_dir: PathBuf,
    /// Identity of the journal.
    pub(crate) journal: String,
}

/// Delivers durable entries until the sender of `stopped` is dropped. Entries that are durable by then are delivered
/// too, if the destination takes them within a second.
pub(crate) async fn run<O: Outlet>(
    context: OutletContext,
    outlet: O,
    mut follow: Follow,
    mut stopped: watch::Receiver<()>,
    tell: Tell,
) {
    let attempts = Attempts::new(&context.name, O::KIND, tell);
    let mut running = Running {
        context,
        outlet,
        attempts,
        done: None,
    };
    loop {
        let Err(broken) = running.attempt(&mut follow, &mut stopped).await else {
            return;
        };
        let pause = running.attempts.failed(now(), &broken, broken.remedy);
        let pause = broken.wait.map_or(pause, |wait| pause.max(wait));
        tokio::select! {
            biased;
            _ = stopped.changed() => return,
            () = sleep(pause) => {}
        }
    }
}

/// The connection ended without a failure.
struct Stopped;

/// A sink over several connections.
struct Running<O> {
    context: OutletContext,
    outlet: O,
    attempts: Attempts,
    /// What was acknowledged so far; `None` before the cursor was read.
    done: Option<Acknowledged>,
}

impl<O: Outlet> Running<O> {
    /// One connection. What was acknowledged before it failed is not sent again.
    async fn attempt(
        &mut self,
        follow: &mut Follow,
        stopped: &mut watch::Receiver<()>,
    ) -> Result<Stopped, Broken> {
        let context = self.context.clone();
        let mut done = match self.done.take() {
            Some(done) => done,
            None => blocking(move || Acknowledged::open(&context)).await?,
        };
        let ended = self.connection(&mut done, follow, stopped).await;
        let saved = done.save().await;
        self.done = Some(done);
        let ended = ended?;
        saved?;
        Ok(ended)
    }

    /// One connection, until it fails or the daemon stops.
    async fn connection(
        &mut self,
        done: &mut Acknowledged,
        follow: &mut Follow,
        stopped: &mut watch::Receiver<()>,
    ) -> Result<Stopped, Broken> {
        self.attempts.goes_on_after(done.reached);
        let opening = self.outlet.open();
        let mut open = tokio::select! {
            biased;
            _ = stopped.changed() => return Ok(Stopped),
            open = opening => open?,
        };
        let place = open.place(done.reached, follow.newest())?;
        done.reached = place.has;
        follow.go_to(place.reads_after);
        self.attempts.goes_on_after(done.reached);
        let steady = Instant::now() + Attempts::steady_after();
        loop {
            self.catch_up(&mut open, done, follow).await?;
            let lag = done.unsaved_since.map(|since| since + LAG);
            tokio::select! {
                biased;
                _ = stopped.changed() => break,
                () = follow.changed() => {}
                () = until(lag) => done.save().await?,
                () = sleep_until(steady), if self.attempts.is_failing() => {
                    self.attempts.delivered(done.reached);
                }
                broken = open.ended() => return Err(broken),
            }
        }
        let goodbye = async {
            self.catch_up(&mut open, done, follow).await?;
            open.close().await
        };
        if let Ok(said) = timeout(GOODBYE, goodbye).await {
            said?;
        } else {
            tracing::warn!(
                sink = self.attempts.name(),
                kind = O::KIND,
                "the sink did not take the last entries in time; they are sent after the next start"
            );
        }
        Ok(Stopped)
    }

    /// Delivers every durable entry.
    async fn catch_up(
        &mut self,
        open: &mut O::Connection,
        done: &mut Acknowledged,
        follow: &mut Follow,
    ) -> Result<(), Broken> {
        loop {
            let lines = follow.lines().await?;
            if lines.is_empty() {
                break;
            }
            let mut left = lines.as_slice();
            while !left.is_empty() {
                let count = open.deliver(left).await?;
                let (delivered, more) = left.split_at_checked(count).unwrap_or((left, &[]));
                left = more;
                let last = delivered.last().map(|line| line.seq);
                if let Some(last) = last.filter(|last| *last > done.reached) {
                    self.attempts.delivered(last);
                    done.reach(last).await?;
                }
            }
        }
        open.caught_up().await
    }
}

/// The last entry that was acknowledged.
struct Acknowledged {
    saved: SinkCursor,
    reached: Seq,
    /// Time since when the stored cursor is behind.
    unsaved_since: Option<Instant>,
}

impl Acknowledged {
    fn open(context: &OutletContext) -> Result<Self, SinkError> {
        let saved = SinkCursor::open(&context.state_dir, &context.name, &context.journal)?;
        Ok(Self {
            reached: saved.after(),
            saved,
            unsaved_since: None,
        })
    }

    async fn reach(&mut self, last: Seq) -> Result<(), SinkError> {
        self.reached = last;
        let since = *self.unsaved_since.get_or_insert_with(Instant::now);
        if since.elapsed() >= LAG {
            self.save().await
        } else {
            Ok(())
        }
    }

    async fn save(&mut self) -> Result<(), SinkError> {
        self.unsaved_since = None;
        if self.reached == self.saved.after() {
            return Ok(());
        }
        let (mut saved, reached) = (self.saved.clone(), self.reached);
        self.saved = blocking(move || saved.save(reached).map(|()| saved)).await?;
        Ok(())
    }
}
