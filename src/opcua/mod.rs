//! The OPC UA server: what the feed says, as objects, variables and events, read-only.
//!
//! In: the feed of a daemon on this machine. Out: an OPC UA server for other machines. It is a program of its own,
//! `tallyjaw-opcua`, so that whatever its clients do, the daemon goes on measuring.
//!
//! - `model` is the table of all objects, variables and event fields, and of the key of the feed that each one is; `value`
//!   reads that key;
//! - `nodes` makes nodes of it, and `space` keeps their values;
//! - `event` makes an event of an entry;
//! - `follow` reads the feed, and connects again;
//! - `certificates`, `login` and `server` decide who may connect.

mod certificates;
mod event;
mod follow;
mod login;
mod model;
mod nodes;
mod server;
mod space;
mod value;

use crate::clock;
use crate::config::{DaemonConfig, OpcuaConfig};
use crate::page::tablet::TabletError;
use certificates::Certificates;
use follow::{Follow, Told};
use login::Login;
use server::Served;
use space::Space;
use std::future::Future;
use std::io;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::pin::pin;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;

/// Interval of looking whether a token of a client was revoked.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// What the server needs.
#[derive(Debug)]
pub struct Setup {
    /// Where it listens.
    pub opcua: OpcuaConfig,
    /// The folders of the daemon.
    pub daemon: DaemonConfig,
}

/// Where the server can be reached.
#[derive(Debug)]
pub struct Ready {
    /// Its address, as clients name it: `opc.tcp://bench-1:4840/`.
    pub url: String,
    /// Fingerprint of its certificate: SHA-1, as OPC UA names certificates.
    pub thumbprint: String,
    /// The folder of certificates that are trusted.
    pub trusted: PathBuf,
    /// The folder of certificates that were shown and are not trusted.
    pub rejected: PathBuf,
    /// Whether only this machine can connect, and without a token.
    pub open: bool,
}

/// Why there is no server.
#[derive(Debug, thiserror::Error)]
pub enum OpcuaError {
    /// The address is in use, or is none of this machine.
    #[error("cannot listen on {listen}")]
    Listen {
        /// The address.
        listen: SocketAddr,
        /// What the system says.
        source: io::Error,
    },
    /// The certificate cannot be made or read.
    #[error("no certificate in {}: {why}", folder.display())]
    Certificate {
        /// The folder of certificates.
        folder: PathBuf,
        /// What is wrong.
        why: String,
    },
    /// The library refuses the settings, or its server has ended by itself: a fault of ours or of the library.
    #[error("the OPC UA server has ended: {0}")]
    Server(String),
    /// The file of tokens cannot be read.
    #[error(transparent)]
    Tokens(#[from] TabletError),
    /// Threads or signals are refused by the system.
    #[error("the system refuses {what}")]
    System {
        /// What was requested.
        what: &'static str,
        /// What it says.
        source: io::Error,
    },
}

impl OpcuaError {
    /// What to do.
    pub fn remedy(&self) -> Option<String> {
        match self {
            Self::Listen { .. } => Some(
                "stop the program that has this address, or name another one: listen = \"…\" under [opcua]"
                    .to_owned(),
            ),
            Self::Certificate { folder, .. } => Some(format!(
                "move {} away, and a new certificate is made at the next start; clients must trust that one",
                folder.display()
            )),
            Self::Tokens(error) => Some(error.remedy()),
            Self::Server(_) | Self::System { .. } => None,
        }
    }
}

/// Serves until SIGTERM or SIGINT. `ready` is called once clients can connect.
pub fn run(setup: &Setup, ready: impl FnOnce(&Ready)) -> Result<(), OpcuaError> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|source| OpcuaError::System {
            what: "threads",
            source,
        })?;
    runtime.block_on(serve(setup, ready))
}

async fn serve(setup: &Setup, ready: impl FnOnce(&Ready)) -> Result<(), OpcuaError> {
    let mut stopped = pin!(stopped()?);
    let certificates = Certificates::of(&setup.daemon.state_dir, &setup.opcua)?;
    let login = Arc::new(Login::new(
        &setup.daemon.state_dir,
        &setup.opcua,
        clock::wall,
    )?);
    let mut follow = Follow::new(setup.daemon.runtime_dir.join("feed.sock"));
    let (mut address, mut ready) = (setup.opcua.listen, Some(ready));
    // Once for each revoked token: its sessions end only with the server, and the others log in again.
    loop {
        let listener = listen(address).await?;
        address = listener.local_addr().unwrap_or(address);
        let mut server = server::start(listener, &certificates, &setup.opcua, Arc::clone(&login))?;
        if let Some(ready) = ready.take() {
            ready(&certificates.ready(address, &setup.opcua));
        }
        let ended = tokio::select! {
            () = &mut stopped => true,
            () = say(&server.nodes, &mut follow) => true,
            why = server.task.ended() => return Err(why),
            () = revoked(&login, &certificates) => false,
        };
        server.stop().await?;
        if ended {
            return Ok(());
        }
        tracing::info!("a token was revoked: every client has to log in again");
    }
}

/// Takes over what the feed says, for ever.
async fn say(nodes: &Served, follow: &mut Follow) {
    let mut space = Space::new(nodes);
    follow.begin_now();
    loop {
        match follow.next().await {
            Told::Hello { journal } => space.connected(journal),
            Told::State(state) => space.state(&state),
            Told::Entry { text, entry } => space.entry(&text, &entry),
            Told::Gone => space.gone(),
        }
    }
}

/// Ends when the token of a client that has logged in is valid no longer. Keeps the folder of what was rejected small.
async fn revoked(login: &Login, certificates: &Certificates) {
    let mut tick = tokio::time::interval(LOOK_EVERY);
    loop {
        tick.tick().await;
        if login.is_any_revoked() {
            return;
        }
        certificates.forget_old_rejected();
    }
}

async fn listen(listen: SocketAddr) -> Result<TcpListener, OpcuaError> {
    let bound = TcpListener::bind(listen).await;
    bound.map_err(|source| OpcuaError::Listen { listen, source })
}

/// Ends at the signal to stop.
fn stopped() -> Result<impl Future<Output = ()>, OpcuaError> {
    use tokio::signal::unix::{SignalKind, signal};
    let refused = |source| OpcuaError::System {
        what: "a signal handler",
        source,
    };
    let mut term = signal(SignalKind::terminate()).map_err(refused)?;
    let mut int = signal(SignalKind::interrupt()).map_err(refused)?;
    Ok(async move {
        tokio::select! {
            _ = term.recv() => (),
            _ = int.recv() => (),
        }
    })
}
