//! The server of the library, with our endpoints and limits.

use super::certificates::Certificates;
use super::login::Login;
use super::{OpcuaError, nodes};
use crate::config::OpcuaConfig;
use opcua::crypto::SecurityPolicy;
use opcua::server::diagnostics::NamespaceMetadata;
use opcua::server::node_manager::memory::{SimpleNodeManager, simple_node_manager};
use opcua::server::{ANONYMOUS_USER_TOKEN_ID, Limits, ServerBuilder, ServerEndpoint, ServerHandle};
use opcua::types::{BuildInfo, DateTime, MessageSecurityMode};
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::task::JoinHandle;

const VERSION: &str = env!("CARGO_PKG_VERSION");

/// The namespace of our nodes. Its number is that of the model's version.
pub(super) const NAMESPACE: &str = "urn:tallyjaw:opcua:1";

/// A client that says nothing is cut off after this number of seconds.
const HELLO_WITHIN_S: u32 = 5;

/// A session whose client is silent ends after this number of milliseconds; until then it can go on over a new
/// connection, with all that it has missed.
const SESSION_LASTS_MS: u64 = 600_000;

/// Time for all connections to end.
const STOPS_WITHIN: Duration = Duration::from_secs(10);

/// Interval at which subscriptions are served, and the shortest publishing interval.
const POLL_MS: u64 = 20;

/// Maximum number of sessions.
const SESSIONS: usize = 50;

/// Maximum number of values that wait for a client, for each variable or event source that it watches.
const QUEUE: usize = 10_000;

/// Endpoints with encryption: of the policies of OPC 10000-7 those that the library has and that are not deprecated (from
/// memory).
const ENCRYPTED: [(&str, SecurityPolicy); 3] = [
    ("basic256sha256", SecurityPolicy::Basic256Sha256),
    ("aes128", SecurityPolicy::Aes128Sha256RsaOaep),
    ("aes256", SecurityPolicy::Aes256Sha256RsaPss),
];

/// What a server serves.
pub(super) struct Served {
    pub(super) handle: ServerHandle,
    pub(super) manager: Arc<SimpleNodeManager>,
    pub(super) namespace: u16,
}

/// A server that runs.
pub(super) struct Running {
    pub(super) nodes: Served,
    pub(super) task: Task,
}

impl Running {
    /// Ends it, with every connection.
    pub(super) async fn stop(mut self) -> Result<(), OpcuaError> {
        self.nodes.handle.cancel();
        let ended = tokio::time::timeout(STOPS_WITHIN, self.task.ended()).await;
        // Whoever was to be cut off may be connected still: only the end of the process is sure then.
        let lasts = |_| OpcuaError::Server("its connections do not end".to_owned());
        ended.map(drop).map_err(lasts)
    }
}

/// The work of a server.
pub(super) struct Task(JoinHandle<Result<(), String>>);

impl Task {
    /// Ends when the server has ended by itself, with the reason.
    pub(super) async fn ended(&mut self) -> OpcuaError {
        OpcuaError::Server(match (&mut self.0).await {
            Ok(Ok(())) => "it gives no reason".to_owned(),
            Ok(Err(why)) => why,
            Err(error) => error.to_string(),
        })
    }
}

/// Starts a server on `listener`.
pub(super) fn start(
    listener: TcpListener,
    certificates: &Certificates,
    opcua: &OpcuaConfig,
    login: Arc<Login>,
) -> Result<Running, OpcuaError> {
    let port = listener
        .local_addr()
        .map_or(opcua.listen.port(), |address| address.port());
    let namespace = NamespaceMetadata {
        namespace_uri: NAMESPACE.to_owned(),
        is_namespace_subset: Some(false),
        ..NamespaceMetadata::default()
    };
    let mut builder = ServerBuilder::new()
        .application_name("tallyjaw")
        .application_uri(&certificates.application)
        .product_uri("urn:tallyjaw")
        .build_info(BuildInfo {
            product_uri: "urn:tallyjaw".into(),
            manufacturer_name: "tallyjaw".into(),
            product_name: "tallyjaw".into(),
            software_version: VERSION.into(),
            build_number: VERSION.into(),
            build_date: DateTime::null(),
        })
        .host(&certificates.host)
        .port(port)
        .hello_timeout(HELLO_WITHIN_S)
        .pki_dir(&certificates.folder)
        .certificate_path(Certificates::OWN)
        .private_key_path(Certificates::KEY)
        .create_sample_keypair(false)
        .trust_client_certs(false)
        .check_cert_time(true)
        .max_session_timeout_ms(SESSION_LASTS_MS)
        .subscription_poll_interval_ms(POLL_MS)
        .discovery_urls(vec![certificates.url(port)])
        .with_authenticator(login)
        .with_node_manager(simple_node_manager(namespace, "tallyjaw"));
    limit(builder.limits_mut());
    for (name, endpoint) in endpoints(opcua.listen.ip().is_loopback()) {
        builder = builder.add_endpoint(name, endpoint);
    }
    let (server, handle) = builder.build().map_err(OpcuaError::Server)?;
    let missing = || OpcuaError::Server("it has no nodes of ours".to_owned());
    let manager = handle.node_managers().get_of_type::<SimpleNodeManager>();
    let manager = manager.ok_or_else(missing)?;
    let namespace = handle.get_namespace_index(NAMESPACE).ok_or_else(missing)?;
    nodes::make_types(&mut manager.address_space().write(), namespace);
    Ok(Running {
        task: Task(tokio::spawn(server.run_with(listener))),
        nodes: Served {
            handle,
            manager,
            namespace,
        },
    })
}

/// The endpoints. Without encryption there is one only where nobody else can listen in.
fn endpoints(loopback: bool) -> Vec<(String, ServerEndpoint)> {
    let anonymous = [ANONYMOUS_USER_TOKEN_ID.to_owned()];
    let anonymous: &[String] = if loopback { &anonymous } else { &[] };
    let encrypted = ENCRYPTED.iter().map(|(name, policy)| {
        let mode = MessageSecurityMode::SignAndEncrypt;
        let endpoint = ServerEndpoint::new("/", *policy, mode, anonymous);
        ((*name).to_owned(), endpoint)
    });
    let open = loopback.then(|| ("open".to_owned(), ServerEndpoint::new_none("/", anonymous)));
    encrypted.chain(open).collect()
}

fn limit(limits: &mut Limits) {
    limits.max_sessions = SESSIONS;
    let subscriptions = &mut limits.subscriptions;
    subscriptions.max_monitored_item_queue_size = QUEUE;
    subscriptions.min_publishing_interval_ms = 20.0;
    // A client that wants every value gets every value: they are sent as they come.
    subscriptions.min_sampling_interval_ms = 0.0;
    // A message that a client has not acknowledged can be requested again.
    subscriptions.max_queued_notifications = 1_000;
    subscriptions.max_notifications_per_publish = 1_000;
    subscriptions.max_monitored_items_per_sub = 1_000;
}
