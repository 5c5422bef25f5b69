//! Scanners and pedals: from their bytes and contacts to commands.
//!
//! What the station cannot do is told by a `refused` entry: nobody sits at a keyboard to be told.

use super::card::LONGEST_CARD;
use super::flood::Flood;
use super::unread::{Folding, Run, Why};
use super::{Armable, Command, Core, Refusal, cards};
use crate::decode::framing::{Frame, Framing, Splitter};
use crate::entry::{Entry, Means, Unread};
use crate::quantity::{MonoMicros, Now};
use crate::spec::{Catalog, Errand, Signal, SignalKind};
use std::time::Duration;

/// A contact that changes again within this is bouncing.
const CONTACT_BOUNCE: Duration = Duration::from_millis(40);
/// Bytes of a pedal within this of others are of the same press.
const BYTES_BOUNCE: Duration = Duration::from_millis(200);
/// Of what was said, so much is kept.
const KEPT: usize = 200;

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
        let half_a_card = self.splitter.gives_up_at();
        half_a_card.into_iter().chain(self.unread.due_at()).min()
    }

    /// Whether something at this time is new, and not the bounce of what was before.
    fn is_new(&mut self, now: MonoMicros, bounce: Duration) -> bool {
        let before = self.last_change.replace(now);
        before.is_none_or(|before| now.since(before) >= bounce)
    }
}

/// What a signal said, in words, and the command that it means.
type Said = (String, Result<Command, Refusal>);

impl Core {
    pub(super) fn signal_bytes(&mut self, now: Now, name: &str, bytes: &[u8]) {
        let Some(live) = self.signals.get_mut(name) else {
            return;
        };
        let said: Vec<Said> = match live.signal.kind.clone() {
            SignalKind::Scanner => {
                live.splitter.push(now.mono, bytes);
                live.cards(&self.catalog)
            }
            SignalKind::Pedal { does } => {
                let pressed = live.is_new(now.mono, BYTES_BOUNCE);
                pressed
                    .then(|| errand(&does, &live.signal.station))
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
        let said = (closed && is_new).then(|| errand(does, &live.signal.station));
        self.obey(now, name, said.into_iter().collect());
    }

    /// Half a card that waits too long, or whose scanner is gone, is told as one that makes no sense.
    pub(super) fn end_signal(&mut self, now: Now, name: &str, gone: bool) {
        let Some(live) = self.signals.get_mut(name) else {
            return;
        };
        let run = if gone {
            live.unread.flush(now.mono)
        } else {
            live.unread.flush_if_due(now.mono)
        };
        if gone {
            live.splitter.end();
        } else {
            live.splitter.give_up_on_old_bytes(now.mono);
        }
        let said = live.cards(&self.catalog);
        self.tell_flood(now, name, run);
        self.obey(now, name, said);
    }

    fn obey(&mut self, now: Now, name: &str, said: Vec<Said>) {
        for (said, command) in said {
            let Some(live) = self.signals.get_mut(name) else {
                continue;
            };
            if !live.flood.takes(now.mono) {
                let run = live.unread.take(now.mono, said.as_bytes(), Why::Flood);
                self.tell_flood(now, name, run);
                continue;
            }
            let run = live.unread.flush(now.mono);
            self.tell_flood(now, name, run);
            let trusted = self.trusted_signal(name);
            let command = trusted.and(command);
            let refused = command.and_then(|command| self.command(now, command)).err();
            let (Some(refusal), Some(live)) = (refused, self.signals.get(name)) else {
                continue;
            };
            let entry = Entry::Refused {
                station: live.signal.station.clone(),
                instrument: name.to_owned(),
                said,
                reason: refusal.message,
                remedy: refusal.remedy,
            };
            self.append(now, entry);
        }
    }
}

impl Core {
    /// What was not done of a flood of cards.
    fn tell_flood(&mut self, now: Now, name: &str, run: Option<Run>) {
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
            remedy: run.reason.remedy().map(str::to_owned),
        };
        self.append(now, Entry::Unread(unread));
    }
}

impl LiveSignal {
    /// The cards that were scanned.
    fn cards(&mut self, catalog: &Catalog) -> Vec<Said> {
        let mut said = Vec::new();
        while let Some(frame) = self.splitter.poll() {
            let bytes = match frame {
                Frame::Blank { .. } => continue,
                Frame::Whole { body, .. } => body,
                Frame::Broken { raw, .. } => raw,
            };
            let text = String::from_utf8_lossy(&bytes).into_owned();
            let kept = text.chars().take(KEPT).collect();
            said.push((kept, cards::command(&text, &self.signal.station, catalog)));
        }
        said
    }
}

/// What a pedal's press means at its station.
fn errand(does: &Errand, station: &str) -> Said {
    let station = Some(station.to_owned());
    let (said, command) = match does {
        Errand::Ask => (
            "ask",
            Command::Ask {
                station,
                instrument: None,
            },
        ),
        Errand::Zero => (
            "zero",
            Command::Zero {
                station,
                instrument: None,
            },
        ),
        Errand::Retract => (
            "retract",
            Command::Retract {
                station,
                seq: None,
                reason: None,
                by: Means::Pedal,
            },
        ),
        Errand::Disarm => ("disarm", Command::Disarm { station }),
        Errand::Arm(plan) => {
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
    (format!("pedal: {said}"), Ok(command))
}
