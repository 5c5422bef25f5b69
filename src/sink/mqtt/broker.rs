//! A connection to a broker: connecting, publishing, waiting for acknowledgements, and noticing its end.
//!
//! After any failure the whole connection is discarded. Nothing is sent again from memory.

use super::super::one_line;
use super::retained::status;
use crate::config::MqttConfig;
use crate::durable::Failed;
use crate::journal::blocking;
use crate::web::{self, Unreachable};
use rumqttc::v5::mqttbytes::Error as PacketError;
use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::{
    ConnectReturnCode, DisconnectReasonCode, LastWill, Packet, PubAckReason, PublishProperties,
};
use rumqttc::v5::{AsyncClient, ConnectionError, Event, EventLoop, MqttOptions, StateError};
use rumqttc::{TlsConfiguration, Transport};
use std::sync::Arc;
use std::time::Duration;

/// Keep-alive interval of MQTT. A broker that sends nothing in this time counts as gone.
const KEEP_ALIVE: Duration = Duration::from_secs(15);
/// Maximum wait for an acknowledgement. After it the sink fails and is tried again.
const PATIENCE: Duration = Duration::from_secs(30);
/// The reason of MQTT 5 for a message that is too large; the library does not know it in an acknowledgement.
const PACKET_TOO_LARGE: u8 = 0x95;
/// Number of messages in a chunk of entries.
const QUEUE: usize = 512;

/// A message to publish.
#[derive(Debug, Clone)]
pub(super) struct Message {
    pub(super) topic: String,
    pub(super) payload: Vec<u8>,
    /// User properties: of an entry its identity, `JOURNAL/SEQ`, first.
    pub(super) properties: Vec<(String, String)>,
    pub(super) retain: bool,
}

/// Why a connection ended.
#[derive(Debug, thiserror::Error)]
pub(crate) enum BrokerError {
    /// A file that the configuration names cannot be read.
    #[error(transparent)]
    File(#[from] Failed),
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
    /// A file of the TLS connection cannot be used.
    #[error(transparent)]
    Files(#[from] Unreachable),
    /// The broker refused a message for its size without having said how much it accepts.
    #[error("{broker} refuses a message as too large; the largest on its way has {got} bytes")]
    Oversize {
        broker: String,
        /// Size of the largest message that was waiting, in bytes.
        got: usize,
    },
    /// The broker ended the connection and said why.
    #[error("{broker} ended the connection: {reason:?}")]
    Ended {
        broker: String,
        /// Its reason.
        reason: DisconnectReasonCode,
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

/// Remedy for a broker that has no more room.
const FULL: &str = "make room at the broker: its queue or its quota for this client is full; the entries wait in the journal";

impl BrokerError {
    #[expect(
        clippy::wildcard_enum_match_arm,
        reason = "the library's enum has dozens of reasons, few of which have a remedy of their own"
    )]
    pub(super) fn remedy(&self) -> &'static str {
        match self {
            Self::File(_) => "let the daemon's user read it, or correct the path",
            Self::Refused { .. } => "look at `user` and `password_file`, and at the broker's rules",
            Self::Files(error) => error.remedy(),
            Self::NotTaken { reason, .. } if *reason == PubAckReason::QuotaExceeded => FULL,
            Self::NotTaken { .. } => "permit this user at the broker to publish under `topic`",
            Self::TooLarge { .. } | Self::Oversize { .. } => {
                "raise the maximum packet size of the broker: the first entry of a segment holds the whole state"
            }
            Self::Ended { reason, .. } => match reason {
                DisconnectReasonCode::QuotaExceeded | DisconnectReasonCode::MessageRateTooHigh => {
                    FULL
                }
                DisconnectReasonCode::SessionTakenOver => {
                    "another program connects under the same client id; give this sink a `client_id` of its own"
                }
                DisconnectReasonCode::NotAuthorized => {
                    "permit this user at the broker to publish under `topic`"
                }
                _ => "look at the broker's log",
            },
            Self::Tls { cause, .. } if cause.contains("alert") => {
                "the broker does not accept our certificate: name one that it knows with `client_certificate` and `client_key`"
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
    /// Messages of the last call of [`Broker::publish`] that were acknowledged.
    pub(super) acknowledged: usize,
    /// Size of its largest message in bytes.
    largest: usize,
}

impl Broker {
    /// Connects for `journal`. A broker accepts only one daemon for a journal.
    pub(super) async fn connect(config: &MqttConfig, journal: &str) -> Result<Self, BrokerError> {
        let options = options(config, journal).await?;
        let (client, events) = AsyncClient::new(options, QUEUE);
        let name = format!("the broker {}:{}", config.host, config.port);
        let mut broker = Self {
            client,
            events,
            name,
            acknowledged: 0,
            largest: 0,
        };
        loop {
            if let Event::Incoming(Packet::ConnAck(_)) = broker.event().await? {
                return Ok(broker);
            }
        }
    }

    /// Publishes messages in order. Returns when all are acknowledged.
    pub(super) async fn publish(&mut self, messages: Vec<Message>) -> Result<(), BrokerError> {
        self.acknowledged = 0;
        let sizes = messages.iter().map(|message| message.payload.len());
        self.largest = sizes.max().unwrap_or_default();
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
                    self.acknowledged += 1;
                }
                Event::Incoming(_) | Event::Outgoing(_) => {}
            }
        }
        Ok(())
    }

    fn send(&self, message: Message) -> Result<(), BrokerError> {
        let properties = PublishProperties {
            user_properties: message.properties,
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
        let broker = self.name.clone();
        // By TLS 1.3 a server refuses our certificate only after the handshake, in the midst of MQTT.
        if cause.contains("fatal alert") {
            return BrokerError::Tls { broker, cause };
        }
        BrokerError::Connection { broker, cause }
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
            ConnectionError::MqttState(
                StateError::Deserialization(PacketError::InvalidConnectReturnCode(
                    PACKET_TOO_LARGE,
                ))
                | StateError::ServerDisconnect {
                    reason_code: DisconnectReasonCode::PacketTooLarge,
                    ..
                },
            ) => BrokerError::Oversize {
                broker,
                got: self.largest,
            },
            ConnectionError::MqttState(StateError::ServerDisconnect { reason_code, .. }) => {
                BrokerError::Ended {
                    broker,
                    reason: reason_code,
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

async fn options(config: &MqttConfig, journal: &str) -> Result<MqttOptions, BrokerError> {
    let id = config.client_id.clone();
    let id = id.unwrap_or_else(|| format!("tallyjaw-{journal}"));
    let mut options = MqttOptions::new(id, config.host.clone(), config.port);
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
            Some(path) => {
                let path = path.clone();
                blocking(move || one_line(&path)).await?
            }
            None => Vec::new(),
        };
        options.set_credentials(user, String::from_utf8_lossy(&password));
    }
    if config.tls {
        let client = web::client(&config.files).await?;
        let client = TlsConfiguration::Rustls(Arc::new(client));
        options.set_transport(Transport::tls_with_config(client));
    }
    Ok(options)
}
