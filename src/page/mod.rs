//! The bench page over HTTP: the page itself, events, the state, figures for a scrape, and commands.
//!
//! In: requests of browsers and programs, and what the daemon makes known through `Live`. Out: their
//! answers, and commands for the daemon on the same way as those of the control socket.
//!
//! - Everything is bounded: connections, clients of the event stream, heads, bodies, and the time that
//!   each may take. Who reads slowly reads on from the journal and delays nobody.
//! - A page of another origin gets nothing, whatever the browser was made to believe of our name.
//! - Nothing is commanded without the token.

mod assets;
mod board;
mod connection;
mod events;
mod guard;
mod meter;
mod metrics;
mod report;
mod routes;
mod series;
mod token;

pub use meter::Meter;
pub use token::{TOKEN_FILE, Token, TokenError};

use crate::clients::{ControlRequest, Live};
use crate::config::PageConfig;
use crate::quantity::Zone;
use std::io;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, mpsc, watch};
use tokio::task::JoinSet;

/// How many connections are served at once; a browser opens up to six.
pub const MOST_CONNECTIONS: usize = 256;

/// How many of them may be event streams.
pub const MOST_EVENT_CLIENTS: usize = 128;

/// The longest body of a request, in bytes.
pub const LONGEST_BODY: usize = 64 * 1024;

/// How long after a failed `accept` (too many open files, most likely) the next is tried.
const ACCEPT_PAUSE: Duration = Duration::from_millis(100);

/// Why the page cannot be served.
#[derive(Debug, thiserror::Error)]
pub enum PageError {
    /// Nobody can connect there.
    #[error("cannot serve the page at {listen}: {cause}")]
    Listen {
        /// The address.
        listen: SocketAddr,
        /// Why not.
        cause: io::Error,
    },
    /// There is no token to command with.
    #[error(transparent)]
    Token(#[from] TokenError),
}

impl PageError {
    /// What a person can do; printed on a line of its own, never part of the message.
    pub fn remedy(&self) -> String {
        match self {
            Self::Listen { cause, .. } if cause.kind() == io::ErrorKind::AddrInUse => {
                "another program listens there; give `listen` of [page] another port".to_owned()
            }
            Self::Listen { .. } => {
                "give `listen` of [page] an address of this machine, such as \"127.0.0.1:8354\""
                    .to_owned()
            }
            Self::Token(error) => error.remedy(),
        }
    }

    /// Whether the configuration is at fault; otherwise the system is.
    pub const fn is_wrong_configuration(&self) -> bool {
        match self {
            Self::Listen { .. } => true,
            Self::Token(_) => false,
        }
    }
}

/// The page's place, before anybody is served.
#[derive(Debug)]
pub struct Page {
    listener: TcpListener,
    address: SocketAddr,
    config: PageConfig,
    token: Token,
}

/// What the page shows, and where commands go.
#[derive(Debug)]
pub struct Sources {
    /// What the daemon makes known.
    pub live: Arc<Live>,
    /// Where commands go.
    pub asked: mpsc::Sender<ControlRequest>,
    /// What is counted for a scrape.
    pub meter: Arc<Meter>,
    /// The places of the feed's clients, for counting them.
    pub feed_places: Arc<Semaphore>,
    /// In which the times of its reports are shown.
    pub zone: Zone,
}

impl Page {
    /// Listens, and makes the token if there is none yet; inside of the runtime only.
    pub fn open(config: PageConfig, state_dir: &Path) -> Result<Self, PageError> {
        let token = Token::open(state_dir)?;
        let failed = |cause| PageError::Listen {
            listen: config.listen,
            cause,
        };
        // By way of std: tokio's own is async for names, and this is an address.
        let listener = std::net::TcpListener::bind(config.listen).map_err(failed)?;
        let address = listener.local_addr().map_err(failed)?;
        let listener = listener
            .set_nonblocking(true)
            .and_then(|()| TcpListener::from_std(listener))
            .map_err(failed)?;
        Ok(Self {
            listener,
            address,
            config,
            token,
        })
    }

    /// Address and port, also where any free port was requested.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Serves until the sender of `stopped` is dropped; then answers that are under way go out.
    pub async fn serve(self, sources: Sources, mut stopped: watch::Receiver<()>) {
        if !self.address.ip().is_loopback() {
            tracing::warn!(
                address = %self.address,
                "the page is open to the network, unencrypted; a reverse proxy with TLS in front of 127.0.0.1 is better"
            );
        }
        let board = board::follow(Arc::clone(&sources.live), Arc::clone(&sources.meter));
        let site = routes::Site::new(sources, self.token, &self.config, self.address, board.docs);
        let routes = routes::routes(Arc::new(site));
        let places = Arc::new(Semaphore::new(MOST_CONNECTIONS));
        let mut connections = JoinSet::new();
        loop {
            let (stream, peer) = tokio::select! {
                biased;
                _ = stopped.changed() => break,
                accepted = accept(&self.listener) => accepted,
                Some(_) = connections.join_next(), if !connections.is_empty() => continue,
            };
            match Arc::clone(&places).try_acquire_owned() {
                Ok(place) => {
                    let serving = connection::serve(stream, peer, routes.clone(), stopped.clone());
                    connections.spawn(async move {
                        serving.await;
                        drop(place);
                    });
                }
                Err(_) => connection::refuse(&stream),
            }
        }
        board.task.abort();
        while connections.join_next().await.is_some() {}
    }
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
