//! An MQTT 5 broker: every entry once it is durable, and the state of stations and instruments, retained.
//!
//! In: durable lines, in order. Out: `TOPIC/entries/JOURNAL/STATION/KIND` with the line as stored, quality of
//! service 1, and beside it what is retained (`retained.rs`).
//!
//! - An entry is done with when the broker has acknowledged it; the cursor moves after that. Whatever fails, the
//!   connection is given up and the next one begins behind the cursor: an entry may come twice, none is missing, and
//!   what comes again comes in order.
//! - Journal and seq tell a double: the one stands in the topic, the other in the line, and both in the user property
//!   `identity`.

mod broker;
mod retained;

pub use broker::BrokerError;

use super::attempts::{Attempts, Tell};
use super::cursor::SinkCursor;
use super::{REMEDY, SinkError, now};
use crate::config::MqttConfig;
use crate::entry::{Seq, line, words};
use crate::journal::Cursor;
use crate::message::state::StateMessage;
use broker::{Broker, Message};
use retained::Retained;
use std::fmt;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::{Instant, sleep, sleep_until, timeout};

/// How many entries are on their way at a time.
const PIECE: usize = 64;
/// The cursor may lag behind by this much: each move of it costs the disk two syncs.
const LAG: Duration = Duration::from_secs(1);
/// How long the last entries and the goodbye may take.
const GOODBYE: Duration = Duration::from_secs(1);

/// What a broker is given.
#[derive(Clone)]
pub struct Source {
    /// The folder of the journal.
    pub state_dir: PathBuf,
    /// The journal's name.
    pub journal: String,
    /// The state as clients are told it.
    pub state: Arc<dyn Fn() -> StateMessage + Send + Sync>,
}

impl fmt::Debug for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Source")
            .field("state_dir", &self.state_dir)
            .field("journal", &self.journal)
            .finish_non_exhaustive()
    }
}

/// Why a connection was given up.
#[derive(Debug, thiserror::Error)]
enum Failed {
    #[error(transparent)]
    Sink(#[from] SinkError),
    #[error(transparent)]
    Broker(#[from] BrokerError),
}

impl Failed {
    fn remedy(&self) -> &'static str {
        match self {
            Self::Sink(_) => REMEDY,
            Self::Broker(error) => error.remedy(),
        }
    }
}

/// How a connection ended that did not fail.
struct Stopped;

/// Publishes what is durable, until the sender of `stopped` is dropped; what is durable by then is still
/// published, if the broker takes it within a second.
pub async fn run(
    name: String,
    config: MqttConfig,
    source: Source,
    mut durable: watch::Receiver<Seq>,
    mut stopped: watch::Receiver<()>,
    tell: Tell,
) {
    let mut attempts = Attempts::new(&name, "mqtt", tell);
    loop {
        let mut outlet = Outlet {
            config: &config,
            source: &source,
            attempts: &mut attempts,
        };
        let Err(error) = outlet.connection(&mut durable, &mut stopped).await else {
            return;
        };
        let pause = attempts.failed(now(), &error, error.remedy());
        tokio::select! {
            biased;
            _ = stopped.changed() => return,
            () = sleep(pause) => {}
        }
    }
}

/// One outlet over its connections.
struct Outlet<'a> {
    config: &'a MqttConfig,
    source: &'a Source,
    attempts: &'a mut Attempts,
}

impl Outlet<'_> {
    /// From connecting until it fails or the daemon stops.
    async fn connection(
        &mut self,
        durable: &mut watch::Receiver<Seq>,
        stopped: &mut watch::Receiver<()>,
    ) -> Result<Stopped, Failed> {
        let (name, source) = (self.attempts.name().to_owned(), self.source.clone());
        let mut place = blocking(move || Place::open(&name, &source)).await?;
        self.attempts.goes_on_after(place.reached);
        let opening = Broker::connect(self.config, &self.source.journal);
        let mut broker = tokio::select! {
            biased;
            _ = stopped.changed() => return Ok(Stopped),
            broker = opening => broker?,
        };
        let mut retained = Retained::new(&self.config.topic, &self.source.journal);
        broker.publish(vec![retained.online()]).await?;
        let steady = Instant::now() + Attempts::steady_after();
        loop {
            let until = *durable.borrow_and_update();
            place = self
                .catch_up(&mut broker, place, &mut retained, until)
                .await?;
            let lag = place.unsaved_since.map(|since| since + LAG);
            tokio::select! {
                biased;
                _ = stopped.changed() => break,
                changed = durable.changed() => if changed.is_err() { break },
                () = due(lag) => place = place.save().await?,
                () = sleep_until(steady), if self.attempts.is_failing() => {
                    self.attempts.delivered(place.reached);
                }
                failed = broker.idle() => return Err(failed.into()),
            }
        }
        let last = *durable.borrow();
        let goodbye = async {
            let place = self
                .catch_up(&mut broker, place, &mut retained, last)
                .await?;
            broker.publish(vec![retained.offline()]).await?;
            broker.disconnect().await;
            place.save().await?;
            Ok::<(), Failed>(())
        };
        if let Ok(said) = timeout(GOODBYE, goodbye).await {
            said?;
        } else {
            tracing::warn!(
                sink = self.attempts.name(),
                "the broker was too slow for the last entries; they come with the next start"
            );
        }
        Ok(Stopped)
    }

    /// Publishes every entry up to `until`, then what has changed of the state.
    async fn catch_up(
        &mut self,
        broker: &mut Broker,
        mut place: Place,
        retained: &mut Retained,
        until: Seq,
    ) -> Result<Place, Failed> {
        loop {
            let (topic, journal) = (self.config.topic.clone(), self.source.journal.clone());
            let piece = blocking(move || place.piece(until, &topic, &journal)).await?;
            place = piece.place;
            if piece.messages.is_empty() {
                break;
            }
            broker.publish(piece.messages).await?;
            self.attempts.delivered(piece.last);
            place = place.reached(piece.last).await?;
        }
        let changed = retained.changed(&(self.source.state)());
        broker.publish(changed).await?;
        Ok(place)
    }
}

/// Entries on their way.
struct Piece {
    place: Place,
    messages: Vec<Message>,
    last: Seq,
}

/// What may wait for the disk, on another thread than that of ports and clients.
async fn blocking<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> T {
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done,
        Err(_) => std::future::pending().await, // the runtime is going down
    }
}

/// Where an outlet is in the journal.
struct Place {
    saved: SinkCursor,
    cursor: Cursor,
    reached: Seq,
    /// Since when the saved cursor lags behind.
    unsaved_since: Option<Instant>,
}

impl Place {
    fn open(name: &str, source: &Source) -> Result<Self, SinkError> {
        let saved = SinkCursor::open(&source.state_dir, name, &source.journal)?;
        let reached = saved.after();
        Ok(Self {
            cursor: Cursor::new(&source.state_dir, reached)?,
            saved,
            reached,
            unsaved_since: None,
        })
    }

    /// The next entries as messages, and the last of them.
    fn piece(mut self, until: Seq, topic: &str, journal: &str) -> Result<Piece, SinkError> {
        let mut messages = Vec::new();
        let mut last = self.reached;
        while messages.len() < PIECE
            && let Some(read) = self.cursor.next_line(until)?
        {
            let (stamped, _) = line::decode(&read.bytes)
                .map_err(|cause| SinkError::Line { after: last, cause })?;
            let station = words::station(&stamped.entry).unwrap_or("-");
            let kind = stamped.entry.kind();
            last = read.seq;
            messages.push(Message {
                topic: format!("{topic}/entries/{journal}/{station}/{kind}"),
                identity: Some(format!("{journal}/{last}")),
                payload: read.bytes,
                retain: false,
            });
        }
        Ok(Piece {
            place: self,
            messages,
            last,
        })
    }

    async fn reached(mut self, last: Seq) -> Result<Self, SinkError> {
        self.reached = last;
        let since = *self.unsaved_since.get_or_insert_with(Instant::now);
        if since.elapsed() >= LAG {
            self.save().await
        } else {
            Ok(self)
        }
    }

    async fn save(mut self) -> Result<Self, SinkError> {
        self.unsaved_since = None;
        if self.reached == self.saved.after() {
            return Ok(self);
        }
        blocking(move || {
            self.saved.save(self.reached)?;
            Ok(self)
        })
        .await
    }
}

async fn due(at: Option<Instant>) {
    match at {
        Some(at) => sleep_until(at).await,
        None => std::future::pending().await,
    }
}
