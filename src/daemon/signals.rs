//! Signals for stopping and reloading, as inputs to the main loop.

use std::io;
use tokio::signal::unix::{Signal, SignalKind, signal};

/// The action that a signal asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum SignalAction {
    /// Write waiting entries and stop.
    Stop(&'static str),
    /// Read the configuration again.
    Reload,
}

/// The signals that the daemon handles.
#[derive(Debug)]
pub(super) struct Signals {
    terminate: Signal,
    interrupt: Signal,
    hang_up: Signal,
}

impl Signals {
    /// Begins to receive the signals. Must be called within the runtime.
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
