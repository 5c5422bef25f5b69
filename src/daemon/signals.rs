//! Stop and reload, as inputs to the daemon's loop.

use std::io;
use tokio::signal::unix::{Signal, SignalKind, signal};

/// What a signal makes the daemon do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum SignalAction {
    /// Write what waits and end.
    Stop(&'static str),
    /// Read the configuration again.
    Reload,
}

/// The signals that the daemon listens to.
#[derive(Debug)]
pub(super) struct Signals {
    terminate: Signal,
    interrupt: Signal,
    hang_up: Signal,
}

impl Signals {
    /// From now on the signals come here; inside of the runtime only.
    pub(super) fn listen() -> io::Result<Self> {
        Ok(Self {
            terminate: signal(SignalKind::terminate())?,
            interrupt: signal(SignalKind::interrupt())?,
            hang_up: signal(SignalKind::hangup())?,
        })
    }

    pub(super) async fn next(&mut self) -> SignalAction {
        tokio::select! {
            _ = self.terminate.recv() => SignalAction::Stop("SIGTERM"),
            _ = self.interrupt.recv() => SignalAction::Stop("SIGINT"),
            _ = self.hang_up.recv() => SignalAction::Reload,
        }
    }
}
