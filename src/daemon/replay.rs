//! Feeds a tape to the core, which gives the entries that a daemon would have made.
//!
//! In: the marks of a tape. Out: entries. The core's times are those of the tape, so the same tape gives the same
//! entries at any speed and in any chunks.

use crate::decode::framing::SILENCES;
use crate::entry::{Attached, Stamped};
use crate::quantity::{MonoMicros, Now, WallMicros};
use crate::serial::BEHIND_STALE;
use crate::serial::tape::{Header, Mark, Timed};
use crate::spec::Catalog;
use crate::station::{Armable, Command, Core, Input, Output, Refusal};
use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

/// Time after the last mark, for what was still awaited.
const AFTERWARDS: Duration = Duration::from_secs(2);

/// An instrument of a catalog that is fed from a tape.
#[derive(Debug)]
pub struct Replay {
    core: Core,
    instrument: Arc<str>,
    station: String,
    line: String,
    began: WallMicros,
    now: MonoMicros,
    wake_at: Option<MonoMicros>,
    is_open: bool,
    /// Time of the last bytes, and number of silences reported since.
    last_bytes: Option<(MonoMicros, usize)>,
    entries: VecDeque<Stamped>,
}

impl Replay {
    /// A core without any history, at the time when the recording began. `None` if the catalog does not have the
    /// instrument.
    pub fn new(catalog: Arc<Catalog>, instrument: &str, header: &Header) -> Option<Self> {
        let measures = catalog.instrument(instrument).map(|known| &known.station);
        let signals = catalog.signals.iter();
        let signal = signals.filter(|known| known.name == instrument);
        let station = measures
            .or(signal.map(|known| &known.station).next())?
            .clone();
        Some(Self {
            core: Core::new(catalog, crate::entry::State::default()),
            instrument: instrument.into(),
            station,
            line: header.line.to_string(),
            began: header.at,
            now: MonoMicros(0),
            wake_at: None,
            is_open: false,
            last_bytes: None,
            entries: VecDeque::new(),
        })
    }

    /// Arms a plan at the instrument's station now.
    pub fn arm(&mut self, plan: &str) -> Result<(), Refusal> {
        let arm = Command::Arm {
            cut: true,
            station: Some(self.station.clone()),
            what: Armable::Named(plan.to_owned()),
            operator: None,
        };
        self.core.command(self.both_clocks(), arm)?;
        self.drain();
        Ok(())
    }

    /// Feeds a mark at its time. Then [`Replay::next_entry`] must be called until it returns `None`.
    pub fn feed(&mut self, timed: &Timed) {
        self.go_to(MonoMicros(timed.micros));
        let instrument = Arc::clone(&self.instrument);
        match &timed.mark {
            Mark::Opened { port } => {
                self.is_open = true;
                self.input(Input::PortOpened(Attached {
                    instrument: instrument.to_string(),
                    station: self.station.clone(),
                    port: port.clone(),
                    line: self.line.clone(),
                    identity: None,
                    socket: None,
                    ambiguous: false,
                    read_by: None, // The core knows how it is read.
                }));
            }
            Mark::Stale(bytes) => {
                self.input(Input::Stale {
                    instrument: &instrument,
                    bytes,
                });
                self.input(Input::OutOfStep {
                    instrument: &instrument,
                    behind: BEHIND_STALE,
                });
                self.last_bytes = Some((self.now, 0));
            }
            Mark::Bytes(bytes) => {
                self.input(Input::Bytes {
                    instrument: &instrument,
                    bytes,
                });
                self.last_bytes = Some((self.now, 0));
            }
            Mark::Spoiled(bytes) => {
                self.input(Input::Spoiled {
                    instrument: &instrument,
                    bytes,
                });
                self.last_bytes = Some((self.now, 0));
            }
            Mark::Contact { closed } => self.input(Input::Contact {
                instrument: &instrument,
                closed: *closed,
            }),
            Mark::Closed { reason } => {
                self.is_open = false;
                self.input(Input::PortClosed {
                    instrument: &instrument,
                    reason,
                });
            }
        }
    }

    /// Ends the tape: lets some time pass, and closes the port.
    pub fn end(&mut self) {
        self.go_to(self.now.plus(AFTERWARDS));
        if self.is_open {
            let instrument = Arc::clone(&self.instrument);
            self.is_open = false;
            self.input(Input::PortClosed {
                instrument: &instrument,
                reason: "the tape ends here",
            });
        }
    }

    /// The next entry.
    pub fn next_entry(&mut self) -> Option<Stamped> {
        self.entries.pop_front()
    }

    /// The state after all entries.
    pub fn state(&self) -> &crate::entry::State {
        self.core.state()
    }

    /// Lets time pass, and reports silences, because a tape knows when bytes came.
    fn go_to(&mut self, moment: MonoMicros) {
        while let Some((last, text)) = self.last_bytes {
            let Some(silence) = SILENCES.get(text) else {
                break;
            };
            let lasted = *silence;
            let quiet_at = last.plus(lasted);
            if quiet_at > moment {
                break;
            }
            self.last_bytes = Some((last, text + 1));
            // The silence comes first, then what is due at its end.
            self.wake_until(MonoMicros(quiet_at.0.saturating_sub(1)));
            self.now = self.now.max(quiet_at);
            let instrument = Arc::clone(&self.instrument);
            self.input(Input::Quiet {
                instrument: &instrument,
                lasted,
            });
        }
        self.wake_until(moment);
    }

    /// Wakes the core at the times that it requests.
    fn wake_until(&mut self, moment: MonoMicros) {
        while let Some(due) = self.wake_at.filter(|due| *due <= moment) {
            self.now = self.now.max(due);
            self.input(Input::Woken);
            if self.wake_at == Some(due) {
                break; // Once woken it requests the same time again, for ever.
            }
        }
        self.now = self.now.max(moment);
    }

    fn both_clocks(&self) -> Now {
        let since = i64::try_from(self.now.0).unwrap_or(i64::MAX);
        Now {
            wall: WallMicros(self.began.0.saturating_add(since)),
            mono: self.now,
        }
    }

    fn input(&mut self, input: Input<'_>) {
        self.core.handle(self.both_clocks(), input);
        self.drain();
    }

    fn drain(&mut self) {
        loop {
            match self.core.poll() {
                Output::Append(stamped) => self.entries.push_back(stamped),
                // The answers, if any, are on the tape.
                Output::Send { .. } => {}
                Output::WaitUntil(moment) => {
                    self.wake_at = moment;
                    return;
                }
            }
        }
    }
}
