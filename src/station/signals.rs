//! Scanners and pedals: from their bytes and contacts to commands.
//!
//! A card that an unplug or a fault cut short is unread, and nothing happens: half a card is another card.
//! A command that the station refuses becomes a `refused` entry, since nobody sits at a keyboard to read an answer.

use super::card::LONGEST_CARD;
use super::flood::Flood;
use super::unread::{Folding, UnreadRun, Why};
use super::{Armable, Command, Core, Refusal, cards};
use crate::decode::DecodeError;
use crate::decode::framing::{Frame, Framing, Splitter};
use crate::entry::{Means, Refused, Unread};
use crate::quantity::{MonoMicros, Now};
use crate::spec::{Catalog, PedalAction, Signal, SignalKind};
use std::time::Duration;

/// A contact that changes again within this is bouncing.
const CONTACT_BOUNCE: Duration = Duration::from_millis(40);
/// Bytes of a pedal within this of others are of the same press.
const BYTES_BOUNCE: Duration = Duration::from_millis(200);
/// Of what was said, so much is kept.
const KEPT: usize = 200;
/// What to do about a card that is unread.
const REMEDY: &str = "scan the card again; if it happens again, have the scanner send CR behind each card, or say `line_end = false` of it";

/// What ended the bytes in hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    /// Only the ends that the splitter found.
    Line,
    Silence,
    /// The scanner is gone.
    Gone,
}

/// What is remembered of a scanner or pedal between two inputs.
#[derive(Debug)]
pub(super) struct LiveSignal {
    signal: Signal,
    splitter: Splitter,
    last_change: Option<MonoMicros>,
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
        self.unread.due_at()
    }

    /// Whether something at this time is new, and not the bounce of what was before.
    fn is_new(&mut self, now: MonoMicros, bounce: Duration) -> bool {
        let before = self.last_change.replace(now);
        before.is_none_or(|before| now.since(before) >= bounce)
    }
}

/// The text of a card or action of a pedal with its command, or bytes without meaning.
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
        };
        self.obey(now, name, said);
    }

    pub(super) fn contact(&mut self, now: Now, name: &str, closed: bool) {
        let Some(live) = self.signals.get_mut(name) else {
            return;
        };
        let is_new = live.is_new(now.mono, CONTACT_BOUNCE);
        let SignalKind::Pedal { does } = &live.signal.kind else {
            return;
        };
        let said = (closed && is_new).then(|| said_by_pedal(does, &live.signal.station));
        self.obey(now, name, said.into_iter().collect());
    }

    /// Bytes that the line spoiled: a card with one is unread, and of a pedal they are no press.
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
            SignalKind::Pedal { .. } => {}
        }
    }

    /// What comes next may be the rest of a card.
    pub(super) fn signal_out_of_step(&mut self, now: Now, name: &str, behind: &'static str) {
        let Some(live) = self.signals.get_mut(name) else {
            return;
        };
        live.splitter.lose(now.mono, behind);
        let said = live.cards(&self.catalog, End::Line);
        self.obey(now, name, said);
    }

    /// A silence ends a card where the scanner sends no line end; elsewhere the rest is missing.
    pub(super) fn signal_quiet(&mut self, now: Now, name: &str, lasted: Duration) {
        let Some(live) = self.signals.get_mut(name) else {
            return;
        };
        live.splitter.silent_for(lasted);
        let said = live.cards(&self.catalog, End::Silence);
        self.obey(now, name, said);
    }

    /// The scanner is gone: what is left of a card will never be whole.
    pub(super) fn end_signal(&mut self, now: Now, name: &str) {
        let Some(live) = self.signals.get_mut(name) else {
            return;
        };
        live.splitter.end();
        let said = live.cards(&self.catalog, End::Gone);
        self.obey(now, name, said);
        if let Some(live) = self.signals.get_mut(name) {
            let run = live.unread.flush(now.mono);
            self.tell_unread_cards(now, name, run);
        }
    }

    /// Enters what is due of unread cards.
    pub(super) fn wake_signal(&mut self, now: Now, name: &str) {
        if let Some(live) = self.signals.get_mut(name) {
            let run = live.unread.flush_if_due(now.mono);
            self.tell_unread_cards(now, name, run);
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
                    self.tell_unread_cards(now, name, run);
                    continue;
                }
            };
            if !live.flood.takes(now.mono) {
                let run = live.unread.take(now.mono, said.as_bytes(), Why::Flood);
                self.tell_unread_cards(now, name, run);
                continue;
            }
            let run = live.unread.flush(now.mono);
            self.tell_unread_cards(now, name, run);
            let trusted = self.trusted_signal(name);
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
    /// Cards that could not be read, and what was not done of a flood of them.
    fn tell_unread_cards(&mut self, now: Now, name: &str, run: Option<UnreadRun>) {
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
                Why::Undecoded(_) => Some(REMEDY.to_owned()),
                Why::Flood => run.reason.remedy().map(str::to_owned),
            },
        };
        self.append(now, unread);
    }
}

impl LiveSignal {
    /// The cards that were scanned, those without a line end at the `end` of what came.
    fn cards(&mut self, catalog: &Catalog, end: End) -> Vec<Said> {
        let silence_ends = match &self.signal.kind {
            SignalKind::Scanner { line_end } => !line_end && end == End::Silence,
            SignalKind::Pedal { .. } => false,
        };
        let mut said = Vec::new();
        while let Some(frame) = self.splitter.poll() {
            let bytes = match frame {
                Frame::Blank { .. } => continue,
                Frame::Whole { body, .. } => body,
                Frame::Broken {
                    raw,
                    reason: DecodeError::CutShort { .. },
                } if silence_ends => raw,
                Frame::Broken { raw, reason } => {
                    said.push(Said::Unread { raw, reason });
                    continue;
                }
            };
            let text = String::from_utf8_lossy(&bytes).into_owned();
            let kept = text.chars().take(KEPT).collect();
            let command = cards::command(&text, &self.signal.station, catalog);
            said.push(Said::Command(kept, command));
        }
        said
    }
}

/// What a pedal's press means at its station.
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
