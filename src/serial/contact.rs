//! Watches a pedal or other contact on a modem line of a port.
//!
//! In: an open port and the line to watch. Out: each change of the line, polled every five milliseconds. The first
//! level is not a change, so a contact that rests closed, or an adapter whose line never changes, presses nothing.
//!
//! The line is polled (`TIOCMGET`) and not waited for (`TIOCMIWAIT`). That call cannot be cancelled, so after an unplug
//! its thread would hold the descriptor, and with it the adapter's number, until the next press; and some drivers do
//! not support it. A press lasts ten times as long as the interval. With some adapters a poll is a USB transfer of
//! about a millisecond (from memory). So polling has its own thread, and only ports with a contact have one.

use crate::config::ModemLine;
use serialport::{SerialPort, TTYPort};
use std::io;
use std::thread;
use std::time::Duration;
use tokio::sync::mpsc::{Receiver, Sender, channel};

/// Interval between two polls.
const LOOK: Duration = Duration::from_millis(5);

/// Number of changes that may wait. Polling pauses while they do.
const WAITING_MOST: usize = 16;

/// A modem line that is watched until this is dropped.
#[derive(Debug)]
pub(super) struct Contact {
    changes: Receiver<bool>,
}

impl Contact {
    /// Watches `line` of `port`, a second handle of a port that is read elsewhere.
    ///
    /// Fails if the port has no modem lines.
    pub(super) fn watch(mut port: TTYPort, line: ModemLine) -> io::Result<Self> {
        Self::watch_level(move || level(&mut port, line))
    }

    fn watch_level(
        mut level: impl FnMut() -> io::Result<bool> + Send + 'static,
    ) -> io::Result<Self> {
        let mut closed = level()?;
        let (sender, changes) = channel(WAITING_MOST);
        thread::Builder::new()
            .name("tallyjaw-contact".to_owned())
            .spawn(move || {
                // An error means the end of the port, which its reader reports.
                while let Ok(now) = level() {
                    if now != closed && sender.blocking_send(now).is_err() {
                        return;
                    }
                    closed = now;
                    if is_unwanted_after(LOOK, &sender) {
                        return;
                    }
                }
            })?;
        Ok(Self { changes })
    }

    /// Waits for the next change and returns whether the contact is closed. Waits for ever once the port is gone.
    pub(super) async fn changed(&mut self) -> bool {
        match self.changes.recv().await {
            Some(closed) => closed,
            None => std::future::pending().await,
        }
    }
}

fn is_unwanted_after(pause: Duration, changes: &Sender<bool>) -> bool {
    thread::sleep(pause);
    changes.is_closed()
}

/// Whether the line is raised, which means a closed contact: the pedal connects it to a line that is up.
fn level(port: &mut TTYPort, line: ModemLine) -> io::Result<bool> {
    let read = match line {
        ModemLine::Cts => port.read_clear_to_send(),
        ModemLine::Dsr => port.read_data_set_ready(),
        ModemLine::Dcd => port.read_carrier_detect(),
        ModemLine::Ri => port.read_ring_indicator(),
    };
    read.map_err(io::Error::from)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A line with one of these levels at each poll; then the port is gone.
    fn contact(levels: &'static [u8]) -> io::Result<Contact> {
        let mut levels = levels.iter();
        Contact::watch_level(move || match levels.next() {
            Some(level) => Ok(*level == b'1'),
            None => Err(io::ErrorKind::NotConnected.into()),
        })
    }

    fn changes(levels: &'static [u8]) -> Vec<bool> {
        let mut contact = contact(levels).unwrap();
        std::iter::from_fn(|| contact.changes.blocking_recv()).collect()
    }

    #[test]
    fn each_change_is_reported_once_and_the_first_level_is_not_a_change() {
        assert_eq!(changes(b"0011100"), [true, false]);
        assert!(changes(b"1111").is_empty());
        assert_eq!(changes(b"101"), [false, true]);
    }

    #[test]
    fn a_port_without_lines_has_no_contact() {
        assert!(contact(b"").is_err());
    }
}
