//! The listener for tablets: TLS, with limits on everything that a stranger can use up.
//!
//! - Its connections are counted separately from those of the loopback, so that the page at the bench always has its
//!   places.
//! - One device can use only a part of them.

use super::codes::{Codes, network};
use super::{Certificate, Gate, TabletError, Tokens, addresses, names};
use crate::config::{TabletConfig, is_public};
use crate::page::connection::{self, Peer, Way};
use crate::page::tokens::Held;
use crate::page::{PageError, listen, serve_each};
use crate::quantity::WallMicros;
use axum::Router;
use std::collections::HashMap;
use std::net::{IpAddr, SocketAddr};
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;

/// Maximum number of connections of all tablets, and of one device; a browser opens up to six.
const MOST_CONNECTIONS: usize = 64;
const MOST_OF_ONE: usize = 16;

/// Time limit for the TLS handshake.
const HELLO_WITHIN: Duration = Duration::from_secs(10);

/// The first byte of every TLS connection.
const TLS_HANDSHAKE: u8 = 0x16;

const PLAIN: &str = "this port speaks HTTPS only\nhelp: write https:// before the address\n";

/// The listener, before it is served.
#[derive(Debug)]
pub(in crate::page) struct Door {
    listener: TcpListener,
    acceptor: Acceptor,
    gate: Arc<Gate>,
}

#[derive(Clone)]
struct Acceptor(TlsAcceptor);

impl std::fmt::Debug for Acceptor {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Acceptor")
    }
}

/// A connection of a tablet.
#[derive(Debug)]
pub(in crate::page) struct Connection {
    /// The address of this machine that the tablet has used.
    pub(super) local: IpAddr,
    pub(super) held: Held,
}

impl Door {
    /// Listens, and makes the certificate if there is none yet. Must be called within the runtime.
    pub(in crate::page) fn open(
        config: &TabletConfig,
        hosts: &[String],
        state_dir: &Path,
        (now, code_lasts): (fn() -> WallMicros, Duration),
    ) -> Result<Self, PageError> {
        let tokens = Tokens::of_tablets(state_dir)?;
        let certificate = match Certificate::read(state_dir)? {
            Some(certificate) => certificate,
            None => Certificate::make(state_dir, &names(config.listen.ip(), hosts), now())?,
        };
        if *certificate.until < *now().to_string() {
            tracing::warn!(
                until = certificate.until,
                "the certificate of the page for tablets is over; tablets warn of it; make a new one: tallyjaw page --new-certificate"
            );
        }
        let (listener, address) = listen(config.listen)?;
        let mut reached = vec![address.ip()];
        if address.ip().is_unspecified() {
            reached = addresses();
        }
        if let Some(public) = reached.into_iter().find(|ip| is_public(*ip)) {
            tracing::warn!(
                address = %public,
                "the internet may reach the page for tablets; have a firewall accept your own network only, or name its address in tablet_listen"
            );
        }
        let acceptor = Acceptor(TlsAcceptor::from(Arc::new(certificate.server()?)));
        let own = certificate.names.iter().chain(hosts);
        let gate = Arc::new(Gate {
            listen: address,
            fingerprint: certificate.fingerprint,
            names: own.map(|name| name.to_ascii_lowercase()).collect(),
            tokens,
            codes: Mutex::new(Codes::default()),
            code_lasts,
            now,
        });
        Ok(Self {
            listener,
            acceptor,
            gate,
        })
    }

    pub(in crate::page) fn gate(&self) -> &Arc<Gate> {
        &self.gate
    }

    /// Serves until the sender of `stopped` is dropped. Answers that have begun are completed.
    pub(in crate::page) async fn serve(self, routes: Router, stopped: watch::Receiver<()>) {
        let places = Places::default();
        let one = |stream, peer: SocketAddr| {
            // A connection without a place is closed without an answer, which would cost a handshake.
            let place = places.take(peer.ip())?;
            let client = Client {
                acceptor: self.acceptor.clone(),
                gate: Arc::clone(&self.gate),
                peer,
                stopped: stopped.clone(),
            };
            let serving = client.serve(stream, routes.clone());
            Some(async move {
                serving.await;
                drop(place);
            })
        };
        serve_each(&self.listener, stopped.clone(), one).await;
    }
}

struct Client {
    acceptor: Acceptor,
    gate: Arc<Gate>,
    peer: SocketAddr,
    stopped: watch::Receiver<()>,
}

impl Client {
    async fn serve(self, stream: TcpStream, routes: Router) {
        let Ok(local) = stream.local_addr() else {
            return;
        };
        connection::prepare(&stream);
        let mut stopped = self.stopped.clone();
        let encrypted = tokio::select! {
            encrypted = tokio::time::timeout(HELLO_WITHIN, hello(&self.acceptor, stream)) => encrypted,
            _ = stopped.changed() => return,
        };
        // A failed handshake ends only this connection.
        let Ok(Some(encrypted)) = encrypted else {
            return;
        };
        let connection = Arc::new(Connection {
            local: local.ip().to_canonical(),
            held: Held::default(),
        });
        let peer = Peer {
            address: self.peer,
            way: Way::Tablet(Arc::clone(&connection)),
        };
        let gate = self.gate;
        let serving = connection::serve(encrypted, peer, routes, self.stopped);
        tokio::select! {
            biased;
            () = connection.held.revoked(&gate.tokens) => {}
            () = serving => {}
        }
    }
}

/// The connection after the TLS handshake; `None` if that fails.
async fn hello(acceptor: &Acceptor, mut stream: TcpStream) -> Option<TlsStream<TcpStream>> {
    let mut first = [0];
    match stream.peek(&mut first).await {
        Ok(1) if first == [TLS_HANDSHAKE] => acceptor.0.accept(stream).await.ok(),
        Ok(1) if first.iter().all(u8::is_ascii_uppercase) => {
            say_plainly(&mut stream).await;
            None
        }
        Ok(_) | Err(_) => None,
    }
}

/// Answers a browser that does not use TLS.
async fn say_plainly(stream: &mut TcpStream) {
    let answer = format!(
        "HTTP/1.1 400 Bad Request\r\ncontent-type: text/plain; charset=utf-8\r\ncontent-length: {}\r\nconnection: close\r\n\r\n{PLAIN}",
        PLAIN.len()
    );
    if stream.write_all(answer.as_bytes()).await.is_err() || stream.shutdown().await.is_err() {
        return;
    }
    // The request must be read first, otherwise the answer is lost when the connection is closed.
    let mut rest = [0; 1024];
    for _ in 0..16 {
        let next = tokio::time::timeout(Duration::from_secs(1), stream.read(&mut rest));
        if !matches!(next.await, Ok(Ok(1..))) {
            return;
        }
    }
}

/// Number of places in use, by address.
#[derive(Debug, Default, Clone)]
struct Places(Arc<Mutex<HashMap<IpAddr, usize>>>);

struct Place {
    places: Places,
    of: IpAddr,
}

impl Places {
    fn take(&self, ip: IpAddr) -> Option<Place> {
        let of = network(ip);
        let mut taken = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let all: usize = taken.values().sum();
        let own = taken.get(&of).copied().unwrap_or_default();
        if all >= MOST_CONNECTIONS || own >= MOST_OF_ONE {
            return None;
        }
        taken.insert(of, own + 1);
        let places = self.clone();
        Some(Place { places, of })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut taken = self.places.0.lock().unwrap_or_else(PoisonError::into_inner);
        let left = taken.get(&self.of).map_or(0, |own| own.saturating_sub(1));
        if left == 0 {
            taken.remove(&self.of);
        } else {
            taken.insert(self.of, left);
        }
    }
}

impl From<TabletError> for PageError {
    fn from(error: TabletError) -> Self {
        Self::Tablet(error)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_device_has_its_share_and_all_together_have_an_end() {
        let places = Places::default();
        let ip = |last: u8| IpAddr::from([192, 168, 1, last]);
        let mut held: Vec<_> = (0..20).filter_map(|_| places.take(ip(1))).collect();
        assert_eq!(held.len(), MOST_OF_ONE);
        for last in 2..20 {
            held.extend((0..16).filter_map(|_| places.take(ip(last))));
        }
        assert_eq!(held.len(), MOST_CONNECTIONS);
        held.truncate(1);
        assert!(places.take(ip(9)).is_some());
        held.clear();
        assert!(places.0.lock().unwrap().is_empty());
    }
}
