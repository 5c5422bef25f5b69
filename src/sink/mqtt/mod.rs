//! Publishes to an MQTT 5 broker: every durable entry, and the state of stations and instruments as retained messages.
//!
//! In: durable lines in order. Out: `TOPIC/entries/JOURNAL/STATION/KIND` with the line as stored, at quality of service
//! 1; and retained messages (`retained.rs`).
//!
//! - The cursor moves after the broker has acknowledged an entry. After any failure the connection is discarded, and
//!   the next one begins after the cursor. So an entry may come twice, none is missing, and repeats come in order.
//! - Journal and seq identify a repeat. The journal is in the topic, the seq in the line, and both are in the user
//!   property `identity`.

mod broker;
mod retained;

pub(crate) use broker::BrokerError;

use super::attempts::{Attempts, Tell};
use super::cursor::SinkCursor;
use super::{REMEDY, SinkError, now, until};
use crate::config::MqttConfig;
use crate::entry::{Anchor, JournalId, Seq};
use crate::journal::{Follow, Line, blocking};
use crate::message::state::StateMessage;
use broker::{Broker, Message};
use retained::Retained;
use std::fmt;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::{Instant, sleep, sleep_until, timeout};

/// How far the stored cursor may be behind. Each move costs the disk two syncs.
const LAG: Duration = Duration::from_secs(1);
/// Time limit for the last entries and the disconnect.
const GOODBYE: Duration = Duration::from_secs(1);

/// The data that is published.
#[derive(Clone)]
pub(crate) struct BrokerFeed {
    /// Folder that contains the journal.
    pub state_dir: PathBuf,
    /// Identity of the journal.
    pub journal: String,
    /// Returns the state message for clients.
    pub state: Arc<dyn Fn() -> StateMessage + Send + Sync>,
}

impl fmt::Debug for BrokerFeed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("BrokerFeed")
            .field("state_dir", &self.state_dir)
            .field("journal", &self.journal)
            .finish_non_exhaustive()
    }
}

/// Why a connection was discarded.
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

/// The connection ended without a failure.
struct Stopped;

/// Publishes durable entries until the sender of `stopped` is dropped. Entries that are durable by then are published
/// too, if the broker accepts them within a second.
pub(crate) async fn run(
    name: String,
    config: MqttConfig,
    source: BrokerFeed,
    mut follow: Follow,
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
        let Err(error) = outlet.connection(&mut follow, &mut stopped).await else {
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

/// A broker over several connections.
struct Outlet<'a> {
    config: &'a MqttConfig,
    source: &'a BrokerFeed,
    attempts: &'a mut Attempts,
}

impl Outlet<'_> {
    /// One connection, until it fails or the daemon stops.
    async fn connection(
        &mut self,
        follow: &mut Follow,
        stopped: &mut watch::Receiver<()>,
    ) -> Result<Stopped, Failed> {
        let (name, source) = (self.attempts.name().to_owned(), self.source.clone());
        let mut done = blocking(move || Acknowledged::open(&name, &source)).await?;
        follow.go_to(done.reached);
        self.attempts.goes_on_after(done.reached);
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
            done = self
                .catch_up(&mut broker, done, &mut retained, follow)
                .await?;
            let lag = done.unsaved_since.map(|since| since + LAG);
            tokio::select! {
                biased;
                _ = stopped.changed() => break,
                () = follow.changed() => {}
                () = until(lag) => done = done.save().await?,
                () = sleep_until(steady), if self.attempts.is_failing() => {
                    self.attempts.delivered(done.reached);
                }
                failed = broker.idle() => return Err(failed.into()),
            }
        }
        let goodbye = async {
            let done = self
                .catch_up(&mut broker, done, &mut retained, follow)
                .await?;
            broker.publish(vec![retained.offline()]).await?;
            broker.disconnect().await;
            done.save().await?;
            Ok::<(), Failed>(())
        };
        if let Ok(said) = timeout(GOODBYE, goodbye).await {
            said?;
        } else {
            tracing::warn!(
                sink = self.attempts.name(),
                "the broker did not take the last entries in time; they are sent after the next start"
            );
        }
        Ok(Stopped)
    }

    /// Publishes every durable entry, then the changes of the state.
    async fn catch_up(
        &mut self,
        broker: &mut Broker,
        mut done: Acknowledged,
        retained: &mut Retained,
        follow: &mut Follow,
    ) -> Result<Acknowledged, Failed> {
        loop {
            let lines = follow.lines().await.map_err(SinkError::from)?;
            if lines.is_empty() {
                break;
            }
            let (topic, journal) = (self.config.topic.clone(), self.source.journal.clone());
            let anchor = lines
                .last()
                .map(|line| Anchor::of_line(&JournalId(journal.clone()), line.seq, &line.bytes));
            let message = move |line: &Line| message(line, &topic, &journal);
            let messages = blocking(move || lines.iter().map(message).collect::<Result<_, _>>());
            broker.publish(messages.await?).await?;
            // Only of what the broker has acknowledged.
            let anchor = anchor.map(|anchor| retained.anchored(&anchor));
            broker.publish(anchor.into_iter().collect()).await?;
            self.attempts.delivered(follow.after());
            done = done.reached(follow.after()).await?;
        }
        let changed = retained.changed(&(self.source.state)());
        broker.publish(changed).await?;
        Ok(done)
    }
}

/// The message for an entry.
fn message(line: &Line, topic: &str, journal: &str) -> Result<Message, SinkError> {
    let entry = line.entry()?.entry;
    let (station, kind) = (entry.station().unwrap_or("-"), entry.kind());
    Ok(Message {
        topic: format!("{topic}/entries/{journal}/{station}/{kind}"),
        identity: Some(format!("{journal}/{}", line.seq)),
        payload: line.bytes.to_vec(),
        retain: false,
    })
}

/// The last entry that the broker acknowledged.
struct Acknowledged {
    saved: SinkCursor,
    reached: Seq,
    /// Time since when the stored cursor is behind.
    unsaved_since: Option<Instant>,
}

impl Acknowledged {
    fn open(name: &str, source: &BrokerFeed) -> Result<Self, SinkError> {
        let saved = SinkCursor::open(&source.state_dir, name, &source.journal)?;
        Ok(Self {
            reached: saved.after(),
            saved,
            unsaved_since: None,
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
