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

pub(crate) use broker::BrokerError;

use super::attempts::{Attempts, Tell};
use super::cursor::SinkCursor;
use super::{REMEDY, SinkError, now, until};
use crate::config::MqttConfig;
use crate::entry::Seq;
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

/// The cursor may lag behind by this much: each move of it costs the disk two syncs.
const LAG: Duration = Duration::from_secs(1);
/// How long the last entries and the goodbye may take.
const GOODBYE: Duration = Duration::from_secs(1);

/// What a broker is given.
#[derive(Clone)]
pub(crate) struct BrokerFeed {
    /// The folder of the journal.
    pub state_dir: PathBuf,
    /// The journal's name.
    pub journal: String,
    /// The state as clients get it.
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

/// One outlet over its connections.
struct Outlet<'a> {
    config: &'a MqttConfig,
    source: &'a BrokerFeed,
    attempts: &'a mut Attempts,
}

impl Outlet<'_> {
    /// From connecting until it fails or the daemon stops.
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

    /// Publishes every entry that is durable, then what has changed of the state.
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
            let message = move |line: &Line| message(line, &topic, &journal);
            let messages = blocking(move || lines.iter().map(message).collect::<Result<_, _>>());
            broker.publish(messages.await?).await?;
            self.attempts.delivered(follow.after());
            done = done.reached(follow.after()).await?;
        }
        let changed = retained.changed(&(self.source.state)());
        broker.publish(changed).await?;
        Ok(done)
    }
}

/// An entry as it is published.
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

/// How far the broker has acknowledged.
struct Acknowledged {
    saved: SinkCursor,
    reached: Seq,
    /// Since when the saved cursor lags behind.
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
