//! A pedal or another contact on a modem line of a port.
//!
//! In: an open port and which of its lines to watch. Out: each change of the line, as seen every
//! five milliseconds. What the line is at first is no change: a contact that rests closed, or an
//! adapter whose line always reads the same, presses nothing.
//!
//! The line is looked at again and again (`TIOCMGET`) and not waited for (`TIOCMIWAIT`): that call
//! cannot be given up, so its thread would keep an unplugged adapter's descriptor, and with it the
//! adapter's number, for as long as nobody steps on the pedal; and some drivers do not have it. A foot
//! takes ten times as long as a look. With some adapters a look is a USB transfer of about a
//! millisecond (from memory): it has a thread of its own, so that no other port waits for it, and
//! only ports with a contact have one.

use crate::config::ModemLine;
use serialport::{SerialPort, TTYPort};
use std::io;
use std::thread;
use std::time::Duration;
use tokio::sync::mpsc::{Receiver, Sender, channel};

/// Between two looks.
const LOOK: Duration = Duration::from_millis(5);

/// Changes that may wait; then the line is not looked at until one is taken.
const WAITING_MOST: usize = 16;

/// A modem line that is watched until this is dropped.
#[derive(Debug)]
pub(super) struct Contact {
    changes: Receiver<bool>,
}

impl Contact {
    /// Watches `line` of `port`, which is another handle of a port that is read elsewhere.
    ///
    /// Fails if the port has no such lines.
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
                // An error is the end of the port, of which the reader tells.
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

    /// Waits for the next change: whether the contact is closed now. Waits for ever once the port is gone.
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

/// A raised line is a closed contact: the pedal connects it to one that is up.
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

    /// A line at these levels, one a look; then the port is gone.
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
    fn each_change_is_told_once_and_the_first_level_is_none() {
        assert_eq!(changes(b"0011100"), [true, false]);
        assert!(changes(b"1111").is_empty());
        assert_eq!(changes(b"101"), [false, true]);
    }

    #[test]
    fn a_port_without_lines_has_no_contact() {
        assert!(contact(b"").is_err());
    }
}
