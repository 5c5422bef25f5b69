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

use super::SinkError;
use super::outlet::{Broken, Delivery, Outlet};
use crate::config::MqttConfig;
use crate::entry::{Anchor, JournalId};
use crate::journal::{Line, blocking};
use crate::message::state::StateMessage;
use broker::{Broker, BrokerError, Message};
use retained::Retained;
use std::fmt;
use std::sync::Arc;

/// A broker, and what is published to it.
#[derive(Clone)]
pub(crate) struct BrokerOutlet {
    /// Its settings.
    pub(crate) config: MqttConfig,
    /// Identity of the journal.
    pub(crate) journal: String,
    /// Returns the state message for clients.
    pub(crate) state: Arc<dyn Fn() -> StateMessage + Send + Sync>,
}

impl fmt::Debug for BrokerOutlet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("BrokerOutlet")
            .field("config", &self.config)
            .field("journal", &self.journal)
            .finish_non_exhaustive()
    }
}

impl From<BrokerError> for Broken {
    fn from(error: BrokerError) -> Self {
        let remedy = error.remedy();
        Self::new(error, remedy)
    }
}

impl Outlet for BrokerOutlet {
    const KIND: &'static str = "mqtt";
    type Connection = Publisher;

    async fn open(&self) -> Result<Publisher, Broken> {
        let mut broker = Broker::connect(&self.config, &self.journal).await?;
        let retained = Retained::new(&self.config.topic, &self.journal);
        broker.publish(vec![retained.online()]).await?;
        Ok(Publisher {
            broker,
            retained,
            outlet: self.clone(),
            failed: None,
            anchor: None,
        })
    }
}

/// A connection to the broker.
pub(crate) struct Publisher {
    broker: Broker,
    retained: Retained,
    outlet: BrokerOutlet,
    /// Why the broker did not take the next entry.
    failed: Option<BrokerError>,
    /// That of the last acknowledged entry, until it is published.
    anchor: Option<Anchor>,
}

impl Delivery for Publisher {
    /// A broker may take some messages and refuse a later one. Those that it took are not sent again.
    async fn deliver(&mut self, lines: &[Line]) -> Result<usize, Broken> {
        if let Some(failed) = self.failed.take() {
            return Err(failed.into());
        }
        let (topic, journal) = (
            self.outlet.config.topic.clone(),
            self.outlet.journal.clone(),
        );
        let properties = self.outlet.config.properties.clone();
        let part: Vec<_> = lines.iter().take(AT_ONCE).cloned().collect();
        let count = part.len();
        let messages = blocking(move || {
            let message = |line| message(line, &topic, &journal, &properties);
            part.iter().map(message).collect::<Result<_, _>>()
        });
        let published = self.broker.publish(messages.await?).await;
        let taken = match published {
            Ok(()) => count,
            Err(failed) if self.broker.acknowledged > 0 => {
                self.failed = Some(failed);
                self.broker.acknowledged
            }
            Err(failed) => return Err(failed.into()),
        };
        // Only of what the broker has acknowledged.
        if let Some(last) = lines.get(..taken).and_then(<[Line]>::last) {
            let journal = JournalId(self.outlet.journal.clone());
            self.anchor = Some(Anchor::of_line(&journal, last.seq, &last.bytes));
        }
        Ok(taken)
    }

    async fn caught_up(&mut self) -> Result<(), Broken> {
        let anchor = self.anchor.take();
        let anchor = anchor.map(|anchor| self.retained.anchored(&anchor));
        let changed = self.retained.changed(&(self.outlet.state)());
        let messages = anchor.into_iter().chain(changed).collect();
        Ok(self.broker.publish(messages).await?)
    }

    async fn ended(&mut self) -> Broken {
        self.broker.idle().await.into()
    }

    async fn close(&mut self) -> Result<(), Broken> {
        self.broker.publish(vec![self.retained.offline()]).await?;
        self.broker.disconnect().await;
        Ok(())
    }
}

/// Maximum number of entries that wait for their acknowledgements together.
const AT_ONCE: usize = 64;

/// The message for an entry.
fn message(
    line: &Line,
    topic: &str,
    journal: &str,
    properties: &[(String, String)],
) -> Result<Message, SinkError> {
    let entry = line.entry()?.entry;
    let (station, kind) = (entry.station().unwrap_or("-"), entry.kind());
    let identity = ("identity".to_owned(), format!("{journal}/{}", line.seq));
    Ok(Message {
        topic: format!("{topic}/entries/{journal}/{station}/{kind}"),
        properties: [identity].into_iter().chain(properties.to_vec()).collect(),
        payload: line.bytes.to_vec(),
        retain: false,
    })
}
