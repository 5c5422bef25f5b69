//! A connection to a broker: connecting, publishing, waiting for acknowledgements, and noticing its end.
//!
//! After any failure the whole connection is discarded. Nothing is sent again from memory.

use super::retained::status;
use crate::config::MqttConfig;
use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::{
    ConnectReturnCode, LastWill, Packet, PubAckReason, PublishProperties,
};
use rumqttc::v5::{AsyncClient, ConnectionError, Event, EventLoop, MqttOptions, StateError};
use rumqttc::{TlsConfiguration, Transport};
use std::io;
use std::path::PathBuf;
use std::time::Duration;

/// Keep-alive interval of MQTT. A broker that sends nothing in this time counts as gone.
const KEEP_ALIVE: Duration = Duration::from_secs(15);
/// Maximum wait for an acknowledgement. After it the sink fails and is tried again.
const PATIENCE: Duration = Duration::from_secs(30);
/// Number of messages in a chunk of entries.
const QUEUE: usize = 512;

/// A message to publish.
#[derive(Debug, Clone)]
pub(super) struct Message {
    pub(super) topic: String,
    pub(super) payload: Vec<u8>,
    /// `JOURNAL/SEQ` of an entry; `None` for other messages.
    pub(super) identity: Option<String>,
    pub(super) retain: bool,
}

/// Why a connection ended.
#[derive(Debug, thiserror::Error)]
pub(crate) enum BrokerError {
    /// A file that the configuration names cannot be read.
    #[error("cannot read {}: {cause}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// Error of the system.
        cause: io::Error,
    },
    /// The broker refused the connection.
    #[error("{broker} refused the connection: {code:?}")]
    Refused {
        broker: String,
        /// Its reason.
        code: ConnectReturnCode,
    },
    /// The broker refused a message.
    #[error("{broker} refuses to take {topic}: {reason:?}")]
    NotTaken {
        broker: String,
        /// Topic of the message.
        topic: String,
        /// Its reason.
        reason: PubAckReason,
    },
    /// A message is larger than the broker accepts.
    #[error("{broker} takes at most {most} bytes a message, got {got}")]
    TooLarge {
        broker: String,
        /// Size of the message in bytes.
        got: u32,
        /// Maximum that the broker accepts, in bytes.
        most: u32,
    },
    /// TLS could not be set up.
    #[error("no TLS connection to {broker}: {cause}")]
    Tls {
        broker: String,
        /// The cause.
        cause: String,
    },
    /// The broker is unreachable or gone, or does not speak MQTT.
    #[error("no connection to {broker}: {cause}")]
    Connection {
        broker: String,
        /// The cause.
        cause: String,
    },
    /// The broker is connected but does not answer.
    #[error("{broker} acknowledged nothing for {} s", PATIENCE.as_secs())]
    Silent { broker: String },
}

impl BrokerError {
    pub(super) fn remedy(&self) -> &'static str {
        match self {
            Self::File { .. } => "let the daemon's user read it, or correct the path",
            Self::Refused { .. } => "look at `user` and `password_file`, and at the broker's rules",
            Self::NotTaken { .. } => "permit this user at the broker to publish under `topic`",
            Self::TooLarge { .. } => {
                "raise the maximum packet size of the broker: the first entry of a segment holds the whole state"
            }
            Self::Tls { .. } => {
                "look at `ca_file`, at the name in `broker`, and whether that port speaks TLS"
            }
            Self::Connection { .. } => {
                "check that the broker runs, that `broker` names it, and that its rules let this user publish under `topic`; the last will is `topic`/status"
            }
            Self::Silent { .. } => "look at the broker's log",
        }
    }
}

/// An accepted connection.
pub(super) struct Broker {
    client: AsyncClient,
    events: EventLoop,
    name: String,
}

impl Broker {
    /// Connects for `journal`. A broker accepts only one daemon for a journal.
    pub(super) async fn connect(config: &MqttConfig, journal: &str) -> Result<Self, BrokerError> {
        let options = options(config, journal)?;
        let (client, events) = AsyncClient::new(options, QUEUE);
        let name = format!("the broker {}:{}", config.host, config.port);
        let mut broker = Self {
            client,
            events,
            name,
        };
        loop {
            if let Event::Incoming(Packet::ConnAck(_)) = broker.event().await? {
                return Ok(broker);
            }
        }
    }

    /// Publishes messages in order. Returns when all are acknowledged.
    pub(super) async fn publish(&mut self, messages: Vec<Message>) -> Result<(), BrokerError> {
        let mut topics = std::collections::VecDeque::new();
        let mut waiting = messages.into_iter().peekable();
        while waiting.peek().is_some() || !topics.is_empty() {
            while topics.len() < QUEUE / 2
                && let Some(message) = waiting.next()
            {
                topics.push_back(message.topic.clone());
                self.send(message)?;
            }
            match self.event().await? {
                Event::Incoming(Packet::PubAck(ack)) => {
                    let topic = topics.pop_front().unwrap_or_default();
                    let taken = [PubAckReason::Success, PubAckReason::NoMatchingSubscribers];
                    if !taken.contains(&ack.reason) {
                        return Err(self.not_taken(topic, ack.reason));
                    }
                }
                Event::Incoming(_) | Event::Outgoing(_) => {}
            }
        }
        Ok(())
    }

    fn send(&self, message: Message) -> Result<(), BrokerError> {
        let properties = PublishProperties {
            user_properties: message
                .identity
                .map(|identity| ("identity".to_owned(), identity))
                .into_iter()
                .collect(),
            content_type: Some("application/json".to_owned()),
            ..PublishProperties::default()
        };
        let sent = self.client.try_publish_with_properties(
            message.topic,
            QoS::AtLeastOnce,
            message.retain,
            message.payload,
            properties,
        );
        sent.map_err(|error| self.lost(error.to_string()))
    }

    /// Keeps the connection alive while there is nothing to publish. Returns how it ended.
    pub(super) async fn idle(&mut self) -> BrokerError {
        loop {
            match self.events.poll().await {
                Ok(_) => {}
                Err(error) => return self.failed(error),
            }
        }
    }

    /// Disconnects, so that the last will is not published.
    pub(super) async fn disconnect(&mut self) {
        if self.client.try_disconnect().is_ok() {
            while self.events.poll().await.is_ok() {}
        }
    }

    async fn event(&mut self) -> Result<Event, BrokerError> {
        match tokio::time::timeout(PATIENCE, self.events.poll()).await {
            Ok(Ok(event)) => Ok(event),
            Ok(Err(error)) => Err(self.failed(error)),
            Err(_) => Err(BrokerError::Silent {
                broker: self.name.clone(),
            }),
        }
    }

    fn not_taken(&self, topic: String, reason: PubAckReason) -> BrokerError {
        BrokerError::NotTaken {
            broker: self.name.clone(),
            topic,
            reason,
        }
    }

    fn lost(&self, cause: String) -> BrokerError {
        BrokerError::Connection {
            broker: self.name.clone(),
            cause,
        }
    }

    fn failed(&self, error: ConnectionError) -> BrokerError {
        let broker = self.name.clone();
        match error {
            ConnectionError::ConnectionRefused(code)
            | ConnectionError::MqttState(StateError::ConnFail { reason: code }) => {
                BrokerError::Refused { broker, code }
            }
            ConnectionError::MqttState(StateError::OutgoingPacketTooLarge { pkt_size, max }) => {
                BrokerError::TooLarge {
                    broker,
                    got: pkt_size,
                    most: max,
                }
            }
            ConnectionError::Tls(error) => BrokerError::Tls {
                broker,
                cause: error.to_string(),
            },
            ConnectionError::Io(error) => self.lost(error.to_string()),
            error @ (ConnectionError::MqttState(_)
            | ConnectionError::Timeout(_)
            | ConnectionError::NotConnAck(_)
            | ConnectionError::RequestsDone) => self.lost(error.to_string()),
        }
    }
}

fn options(config: &MqttConfig, journal: &str) -> Result<MqttOptions, BrokerError> {
    let mut options = MqttOptions::new(
        format!("tallyjaw-{journal}"),
        config.host.clone(),
        config.port,
    );
    let will = status(&config.topic, journal, false);
    options
        .set_keep_alive(KEEP_ALIVE)
        .set_clean_start(true)
        .set_last_will(LastWill::new(
            will.topic,
            will.payload,
            QoS::AtLeastOnce,
            will.retain,
            None,
        ));
    if let Some(user) = &config.user {
        let password = match &config.password_file {
            Some(path) => read(path)?,
            None => Vec::new(),
        };
        let password = String::from_utf8_lossy(&password);
        options.set_credentials(user, password.trim_end_matches(['\r', '\n']));
    }
    if config.tls {
        // Fails only if a provider was installed before.
        let _ = rustls::crypto::ring::default_provider().install_default();
        options.set_transport(match &config.ca_file {
            Some(path) => Transport::Tls(TlsConfiguration::Simple {
                ca: read(path)?,
                alpn: None,
                client_auth: None,
            }),
            None => Transport::tls_with_default_config(),
        });
    }
    Ok(options)
}

fn read(path: &std::path::Path) -> Result<Vec<u8>, BrokerError> {
    std::fs::read(path).map_err(|cause| BrokerError::File {
        path: path.to_owned(),
        cause,
    })
}
