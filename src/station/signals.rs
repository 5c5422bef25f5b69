//! Turns bytes and contacts of scanners and pedals into commands, and those of counters into crimps.
//!
//! A card that an unplug or a fault cut short is entered as unread and does nothing, because half a card can look like
//! another card. A command that the station refuses becomes a `refused` entry, since nobody waits at a keyboard for the
//! answer.

use super::card::LONGEST_CARD;
use super::counted::Counted;
use super::flood::Flood;
use super::unread::{Folding, UnreadRun, Why};
use super::{Armable, Command, Core, Refusal, cards};
use crate::decode::DecodeError;
use crate::decode::framing::{Frame, Framing, Splitter};
use crate::entry::{Means, Refused, Unread};
use crate::quantity::{MonoMicros, Now};
use crate::spec::{Catalog, PedalAction, Signal, SignalKind};
use std::time::Duration;

/// A contact that changes again within this time is bouncing.
const CONTACT_BOUNCE: Duration = Duration::from_millis(40);
/// Bytes of a pedal within this time of others belong to the same press.
const BYTES_BOUNCE: Duration = Duration::from_millis(200);
/// Of an unread card's text, this number of bytes is kept.
const KEPT: usize = 200;
/// Remedy for an unread card.
const REMEDY: &str = "scan the card again; if it happens again, set the scanner to send CR after each card, or set `line_end = false`";

/// Remedy for bytes of a counter that are no line.
const COUNTER_REMEDY: &str = "count that crimp by hand if it was one: tj/crimps/1; check `line` of the counter and its cable";

/// What may end a card in the bytes at hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    /// Line ends only.
    Line,
    Silence,
    /// The scanner was unplugged.
    Gone,
}

/// State of one scanner or pedal that is not in the journal, so a restart loses it.
#[derive(Debug)]
pub(super) struct LiveSignal {
    signal: Signal,
    splitter: Splitter,
    last_change: Option<MonoMicros>,
    counted: Counted,
    unread: Folding,
    flood: Flood,
}

impl LiveSignal {
    pub(super) fn new(signal: &Signal) -> Self {
        Self {
            signal: signal.clone(),
            splitter: Splitter::new(Framing::Delimited {
                longest: LONGEST_CARD,
            }),
            last_change: None,
            counted: Counted::default(),
            unread: Folding::default(),
            flood: Flood::default(),
        }
    }

    pub(super) fn is_of(&self, signal: &Signal) -> bool {
        self.signal == *signal
    }

    pub(super) fn station(&self) -> &str {
        &self.signal.station
    }

    pub(super) fn waits_until(&self) -> Option<MonoMicros> {
        let due = self
            .unread
            .due_at()
            .into_iter()
            .chain(self.counted.due_at());
        due.min()
    }

    /// The crimps that are counted and not entered yet.
    pub(super) const fn counted(&mut self) -> &mut Counted {
        &mut self.counted
    }

    /// Whether an event at this time is a new one and not a bounce of the last.
    fn is_new(&mut self, now: MonoMicros, bounce: Duration) -> bool {
        let before = self.last_change.replace(now);
        before.is_none_or(|before| now.since(before) >= bounce)
    }
}

/// What a scanner or pedal sent: a command with its text, or bytes that cannot be read.
enum Said {
    Command(String, Result<Command, Refusal>),
    Unread { raw: Vec<u8>, reason: DecodeError },
}

impl Core {
    pub(super) fn signal_bytes(&mut self, now: Now, name: &str, bytes: &[u8]) {
        let Some(live) = self.signals.get_mut(name) else {
            return;
        };
        let said: Vec<Said> = match live.signal.kind.clone() {
            SignalKind::Scanner { .. } => {
                live.splitter.push_read(now.mono, bytes);
                live.cards(&self.catalog, End::Line)
            }
            SignalKind::Pedal { does } => {
                let pressed = live.is_new(now.mono, BYTES_BOUNCE);
                pressed
                    .then(|| said_by_pedal(&does, &live.signal.station))
                    .into_iter()
                    .collect()
            }
            SignalKind::Counter => {
                live.splitter.push_read(now.mono, bytes);
                live.counts()
            }
        };
        self.obey(now, name, said);
        self.enter_counted(now, name);
    }

    pub(super) fn contact(&mut self, now: Now, name: &str, closed: bool) {
        let Some(live) = self.signals.get_mut(name) else {
            return;
        };
        let is_new = live.is_new(now.mono, CONTACT_BOUNCE);
        match &live.signal.kind {
            SignalKind::Pedal { does } => {
                let said = (closed && is_new).then(|| said_by_pedal(does, &live.signal.station));
                self.obey(now, name, said.into_iter().collect());
            }
            SignalKind::Counter => {
                live.counted.add(u32::from(closed && is_new));
                self.enter_counted(now, name);
            }
            SignalKind::Scanner { .. } => {}
        }
    }

    /// Takes bytes with line errors. A card that contains one is unread; from a pedal they are no press.
    pub(super) fn signal_spoiled(&mut self, now: Now, name: &str, bytes: &[u8]) {
        let Some(live) = self.signals.get_mut(name) else {
            return;
        };
        match live.signal.kind {
            SignalKind::Scanner { .. } => {
                live.splitter.push_spoiled_read(now.mono, bytes);
                let said = live.cards(&self.catalog, End::Line);
                self.obey(now, name, said);
            }
            SignalKind::Counter => {
                live.splitter.push_spoiled_read(now.mono, bytes);
                let said = live.counts();
                self.obey(now, name, said);
                self.enter_counted(now, name);
            }
            SignalKind::Pedal { .. } => {}
        }
    }

    /// Bytes of a scanner were lost: its next ones may be the rest of a card.
    pub(super) fn signal_out_of_step(&mut self, now: Now, name: &str, behind: &'static str) {
        let Some(live) = self.signals.get_mut(name) else {
            return;
        };
        live.splitter.lose(now.mono, behind);
        let said = live.said(&self.catalog, End::Line);
        self.obey(now, name, said);
    }

    /// Takes a silence. It ends a card if the scanner is set up without line ends; otherwise a rest of a card is
    /// unread.
    pub(super) fn signal_quiet(&mut self, now: Now, name: &str, lasted: Duration) {
        let Some(live) = self.signals.get_mut(name) else {
            return;
        };
        live.splitter.silent_for(lasted);
        let said = live.said(&self.catalog, End::Silence);
        self.obey(now, name, said);
    }

    /// Enters the rest of a card as unread: the scanner is gone, so it will never be complete.
    pub(super) fn end_signal(&mut self, now: Now, name: &str) {
        let Some(live) = self.signals.get_mut(name) else {
            return;
        };
        live.splitter.end();
        let said = live.said(&self.catalog, End::Gone);
        self.obey(now, name, said);
        self.enter_all_counted(now, name);
        if let Some(live) = self.signals.get_mut(name) {
            let run = live.unread.flush(now.mono);
            self.append_unread_cards(now, name, run);
        }
    }

    /// Enters unread cards that are due.
    pub(super) fn wake_signal(&mut self, now: Now, name: &str) {
        if let Some(live) = self.signals.get_mut(name) {
            let run = live.unread.flush_if_due(now.mono);
            self.append_unread_cards(now, name, run);
            self.enter_counted(now, name);
        }
    }

    fn obey(&mut self, now: Now, name: &str, said: Vec<Said>) {
        for said in said {
            let Some(live) = self.signals.get_mut(name) else {
                continue;
            };
            let (said, command) = match said {
                Said::Command(said, command) => (said, command),
                Said::Unread { raw, reason } => {
                    let run = live.unread.take(now.mono, &raw, Why::Undecoded(reason));
                    self.append_unread_cards(now, name, run);
                    continue;
                }
            };
            if !live.flood.takes(now.mono) {
                let run = live.unread.take(now.mono, said.as_bytes(), Why::Flood);
                self.append_unread_cards(now, name, run);
                continue;
            }
            let run = live.unread.flush(now.mono);
            self.append_unread_cards(now, name, run);
            let trusted = self.refuse_distrusted_signal(name);
            let command = trusted.and(command);
            let refused = command.and_then(|command| self.command(now, command)).err();
            let (Some(refusal), Some(live)) = (refused, self.signals.get(name)) else {
                continue;
            };
            let entry = Refused {
                station: live.signal.station.clone(),
                instrument: name.to_owned(),
                said,
                reason: refusal.to_string(),
                remedy: Some(refusal.remedy()),
            };
            self.append(now, entry);
        }
    }
}

impl Core {
    /// Enters cards that could not be read, and the number of those that a flood caused to be ignored.
    fn append_unread_cards(&mut self, now: Now, name: &str, run: Option<UnreadRun>) {
        let (Some(run), Some(live)) = (run, self.signals.get(name)) else {
            return;
        };
        let unread = Unread {
            station: live.signal.station.clone(),
            instrument: name.to_owned(),
            raw: run.raw,
            bytes: run.bytes,
            times: run.times,
            reason: run.reason.to_string(),
            remedy: match run.reason {
                Why::Undecoded(_) if live.signal.kind == SignalKind::Counter => {
                    Some(COUNTER_REMEDY.to_owned())
                }
                Why::Undecoded(_) => Some(REMEDY.to_owned()),
                Why::Flood => run.reason.remedy().map(str::to_owned),
            },
        };
        self.append(now, unread);
    }
}

impl LiveSignal {
    /// What the device has sent: the cards of a scanner, or the unreadable bytes of a counter.
    fn said(&mut self, catalog: &Catalog, end: End) -> Vec<Said> {
        match self.signal.kind {
            SignalKind::Counter => self.counts(),
            SignalKind::Scanner { .. } | SignalKind::Pedal { .. } => self.cards(catalog, end),
        }
    }

    /// Counts the lines of a counter; each is a crimp, whatever it says.
    fn counts(&mut self) -> Vec<Said> {
        let mut said = Vec::new();
        while let Some(frame) = self.splitter.poll() {
            match frame {
                Frame::Blank { .. } => {}
                Frame::Whole { .. } => self.counted.add(1),
                Frame::Broken { raw, reason } => said.push(Said::Unread { raw, reason }),
            }
        }
        said
    }

    /// Splits bytes into cards. `end` says what ends a card without a line end.
    fn cards(&mut self, catalog: &Catalog, end: End) -> Vec<Said> {
        let silence_ends = match &self.signal.kind {
            SignalKind::Scanner { line_end } => !line_end && end == End::Silence,
            SignalKind::Pedal { .. } | SignalKind::Counter => false,
        };
        let mut said = Vec::new();
        while let Some(frame) = self.splitter.poll() {
            match frame {
                Frame::Blank { .. } => continue,
                Frame::Whole { .. } => {}
                Frame::Broken {
                    reason: DecodeError::CutShort { .. },
                    ..
                } if silence_ends => {}
                Frame::Broken { raw, reason } => {
                    said.push(Said::Unread { raw, reason });
                    continue;
                }
            }
            let text = String::from_utf8_lossy(frame.body()).into_owned();
            let kept = text.chars().take(KEPT).collect();
            let command = cards::command(&text, &self.signal.station, catalog);
            said.push(Said::Command(kept, command));
        }
        said
    }
}

/// The command that a pedal's press gives at its station.
fn said_by_pedal(does: &PedalAction, station: &str) -> Said {
    let station = Some(station.to_owned());
    let (said, command) = match does {
        PedalAction::Ask => (
            "ask",
            Command::Ask {
                station,
                instrument: None,
            },
        ),
        PedalAction::Zero => (
            "zero",
            Command::Zero {
                station,
                instrument: None,
            },
        ),
        PedalAction::Retract => (
            "retract",
            Command::Retract {
                station,
                seq: None,
                reason: None,
                by: Means::Pedal,
            },
        ),
        PedalAction::Disarm => ("disarm", Command::Disarm { station }),
        PedalAction::Arm(plan) => {
            let what = Armable::Named(plan.clone());
            (
                "arm",
                Command::Arm {
                    station,
                    what,
                    operator: None,
                    cut: false,
                },
            )
        }
    };
    Said::Command(format!("pedal: {said}"), Ok(command))
}
