//! What the operator says, by whatever means.

use super::arming::{self, refuse};
use super::completing::completed;
use super::in_hand::checked_operator;
use super::prompt::{Prompt, prompt};
use super::{Armable, Command, Core, Refusal};
use crate::entry::{Completed, Disarmed, Noted, Outcome, Seq, ZeroSaid};
use crate::quantity::Now;
use crate::spec::Plan;
use std::sync::Arc;

/// Longest note, in bytes.
const LONGEST_NOTE: usize = 4096;

pub(super) fn run(core: &mut Core, now: Now, command: Command) -> Result<(), Refusal> {
    match command {
        Command::Arm {
            station,
            what,
            operator,
            cut,
        } => {
            let station = core.station_named(station)?;
            core.arm(now, &station, what, operator.as_deref(), cut)
        }
        Command::Resume { station, by } => {
            let station = core.station_named(station)?;
            core.resume(now, &station, by)
        }
        Command::Disarm { station } => {
            let station = core.station_to_end(station)?;
            core.disarm(now, station)
        }
        Command::Retract {
            station,
            seq,
            reason,
            by,
        } => {
            let station = core.station_named(station)?;
            core.retract(now, station, seq, reason, by)
        }
        Command::Restore { station, by } => {
            let station = core.station_named(station)?;
            core.restore(now, &station, by)
        }
        Command::Operator { station, operator } => {
            let station = core.station_named(station)?;
            core.say_operator(now, station, &operator)
        }
        Command::Tool {
            station,
            tool,
            nest,
        } => {
            let station = core.station_named(station)?;
            core.take_tool(now, station, &tool, nest)
        }
        Command::Note { station, text } => {
            let station = core.station_named(station)?;
            core.note(now, station, text)
        }
        Command::Ask {
            station,
            instrument,
        } => {
            let station = core.station_named(station)?;
            core.ask(now, &station, instrument)
        }
        Command::Adapter {
            station,
            instrument,
            by,
        } => {
            let station = core.station_named(station)?;
            core.say_adapter(now, station, instrument.as_deref(), by)
        }
        Command::Zero {
            station,
            instrument,
        } => {
            let station = core.station_named(station)?;
            core.say_zero(now, station, instrument)
        }
    }
}

impl Core {
    /// The station of this name, or the only one.
    fn station_named(&self, name: Option<String>) -> Result<String, Refusal> {
        let known = &self.catalog.stations;
        let list = || known.join(", ");
        match name {
            Some(name) if known.contains(&name) => Ok(name),
            Some(name) => Err(refuse(
                format!("no station {name:?}, want one of {}", list()),
                "name a station of the configuration",
            )),
            None => match known.as_slice() {
                [only] => Ok(only.clone()),
                _ => Err(refuse(
                    format!("no station named, and there are several: {}", list()),
                    "say which one: --station NAME",
                )),
            },
        }
    }

    /// As [`Core::station_named`], or one that the configuration no longer has, with a series that is still open.
    fn station_to_end(&self, name: Option<String>) -> Result<String, Refusal> {
        let gone = |known: &&str| !self.catalog.stations.iter().any(|one| one == known);
        let left = self.state.stations.iter();
        let left: Vec<&str> = left
            .filter(|(_, station)| station.series.is_some())
            .map(|(station, _)| station.as_str())
            .filter(gone)
            .collect();
        match name {
            Some(name) if left.contains(&name.as_str()) => Ok(name),
            None if !left.is_empty() => Err(refuse(
                format!(
                    "no station named, and {} has a series open and is not in the configuration any more",
                    left.join(", ")
                ),
                "say which one: --station NAME",
            )),
            name => self.station_named(name),
        }
    }

    fn arm(
        &mut self,
        now: Now,
        station: &str,
        what: Armable,
        operator: Option<&str>,
        cut: bool,
    ) -> Result<(), Refusal> {
        let plan = self.plan(&what)?;
        let operator = operator.map(checked_operator).transpose()?;
        let known = self.state.stations.get(station);
        let operator = operator.or_else(|| known.and_then(|known| known.operator.clone()));
        let in_hand = known.and_then(|known| known.tool.as_ref());
        let mut spec = arming::arm(&self.catalog, station, plan, operator, in_hand)?;
        self.may_stop(now, station, what, cut)?;
        self.cut_short(now, station, true);
        arming::note_care(&mut spec, &self.state, now.wall);
        self.append(now, Arc::new(spec));
        Ok(())
    }

    fn plan<'a>(&'a self, what: &'a Armable) -> Result<&'a Plan, Refusal> {
        match what {
            Armable::Inline(plan) => Ok(plan),
            Armable::Named(id) => self.catalog.plan(id).ok_or_else(|| {
                let known: Vec<_> = self
                    .catalog
                    .plans
                    .iter()
                    .filter_map(|plan| plan.id.as_deref())
                    .collect();
                let near = crate::quantity::nearest(id, known.iter().copied());
                let near = near.map(|near| format!("did you mean {near}? "));
                refuse(
                    format!("no plan {id:?}, want one of {}", known.join(", ")),
                    format!("{}list them: tallyjaw plans", near.unwrap_or_default()),
                )
            }),
        }
    }

    /// Closes the open series, if there is one, before it is full.
    pub(super) fn cut_short(&mut self, now: Now, station: &str, resumable: bool) -> Option<Seq> {
        let series = self.series(station)?;
        let id = series.id;
        let completed = Completed {
            resumable,
            ..completed(series, Outcome::CutShort, now)
        };
        self.append(now, completed);
        Some(id)
    }

    fn disarm(&mut self, now: Now, station: String) -> Result<(), Refusal> {
        let Some(series) = self.cut_short(now, &station, false) else {
            return Err(nothing_armed(&station));
        };
        self.append(now, Disarmed { station, series });
        Ok(())
    }

    fn note(&mut self, now: Now, station: String, text: String) -> Result<(), Refusal> {
        checked_words("a note", &text)?;
        let known = self.state.stations.get(&station);
        let series = known.and_then(|known| known.noted_at(now.wall));
        self.append(
            now,
            Noted {
                station,
                series,
                text,
            },
        );
        Ok(())
    }

    fn say_zero(
        &mut self,
        now: Now,
        station: String,
        instrument: Option<String>,
    ) -> Result<(), Refusal> {
        let known: Vec<_> = self
            .catalog
            .instruments
            .iter()
            .filter(|known| known.station == station && known.kind.dimension().is_some())
            .map(|known| known.name.clone())
            .collect();
        let list = known.join(", ");
        let instrument = match (instrument, known.as_slice()) {
            (Some(name), _) if known.contains(&name) => name,
            (Some(name), _) => {
                let message = format!("no instrument {name:?} at {station}, want one of {list}");
                return Err(refuse(message, "name an instrument of this station"));
            }
            (None, [only]) => only.clone(),
            (None, _) => self.zero_meant(&station).ok_or_else(|| {
                let message = format!("no instrument named, and {station} has: {list}");
                refuse(message, "say which one: --instrument NAME")
            })?,
        };
        self.append(
            now,
            ZeroSaid {
                station,
                instrument,
            },
        );
        Ok(())
    }
}

impl Core {
    /// Of several instruments the one whose zero is asked for, or the only one that is armed: a card
    /// and a pedal cannot name one.
    fn zero_meant(&self, station: &str) -> Option<String> {
        if let Prompt::Zero { instrument, .. } = prompt(&self.state, station) {
            return Some(instrument);
        }
        match self.series(station)?.spec.instruments.as_slice() {
            [only] => Some(only.name.clone()),
            _ => None,
        }
    }
}

/// Words that a person says, of this kind, are kept as they are.
pub(super) fn checked_words(what: &str, text: &str) -> Result<(), Refusal> {
    if !text.trim().is_empty() && text.len() <= LONGEST_NOTE {
        return Ok(());
    }
    let message = format!(
        "got {what} of {} bytes, want 1 to {LONGEST_NOTE}",
        text.len()
    );
    let remedy = "say it in fewer words, or in several notes";
    Err(refuse(message, remedy))
}

pub(super) fn nothing_armed(station: &str) -> Refusal {
    refuse(
        format!("nothing is armed at {station}"),
        "arm a plan first: tallyjaw arm PLAN",
    )
}
