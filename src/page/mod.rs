//! The bench page over HTTP: its files, events, the state, metrics, and commands.
//!
//! In: requests of browsers and programs, and what the daemon publishes through `Live`. Out: answers, and commands for
//! the daemon, in the same way as from the control socket.
//!
//! - Everything is bounded: connections, clients of the event stream, heads, bodies, and their times. A slow client
//!   continues from the journal and delays nobody.
//! - A page of another origin is refused, whatever name the browser knows for this machine.
//! - Commands need the page's token, or a program's with the scope `command`.

mod accept;
mod assets;
mod board;
mod connection;
mod events;
mod guard;
mod meter;
mod metrics;
mod pairing;
mod picture;
mod programs;
mod report;
mod routes;
mod series;
mod setup;
pub mod tablet;
mod token;
mod tokens;

pub use crate::durable::secret::SecretError;
pub use meter::Meter;
pub use programs::{MOST_TOKENS, Programs};
pub use token::{TOKEN_FILE, Token, TokenError};

use crate::clients::{ControlRequest, Intake, Live};
use crate::config::PageConfig;
use crate::quantity::{WallMicros, Zone};
use connection::{Peer, Way};
use guard::Hosts;
use std::io;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tablet::{Door, Gate, TabletError};
use tokens::Held;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, mpsc, watch};
use tokio::task::JoinSet;

/// Maximum number of connections; a browser opens up to six.
pub const MOST_CONNECTIONS: usize = 256;

/// Maximum number of event streams among them.
pub const MOST_EVENT_CLIENTS: usize = 128;

/// Maximum length of a request's body, in bytes.
pub const LONGEST_BODY: usize = 64 * 1024;

/// Pause after a failed `accept`, which is mostly caused by too many open files.
const ACCEPT_PAUSE: Duration = Duration::from_millis(100);

/// Why the page cannot be served.
#[derive(Debug, thiserror::Error)]
pub enum PageError {
    /// The address cannot be listened at.
    #[error("cannot serve the page at {listen}: {cause}")]
    Listen {
        /// The address.
        listen: SocketAddr,
        /// Error of the system.
        cause: io::Error,
    },
    /// The token cannot be read or made.
    #[error(transparent)]
    Token(#[from] TokenError),
    /// Tablets cannot be served.
    #[error(transparent)]
    Tablet(TabletError),
}

impl PageError {
    /// What to do. It is printed on a line of its own, never as part of the message.
    pub fn remedy(&self) -> String {
        match self {
            Self::Listen { cause, .. } if cause.kind() == io::ErrorKind::AddrInUse => {
                "another program listens there; give `listen`, or for tablets `tablet_listen`, of [page] another port"
                    .to_owned()
            }
            Self::Listen { .. } => {
                "give `listen` of [page] an address of this machine, such as \"127.0.0.1:8354\"; for tablets `tablet_listen`, such as \"0.0.0.0:8355\""
                    .to_owned()
            }
            Self::Token(error) => error.remedy(),
            Self::Tablet(error) => error.remedy(),
        }
    }

    /// Whether the configuration is the cause, and not the system.
    pub const fn is_wrong_configuration(&self) -> bool {
        match self {
            Self::Listen { .. } => true,
            Self::Token(_) | Self::Tablet(_) => false,
        }
    }
}

/// The page with its socket, before it is served.
#[derive(Debug)]
pub struct Page {
    listener: TcpListener,
    address: SocketAddr,
    config: PageConfig,
    token: Token,
    programs: Arc<Programs>,
    door: Option<Door>,
}

/// The data that the page shows, and the receiver of its commands.
#[derive(Debug)]
pub struct Sources {
    /// Everything that the daemon publishes.
    pub live: Arc<Live>,
    /// Receiver of commands.
    pub asked: mpsc::Sender<ControlRequest>,
    /// Takes pictures in, and finds those that were taken in.
    pub(crate) intake: Arc<Intake>,
    /// Counts for the metrics.
    pub meter: Arc<Meter>,
    /// The places of feed clients, to count them.
    pub feed_places: Arc<Semaphore>,
    /// The zone of the times in its reports.
    pub zone: Zone,
}

impl Page {
    /// Listens, and makes the token if there is none yet. `programs` have tokens too. Must be called within the runtime.
    /// `tablets`: the wall clock, and the time for which a pairing code is valid.
    pub fn open(
        config: PageConfig,
        programs: Arc<Programs>,
        state_dir: &Path,
        tablets: (fn() -> WallMicros, Duration),
    ) -> Result<Self, PageError> {
        let token = Token::open(state_dir)?;
        let (listener, address) = listen(config.listen)?;
        // Said here and not by the task that serves: whoever knows of the page knows this too.
        if !address.ip().is_loopback() {
            tracing::warn!(
                %address,
                "the page is open to the network, unencrypted; a reverse proxy with TLS in front of 127.0.0.1 is better"
            );
        }
        let door = config.tablet.as_ref();
        let door = door.map(|tablet| Door::open(tablet, &config.hosts, state_dir, tablets));
        Ok(Self {
            listener,
            address,
            door: door.transpose()?,
            config,
            token,
            programs,
        })
    }

    /// Address and port, also if any free port was requested.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Access over the network, if it is enabled.
    pub fn gate(&self) -> Option<&Arc<Gate>> {
        self.door.as_ref().map(Door::gate)
    }

    /// Serves until the sender of `stopped` is dropped. Answers that have begun are completed.
    pub async fn serve(self, sources: Sources, mut stopped: watch::Receiver<()>) {
        let board = board::follow(Arc::clone(&sources.live), Arc::clone(&sources.meter));
        let gate = self.gate().cloned();
        let hosts = Hosts::new(&self.config, self.address);
        let (tokens, programs) = ((self.token, Arc::clone(&self.programs)), self.programs);
        let mut site = routes::Site::new(sources, tokens, hosts, board.docs, gate);
        site.may_edit = self.config.edit;
        let routes = routes::routes(Arc::new(site));
        let door = self.door;
        let (at_the_door, door_stopped) = (routes.clone(), stopped.clone());
        let tablets = async move {
            if let Some(door) = door {
                door.serve(at_the_door, door_stopped).await;
            }
        };
        let tablets = tokio::spawn(tablets);
        let places = Arc::new(Semaphore::new(MOST_CONNECTIONS));
        let at_the_bench = stopped.clone();
        let one = move |stream: TcpStream, address| {
            let Ok(place) = Arc::clone(&places).try_acquire_owned() else {
                connection::refuse(&stream);
                return None;
            };
            connection::prepare(&stream);
            let held = Arc::new(Held::default());
            let way = Way::Plain(Arc::clone(&held));
            let serving = connection::serve(
                stream,
                Peer { address, way },
                routes.clone(),
                at_the_bench.clone(),
            );
            let programs = Arc::clone(&programs);
            Some(async move {
                tokio::select! {
                    biased;
                    () = held.revoked(&programs.tokens) => {}
                    () = serving => {}
                }
                drop(place);
            })
        };
        let serving = serve_each(&self.listener, stopped.clone(), one);
        let following = async {
            let _ = stopped.changed().await; // this fails only if the sender is gone
            board.task.abort();
        };
        tokio::join!(serving, following);
        // It has ended, or is ending too.
        let _ = tablets.await;
    }
}

/// Serves connections until the sender of `stopped` is dropped, and completes those that are open then. `one` makes the
/// task of a connection; it returns `None` if there is no place for the connection.
async fn serve_each<T: Future<Output = ()> + Send + 'static>(
    listener: &TcpListener,
    mut stopped: watch::Receiver<()>,
    one: impl Fn(TcpStream, SocketAddr) -> Option<T>,
) {
    let mut connections = JoinSet::new();
    loop {
        let (stream, peer) = tokio::select! {
            biased;
            _ = stopped.changed() => break,
            accepted = accept(listener) => accepted,
            Some(_) = connections.join_next(), if !connections.is_empty() => continue,
        };
        if let Some(task) = one(stream, peer) {
            connections.spawn(task);
        }
    }
    while connections.join_next().await.is_some() {}
}

fn listen(address: SocketAddr) -> Result<(TcpListener, SocketAddr), PageError> {
    let failed = |cause| PageError::Listen {
        listen: address,
        cause,
    };
    // std is used because tokio's own function is async for the sake of names, and this is an address.
    let listener = std::net::TcpListener::bind(address).map_err(failed)?;
    let address = listener.local_addr().map_err(failed)?;
    let listener = listener
        .set_nonblocking(true)
        .and_then(|()| TcpListener::from_std(listener))
        .map_err(failed)?;
    Ok((listener, address))
}

async fn accept(listener: &TcpListener) -> (TcpStream, SocketAddr) {
    loop {
        match listener.accept().await {
            Ok(accepted) => return accepted,
            Err(error) => {
                tracing::warn!(%error, "a client of the page could not be accepted");
                tokio::time::sleep(ACCEPT_PAUSE).await;
            }
        }
    }
}
