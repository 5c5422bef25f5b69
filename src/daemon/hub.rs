//! The main loop: it feeds every event to the core, one at a time.
//!
//! In: announcements of the journal, signals, commands and port events. Out: entries for the journal. Clients see only
//! what was announced as durable.
//!
//! - While the journal has little room, ports and clients are not read, so memory is bounded.
//! - Announcements come first, then signals and commands, so that a flood at a port cannot delay them.

use super::answers::{AnswerTo, Waiting};
use super::change::{Changed, Changing};
use super::clock::{Alarm, Clock};
use super::folder::Folders;
use super::moving::ShownMoving;
use super::outage::{Mode, UndurableFrames, no_room};
use super::ports::Ports;
use super::reload::Reloading;
use super::sealing::Sealing;
use super::service::{self, Watchdog};
use super::signals::{self, Signals};
use super::stall::Stall;
use super::{DaemonError, VERSION};
use crate::clients::{Commander, ControlRequest, Health, Live};
use crate::config::Config;
use crate::entry::{Attached, Entry, JournalEntry, Sealed, Seq};
use crate::journal::{Announcement, Handle};
use crate::message::catalog::CatalogMessage;
use crate::message::picture::no_bytes;
use crate::message::reply::{Armed, Done, Outcome, Status, Trouble};
use crate::message::state::StationMessage;
use crate::message::{Call, ErrorObject, Notice, code};
use crate::page::Meter;
use crate::page::Programs;
use crate::page::tablet::Gate;
use crate::quantity::{MonoMicros, Now};
use crate::serial::Event;
use crate::station::{Command, Core, Input, Output};
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Instant;
use tokio::sync::mpsc::{Receiver, UnboundedReceiver};

/// Ports and clients are read only while the journal accepts this number of entries without waiting. A chunk of bytes
/// gives fewer.
const ROOM_LEAST: usize = 512;

/// The data of the main loop.
pub(super) struct Hub {
    pub(super) config_path: PathBuf,
    pub(super) config: Config,
    pub(super) clock: Clock,
    pub(super) core: Core,
    pub(super) journal: Handle,
    pub(super) live: Arc<Live>,
    pub(super) meter: Arc<Meter>,
    pub(super) ports: Ports,
    pub(super) open: BTreeMap<String, Attached>,
    pub(super) waiting: Waiting,
    pub(super) mode: Mode,
    pub(super) wake_at: Option<MonoMicros>,
    pub(super) on_their_way: UndurableFrames,
    pub(super) stall: Stall,
    pub(super) moving: ShownMoving,
    pub(super) reloading: Reloading,
    /// Access over the network.
    pub(super) gate: Option<Arc<Gate>>,
    /// The tokens of programs, if there is anything that they open.
    pub(super) programs: Option<Arc<Programs>>,
    /// Name of the token whose command is being carried out.
    pub(super) commanding: Option<String>,
    pub(super) changing: Changing,
    /// The folders that are watched for pictures.
    pub(super) folders: Folders,
    pub(super) sealing: Sealing,
    /// The last entry that was given to the journal.
    pub(super) appended: Seq,
    /// The last entry that the journal has announced as durable.
    pub(super) durable: Seq,
    /// The `started` entry. It is entered again if there was no room for it.
    pub(super) started: Seq,
}

enum Came {
    Announcement(Option<Announcement>),
    Signal(signals::SignalAction),
    Request(ControlRequest),
    Port(Arc<str>, Event),
    Loaded(Result<Box<Config>, ErrorObject>),
    Changed(Box<Changed>),
    Sealed(Option<Sealed>),
    Time,
    SignOfLife,
}

impl Hub {
    /// Runs until a signal stops it. Then everything received is durable.
    pub(super) async fn run(
        &mut self,
        announcements: &mut UnboundedReceiver<Announcement>,
        asked: &mut Receiver<ControlRequest>,
        signals: &mut Signals,
    ) -> Result<(), DaemonError> {
        let mut watchdog = Watchdog::start();
        let mut alarm = Alarm::new(self.clock).map_err(|cause| DaemonError::System {
            action: "make a timer",
            cause,
        })?;
        loop {
            self.meter.set_waiting(self.journal.waiting());
            let takes = match self.mode {
                Mode::Writing => self.journal.room() >= ROOM_LEAST,
                Mode::Full(..) => true,
                Mode::Trying(_) => false,
            };
            // While the disk does not answer, the client gets an error.
            let asks = takes || self.stall.is_announced();
            let (wake, stalls) = (self.wakes(), self.stall.due());
            let came = tokio::select! {
                biased;
                () = watchdog.due() => Came::SignOfLife,
                announcement = announcements.recv() => Came::Announcement(announcement),
                signal = signals.next() => Came::Signal(signal),
                Some(asked) = asked.recv(), if asks => Came::Request(asked),
                (instrument, event) = self.ports.next(), if takes => Came::Port(instrument, event),
                loaded = self.reloading.read(), if takes => Came::Loaded(loaded),
                changed = self.changing.made() => Came::Changed(Box::new(changed)),
                sealed = self.sealing.made() => Came::Sealed(sealed),
                () = alarm.rings(wake) => Came::Time,
                // By the clock that stands still during sleep, because a disk is not slow if the machine slept.
                () = until(stalls) => Came::Time,
            };
            match came {
                Came::Announcement(announcement) => self.announced(announcement)?,
                Came::Signal(signals::SignalAction::Stop(reason)) => {
                    return self.stop(reason, announcements).await;
                }
                Came::Signal(signals::SignalAction::Reload) => self.begin_reload(Vec::new()),
                Came::Loaded(loaded) => self.loaded(loaded),
                Came::Request(asked) => self.ask(asked.call, &asked.from, asked.answer),
                Came::Changed(changed) => self.changed(*changed),
                Came::Sealed(sealed) => self.sealed(sealed),
                Came::Port(instrument, event) => {
                    self.port(&instrument, event);
                    self.show_moving();
                }
                Came::Time => self.time(),
                Came::SignOfLife => service::lives(),
            }
        }
    }

    /// Enters that the daemon has started, and opens the ports. Returns once `started` is durable, so that no client
    /// sees ports that were open in the last run.
    pub(super) async fn start(
        &mut self,
        announcements: &mut UnboundedReceiver<Announcement>,
    ) -> Result<(), DaemonError> {
        self.say_started();
        super::reload::tell_of_left_stations(&self.core);
        self.ports.open(&self.config.ports);
        while matches!(self.mode, Mode::Writing) && self.live.last() < self.appended {
            tokio::select! {
                biased;
                announcement = announcements.recv() => self.announced(announcement)?,
                () = until(self.stall.due()) => self.look_at_stall(),
            }
        }
        Ok(())
    }

    pub(super) fn say_started(&mut self) {
        let digest = self.config.digest.clone();
        self.feed(Input::Started {
            version: VERSION,
            config_digest: &digest,
        });
        self.take_key();
    }

    pub(super) fn now(&self) -> Now {
        self.clock.now()
    }

    /// Feeds the core one input, and carries out its output.
    pub(super) fn feed(&mut self, input: Input<'_>) {
        let now = self.now();
        self.core.handle(now, input);
        self.drain();
    }

    fn drain(&mut self) {
        loop {
            match self.core.poll() {
                Output::Append(mut stamped) => {
                    stamped.token.clone_from(&self.commanding);
                    if let Mode::Full(outage, _) = &mut self.mode {
                        outage.count(&stamped.entry);
                        continue;
                    }
                    self.appended = stamped.seq;
                    if matches!(stamped.entry, Entry::Journal(JournalEntry::Started(_))) {
                        self.started = stamped.seq;
                    }
                    self.on_their_way.handed_over(&stamped);
                    if let Err(error) = self.journal.append(stamped) {
                        // The failure is being announced, and will end the loop.
                        tracing::error!(%error, "an entry was not taken");
                    }
                    self.stall.handed_over(Instant::now());
                }
                Output::Send { instrument, bytes } => {
                    if !self.ports.send(&instrument, bytes) {
                        // The core will report the missing answer.
                        tracing::warn!(instrument, "a request could not be sent");
                    }
                }
                Output::WaitUntil(moment) => {
                    self.wake_at = moment;
                    return;
                }
            }
        }
    }

    fn wakes(&self) -> Option<MonoMicros> {
        let retry = match &self.mode {
            Mode::Full(_, retry_at) => Some(*retry_at),
            Mode::Writing | Mode::Trying(_) => None,
        };
        let ended = self.moving.due();
        [self.wake_at, retry, ended].into_iter().flatten().min()
    }

    fn time(&mut self) {
        self.look_at_stall();
        let now = self.now();
        match std::mem::replace(&mut self.mode, Mode::Writing) {
            Mode::Full(outage, retry_at) if now.mono >= retry_at => {
                self.try_again(outage);
            }
            mode @ (Mode::Full(..) | Mode::Trying(_) | Mode::Writing) => self.mode = mode,
        }
        if self.wake_at.is_some_and(|moment| moment <= now.mono) {
            self.feed(Input::Woken);
        }
        self.show_moving();
    }

    pub(super) fn announced(
        &mut self,
        announcement: Option<Announcement>,
    ) -> Result<(), DaemonError> {
        match announcement {
            Some(Announcement::Durable {
                lines,
                segment_full,
                ..
            }) => {
                self.live.wake_followers();
                if let Some(last) = lines.last() {
                    self.durable = last.seq;
                    self.on_their_way.durable(last.seq);
                    self.waiting.durable(last.seq);
                }
                self.disk_answered(self.durable < self.appended);
                self.outage_is_over();
                if segment_full {
                    self.feed(Input::SegmentFull);
                }
                self.seal(&lines);
                Ok(())
            }
            Some(Announcement::Full {
                error, first_lost, ..
            }) => {
                self.disk_answered(false);
                self.full(&error, first_lost);
                Ok(())
            }
            // The first durable line after it shows that.
            Some(Announcement::Resumed { .. }) => Ok(()),
            Some(Announcement::Failed {
                error,
                first_lost,
                entries_lost,
            }) => Err(self.failed(&error, first_lost, entries_lost)),
            None => {
                let first_lost = self.live.last().following();
                Err(self.failed("the journal's thread has ended", first_lost, 0))
            }
        }
    }

    fn failed(&mut self, error: &str, first_lost: Seq, entries_lost: u64) -> DaemonError {
        let entries = if entries_lost == 1 {
            "entry"
        } else {
            "entries"
        };
        let message = format!(
            "{error}; nothing from entry {first_lost} on is announced or acknowledged any more, {entries_lost} {entries} may not be on the disk"
        );
        tracing::error!(%first_lost, "{message}");
        let remedy =
            "check the disk, then start the daemon again: it reports which entries are on the disk";
        // The daemon ends after it.
        let notice = Notice::new("journal_failed", message.clone(), Some(remedy)).ending();
        self.live.set_health(Health::Failed, &notice);
        self.waiting.refuse(&ErrorObject::new(
            code::JOURNAL_FAILED,
            message.clone(),
            Some(remedy.to_owned()),
        ));
        DaemonError::JournalFailed { message }
    }

    pub(super) fn port(&mut self, instrument: &str, event: Event) {
        match event {
            Event::Opened(attached) => {
                tracing::info!(instrument, port = %attached.port, "the port is open");
                self.live.set_trouble(instrument, None);
                self.open.insert(instrument.to_owned(), attached.clone());
                self.feed(Input::PortOpened(attached));
            }
            Event::Stale(bytes) => self.feed(Input::Stale {
                instrument,
                bytes: &bytes,
            }),
            Event::Bytes(bytes) => self.feed(Input::Bytes {
                instrument,
                bytes: &bytes,
            }),
            Event::Disturbed { holders, settings } => {
                tracing::warn!(
                    instrument,
                    ?holders,
                    ?settings,
                    "another process has the port open"
                );
                self.feed(Input::Disturbed {
                    instrument,
                    holders: &holders,
                    settings: settings.as_deref(),
                });
            }
            Event::OutOfStep { behind } => self.feed(Input::OutOfStep { instrument, behind }),
            Event::Quiet { lasted } => self.feed(Input::Quiet { instrument, lasted }),
            Event::Contact { closed } => self.feed(Input::Contact { instrument, closed }),
            Event::Spoiled(bytes) => self.feed(Input::Spoiled {
                instrument,
                bytes: &bytes,
            }),
            Event::Closed { reason } => {
                tracing::warn!(instrument, reason, "the port is gone");
                self.open.remove(instrument);
                self.feed(Input::PortClosed {
                    instrument,
                    reason: &reason,
                });
            }
            Event::Trouble { message, remedy } => {
                let help = remedy.as_deref().unwrap_or("it is tried again");
                tracing::warn!(instrument, help, "{message}");
                let trouble = Trouble {
                    instrument: instrument.to_owned(),
                    message,
                    remedy,
                };
                self.live.set_trouble(instrument, Some(&trouble));
            }
        }
    }

    fn ask(&mut self, call: Call, from: &Commander, to: AnswerTo) {
        if let Err(error) = super::tablets::may_say(from, &call) {
            let _ = to.send(Err(error));
            return;
        }
        let refused = match call {
            Call::Status => {
                let status = Status {
                    unjudged_frames: self.unjudged_frames(),
                    tablet: self.gate.as_ref().map(|gate| gate.status()),
                    ..self.live.status()
                };
                // The client may be gone.
                let _ = to.send(Ok(Outcome::Status(Box::new(status))));
                return;
            }
            Call::Catalog => {
                let catalog = Arc::clone(&self.config.catalog);
                // The message may be large, and verdicts must not wait for it.
                tokio::task::spawn_blocking(move || {
                    let catalog = CatalogMessage::new(&catalog);
                    // The client may be gone.
                    drop(to.send(Ok(Outcome::Catalog(Box::new(catalog)))));
                });
                return;
            }
            Call::Reload => {
                self.begin_reload(vec![to]);
                return;
            }
            Call::Tablet(call) => {
                self.ask_about_tablets(call, to);
                return;
            }
            Call::Token(call) => {
                self.ask_about_tokens(call, to);
                return;
            }
            Call::Setup => {
                self.say_setup(to);
                return;
            }
            Call::Change(change) => match self.begin_change(*change, to) {
                Ok(()) => return,
                Err((error, to)) => {
                    // The client may be gone.
                    let _ = to.send(Err(error));
                    return;
                }
            },
            Call::Picture(_) => no_bytes(),
            Call::Station(command) => match self.command_of(command, from) {
                Ok(outcome) => {
                    self.waiting.add(self.appended, outcome, to);
                    return;
                }
                Err(error) => error,
            },
        };
        let _ = to.send(Err(refused));
    }

    pub(super) fn command(&mut self, command: Command) -> Result<Outcome, ErrorObject> {
        self.check_room()?;
        let now = self.now();
        let answer = self.core.command(now, command).map_err(|refusal| {
            ErrorObject::new(code::REFUSED, refusal.to_string(), Some(refusal.remedy()))
        })?;
        let warning = answer.and_then(|seq| self.core.warning_of(seq));
        self.drain();
        let seq = answer.unwrap_or(self.appended);
        Ok(self.armed(seq).unwrap_or(Outcome::Done(Done {
            seq: seq.0,
            warning,
        })))
    }

    /// The answer to `arm`, if entry `seq` opened a series.
    fn armed(&self, seq: Seq) -> Option<Outcome> {
        let state = self.core.state();
        let (station, _) = state
            .stations
            .iter()
            .find(|(_, known)| known.series.as_ref().is_some_and(|series| series.id == seq))?;
        let text = StationMessage::new(state, station);
        Some(Outcome::Armed(Box::new(Armed {
            seq: seq.0,
            station: station.clone(),
            armed: *text.armed?,
            prompt: text.prompt,
        })))
    }

    pub(super) fn check_room(&self) -> Result<(), ErrorObject> {
        match &self.mode {
            Mode::Writing if self.journal.room() < ROOM_LEAST => Err(self.behind()),
            Mode::Writing => Ok(()),
            Mode::Full(outage, _) | Mode::Trying(outage) => Err(no_room(outage.reason.clone())),
        }
    }
}

pub(super) async fn until(moment: Option<Instant>) {
    match moment {
        Some(moment) => tokio::time::sleep_until(moment.into()).await,
        None => std::future::pending().await,
    }
}
