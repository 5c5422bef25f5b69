//! The end of a daemon: everything that was received becomes durable, and sealed.

use super::DaemonError;
use super::hub::Hub;
use super::service;
use crate::journal::Announcement;
use crate::station::Input;
use std::time::Duration;
use tokio::sync::mpsc::UnboundedReceiver;

/// Maximum wait for the disk when stopping.
const STOP_PATIENCE: Duration = Duration::from_secs(10);

impl Hub {
    /// Takes what has arrived, enters `stopped`, and waits until that and its seal are durable.
    pub(super) async fn stop(
        &mut self,
        reason: &str,
        announcements: &mut UnboundedReceiver<Announcement>,
    ) -> Result<(), DaemonError> {
        tracing::info!(reason, "stopping");
        service::stops();
        for (instrument, event) in self.ports.waiting() {
            self.port(&instrument, event);
        }
        self.ports.close_all_but(&[]);
        self.feed(Input::Stopping { reason });
        let give_up = tokio::time::Instant::now() + STOP_PATIENCE;
        self.drained(give_up, announcements).await?;
        if self.seal_the_end() {
            self.drained(give_up, announcements).await?;
        }
        Ok(())
    }

    /// Waits until everything that was given to the journal is durable.
    async fn drained(
        &mut self,
        give_up: tokio::time::Instant,
        announcements: &mut UnboundedReceiver<Announcement>,
    ) -> Result<(), DaemonError> {
        while self.durable < self.appended {
            let next = tokio::time::timeout_at(give_up, announcements.recv());
            let Ok(announcement) = next.await else {
                let message = "the disk did not take what was left in time".to_owned();
                // Logged now, because the journal's thread may never return from its disk.
                tracing::error!("{message}");
                return Err(DaemonError::JournalFailed { message });
            };
            self.announced(announcement)?;
        }
        Ok(())
    }
}
