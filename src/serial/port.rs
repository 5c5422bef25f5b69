//! One open port: opening, settings, reading to its end, and sending.
//!
//! Raw mode is set first, then old bytes are separated, then reading begins. A new terminal edits lines and echoes them
//! to the instrument, and bytes that wait in it are older than the opening.

use super::access::{from_errno, look, pty_number};
use super::contact::Contact;
use super::guard::Guarded;
use super::holder::holders;
use super::marks::{ByteRun, PortMarks, far_end_marks};
use super::settings::{data_bits, parity, settings_of, stop_bits};
use super::stale::take_stale;
use super::{SerialError, discover, socket};
use crate::config::{FRAME_GAP, LineSettings, ModemLine, PortConfig};
use crate::entry::Attached;
use rustix::fs::{FlockOperation, Mode, OFlags};
use rustix::io::Errno;
use rustix::termios::{InputModes, OptionalActions, Termios};
use serialport::TTYPort;
use std::collections::VecDeque;
use std::fs::Metadata;
use std::io;
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::io::AsyncReadExt;
use tokio_serial::{ErrorKind, SerialPort, SerialStream};

/// Maximum number of bytes in one read; a terminal holds no more.
const READ: usize = 4096;

/// An instrument that sends all the time is never quiet, so the wait for a silence is limited to this.
const STALE_LONGEST: Duration = Duration::from_millis(500);

/// An open port.
#[derive(Debug)]
pub struct Port {
    path: PathBuf,
    /// Second handle of the terminal, to see at once whether bytes wait.
    handle: OwnedFd,
    pub(super) stream: SerialStream,
    pub(super) marks: PortMarks,
    /// Read from the terminal, and not returned yet.
    pub(super) runs: VecDeque<ByteRun>,
    /// What ended it, once a last byte has been handed out after it.
    ended: Option<String>,
}

/// The result of a read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Read {
    /// Bytes of one kind, at least one.
    Run(ByteRun),
    /// The port is gone for good and must be dropped. The cause, in words.
    HungUp(String),
}

/// A port that has just been opened.
#[derive(Debug)]
pub struct Opened {
    /// Ready to read: locked, and with its line settings set.
    pub port: Port,
    /// Watches the configured contact.
    pub(super) contact: Option<Contact>,
    /// Path and adapter of the port.
    pub attached: Attached,
    /// What the guard needs.
    pub(super) guarded: Guarded,
    /// Bytes that waited in the port, at most 64 KiB. They are older than the opening, so it is unknown what they
    /// measured.
    pub stale: Vec<u8>,
    /// No silence was seen after the discarded bytes, so the next bytes may be the rest of a frame.
    pub out_of_step: bool,
}

impl Port {
    /// Opens and sets the selected port. It takes some milliseconds, so it must not run on an executor's thread, but
    /// must have its context.
    pub fn open(config: &PortConfig) -> Result<Opened, SerialError> {
        let path = discover::resolve(&config.selector)?;
        let seen = look(&path)?;
        let mut rivals = seen.holders;
        rivals.retain(|holder| !holder.is_us());
        if !rivals.is_empty() {
            return Err(SerialError::Held {
                path,
                holders: rivals,
            });
        }
        let handle = first_handle(&path, &seen.device)?;
        let is_pty = pty_number(&seen.device).is_some();
        let (stream, contact) = open_and_set(&path, config, is_pty)?;
        let marked = mark_spoiled_bytes(&handle).map_err(|errno| from_errno(&path, errno))?;
        check_settings(&path, config.line, &marked, is_pty)?;
        let watched = handle.try_clone().map_err(|cause| SerialError::Failed {
            path: path.clone(),
            cause,
        })?;
        let (stale, out_of_step) = take_stale(&handle, FRAME_GAP, STALE_LONGEST)
            .map_err(|errno| from_errno(&path, errno))?;
        let mut marks = PortMarks::new(is_pty && far_end_marks());
        let stale = marks
            .take(&stale)
            .iter()
            .flat_map(ByteRun::bytes)
            .copied()
            .collect();
        let adapter = socket::seen(&path);
        Ok(Opened {
            attached: Attached {
                instrument: config.instrument.clone(),
                station: config.station.clone(),
                port: path.display().to_string(),
                line: config.line.to_string(),
                identity: adapter.as_ref().map(|seen| seen.usb.clone()),
                ambiguous: adapter.as_ref().is_some_and(|seen| seen.ambiguous),
                socket: adapter.and_then(|seen| seen.socket),
                read_by: None, // The core knows how it is read.
            },
            contact,
            guarded: Guarded {
                path: path.clone(),
                device: seen.device,
                handle,
                settings: marked,
            },
            out_of_step,
            port: Self {
                path,
                handle: watched,
                stream,
                marks,
                runs: VecDeque::new(),
                ended: None,
            },
            stale,
        })
    }

    /// Whether bytes or the end wait in the terminal, so that the next read returns at once.
    pub(super) fn waits(&mut self) -> bool {
        if !self.runs.is_empty() || self.ended.is_some() {
            return true;
        }
        let mut buffer = [0; READ];
        match rustix::io::read(&self.handle, &mut buffer) {
            Err(Errno::AGAIN) => false,
            Ok(count) => {
                let chunk = buffer.get(..count).unwrap_or_default();
                self.runs.extend(self.marks.take(chunk));
                true
            }
            Err(_) => true,
        }
    }

    /// Sends bytes to the instrument, without waiting until they are sent out.
    ///
    /// # Errors
    ///
    /// [`SerialError::NotSent`] if not all of them fit now, [`SerialError::SendFailed`] for errors of the system. The
    /// rest of the bytes is dropped.
    pub fn send(&mut self, bytes: &[u8]) -> Result<(), SerialError> {
        let mut rest = bytes;
        while !rest.is_empty() {
            match self.stream.try_write(rest) {
                Ok(sent) if sent > 0 => rest = rest.get(sent..).unwrap_or_default(),
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) if error.kind() != io::ErrorKind::WouldBlock => {
                    return Err(SerialError::SendFailed {
                        path: self.path.clone(),
                        cause: error,
                    });
                }
                Ok(_) | Err(_) => {
                    return Err(SerialError::NotSent {
                        path: self.path.clone(),
                        sent: bytes.len().saturating_sub(rest.len()),
                        want: bytes.len(),
                    });
                }
            }
        }
        Ok(())
    }

    /// Waits for bytes or the end. Nothing comes after [`Read::HungUp`].
    ///
    /// Cancelling this loses no byte.
    pub async fn read(&mut self) -> Read {
        let mut buffer = [0; READ];
        loop {
            if let Some(run) = self.runs.pop_front() {
                return Read::Run(run);
            }
            if let Some(reason) = &self.ended {
                return Read::HungUp(reason.clone());
            }
            let reason = match self.stream.read(&mut buffer).await {
                // Every later read would return it again, so treating it as "nothing yet" would use up a core.
                Ok(0) => "the other end is gone: unplugged, or closed".to_owned(),
                Ok(count) => {
                    let chunk = buffer.get(..count).unwrap_or_default();
                    self.runs.extend(self.marks.take(chunk));
                    continue;
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                Err(error) if Errno::from_io_error(&error) == Some(Errno::IO) => {
                    "the other end is gone: unplugged, or closed".to_owned()
                }
                Err(error) => error.to_string(),
            };
            self.runs.extend(self.marks.end());
            self.ended = Some(reason);
        }
    }
}

/// Opens the terminal for the first time and checks that no one has the lock.
///
/// This handle stays open until the crate has its own, because closing it earlier would drop DTR and raise it again. It
/// also protects another holder: a failed second opening by the crate would end the holder's exclusive use.
fn first_handle(path: &Path, device: &Metadata) -> Result<OwnedFd, SerialError> {
    let fail = |errno| from_errno(path, errno);
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
    let handle = rustix::fs::open(path, flags, Mode::empty()).map_err(|errno| match errno {
        // Held by ourselves for another instrument, or by root.
        Errno::BUSY => SerialError::Held {
            path: path.to_owned(),
            holders: holders(path, device),
        },
        other => fail(other),
    })?;
    let gone = |errno| match errno {
        // A terminal always answers, so this one has lost its other end.
        Errno::IO => SerialError::NoDevice {
            path: path.to_owned(),
        },
        other => fail(other),
    };
    match rustix::fs::flock(&handle, FlockOperation::NonBlockingLockExclusive) {
        Ok(()) => {}
        Err(Errno::WOULDBLOCK) => {
            drop(handle);
            return Err(SerialError::Held {
                path: path.to_owned(),
                holders: holders(path, device),
            });
        }
        Err(errno) => return Err(fail(errno)),
    }
    // Done first, because a new terminal echoes to the instrument what it sends.
    let mut settings = rustix::termios::tcgetattr(&handle).map_err(gone)?;
    settings.make_raw();
    rustix::termios::tcsetattr(&handle, OptionalActions::Now, &settings).map_err(gone)?;
    rustix::fs::flock(&handle, FlockOperation::Unlock).map_err(fail)?;
    Ok(handle)
}

fn open_and_set(
    path: &Path,
    config: &PortConfig,
    is_pty: bool,
) -> Result<(SerialStream, Option<Contact>), SerialError> {
    let name = path.to_string_lossy();
    let builder = serialport::new(name, config.line.baud)
        .data_bits(data_bits(config.line))
        .parity(parity(config.line))
        .stop_bits(stop_bits(config.line))
        .flow_control(tokio_serial::FlowControl::None);
    let fail = |error| from_crate(path, config.line, &error);
    let port = TTYPort::open(&builder).map_err(fail)?;
    let contact = config.contact.map(|line| (line, port.try_clone_native()));
    let mut stream = SerialStream::try_from(port).map_err(fail)?;
    let dtr = config.dtr.map(|up| stream.write_data_terminal_ready(up));
    let rts = config.rts.map(|up| stream.write_request_to_send(up));
    // A pseudo-terminal has no such lines.
    if !is_pty {
        dtr.transpose().map_err(fail)?;
        rts.transpose().map_err(fail)?;
    }
    // Begun after the lines are set: if a pedal connects two of them, setting one must not count as a press.
    let contact = contact
        .map(|(line, other)| watch(path, other.map_err(io::Error::from), line, is_pty))
        .transpose()?;
    Ok((stream, contact))
}

fn watch(
    path: &Path,
    port: io::Result<TTYPort>,
    line: ModemLine,
    is_pty: bool,
) -> Result<Contact, SerialError> {
    port.and_then(|port| Contact::watch(port, line))
        .map_err(|cause| SerialError::NoModemLines {
            path: path.to_owned(),
            line: line.name(),
            got: if is_pty {
                "it is a pseudo-terminal".to_owned()
            } else {
                cause.to_string()
            },
        })
}

fn from_crate(path: &Path, line: LineSettings, error: &tokio_serial::Error) -> SerialError {
    let path = path.to_owned();
    match error.kind() {
        ErrorKind::NoDevice => SerialError::Held {
            path,
            holders: Vec::new(),
        },
        ErrorKind::Io(io::ErrorKind::NotFound) => SerialError::NotFound { path },
        ErrorKind::InvalidInput | ErrorKind::Unknown | ErrorKind::Io(_) => {
            // The crate keeps the error number only as text.
            let says = error.to_string();
            if says == rustix_text(Errno::NODEV) || says == rustix_text(Errno::IO) {
                return SerialError::NoDevice { path };
            }
            SerialError::Refused {
                path,
                want: line.to_string(),
                got: says,
            }
        }
    }
}

/// The text that the crate uses: `No such device`.
fn rustix_text(errno: Errno) -> String {
    let text = io::Error::from(errno).to_string();
    text.split(" (os error")
        .next()
        .unwrap_or_default()
        .to_owned()
}

/// Has errors of parity and framing, and breaks, marked in the stream; otherwise they would pass as good bytes. Returns
/// the settings now in force.
fn mark_spoiled_bytes(handle: &OwnedFd) -> Result<Termios, Errno> {
    let mut settings = rustix::termios::tcgetattr(handle)?;
    settings
        .input_modes
        .insert(InputModes::INPCK | InputModes::PARMRK);
    settings
        .input_modes
        .remove(InputModes::IGNBRK | InputModes::BRKINT | InputModes::IGNPAR | InputModes::ISTRIP);
    rustix::termios::tcsetattr(handle, OptionalActions::Now, &settings)?;
    rustix::termios::tcgetattr(handle)
}

/// Checks the settings, because a driver may ignore them silently.
fn check_settings(
    path: &Path,
    want: LineSettings,
    got: &Termios,
    is_pty: bool,
) -> Result<(), SerialError> {
    // A pseudo-terminal keeps only the speed, and nothing depends on the rest there.
    let kept = LineSettings {
        baud: got.input_speed(),
        ..if is_pty { want } else { settings_of(got) }
    };
    if kept == want {
        return Ok(());
    }
    Err(SerialError::Refused {
        path: path.to_owned(),
        want: want.to_string(),
        got: format!("it stays at {kept}"),
    })
}
