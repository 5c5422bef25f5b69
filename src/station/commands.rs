//! Carries out commands, whether they come from a card, a pedal, the page or the command line.

use super::arming;
use super::completing::completed;
use super::in_hand::checked_operator;
use super::jobs;
use super::prompt::{Prompt, prompt};
use super::qualifying;
use super::{Armable, Command, Core, Refusal};
use crate::entry::{Completed, Disarmed, Noted, Outcome, Seq, ZeroSaid};
use crate::quantity::Now;
use crate::spec::Plan;
use std::sync::Arc;

/// Longest note, in bytes.
pub(super) const LONGEST_NOTE: usize = 4096;

/// Carries out `command` and returns the number of the entry that proves it; `None` for a request, whose answer comes
/// later from the instrument.
pub(super) fn run(core: &mut Core, now: Now, command: Command) -> Result<Option<Seq>, Refusal> {
    let answer = match command {
        Command::Arm {
            station,
            what,
            operator,
            cut,
        } => {
            let station = core.station_named(station)?;
            core.arm(now, &station, what, operator.as_deref(), cut)?
        }
        Command::Resume { station, by } => {
            let station = core.station_named(station)?;
            core.resume(now, &station, by)?
        }
        Command::Disarm { station } => {
            let station = core.station_to_end(station)?;
            core.disarm(now, station)?
        }
        Command::Retract {
            station,
            seq,
            reason,
            by,
        } => {
            let station = core.station_named(station)?;
            core.retract(now, station, seq, reason, by)?
        }
        Command::Restore { station, by } => {
            let station = core.station_named(station)?;
            core.restore(now, &station, by)?
        }
        Command::Look {
            station,
            look,
            piece,
            answer,
            by,
        } => core.look(now, station, (piece, look), answer, by)?,
        Command::Pulled {
            station,
            piece,
            mode,
            by,
        } => core.pulled(now, station, piece, mode, by)?,
        Command::Picture(picture) => core.picture(now, picture)?,
        Command::PictureRefused(refused) => core.append(now, refused),
        Command::Operator { station, operator } => {
            let station = core.station_named(station)?;
            core.set_operator(now, station, &operator)?
        }
        Command::Tool {
            station,
            tool,
            nest,
        } => {
            let station = core.station_named(station)?;
            core.take_tool(now, station, &tool, nest)?
        }
        Command::Job { station, job } => core.say_job(now, station, job)?,
        Command::Lot {
            station,
            material,
            lot,
        } => {
            let station = core.station_named(station)?;
            core.say_lot(now, station, material, lot.as_deref())?
        }
        Command::Crimps {
            station,
            crimps,
            by,
        } => core.count_crimps(now, station, crimps, by)?,
        Command::Settle { station, what } => core.settle(now, station, what)?,
        Command::Note { station, text } => core.note(now, station, text)?,
        Command::Ask {
            station,
            instrument,
        } => {
            let station = core.station_named(station)?;
            core.ask(now, &station, instrument)?;
            return Ok(None);
        }
        Command::Adapter {
            station,
            instrument,
            by,
        } => {
            let station = core.station_named(station)?;
            core.confirm_adapter(now, station, instrument.as_deref(), by)?
        }
        Command::Zero {
            station,
            instrument,
        } => {
            let station = core.station_named(station)?;
            core.announce_zero(now, station, instrument)?
        }
    };
    Ok(Some(answer))
}

impl Core {
    /// The station of this name; without a name, the only station.
    pub(super) fn station_named(&self, name: Option<String>) -> Result<String, Refusal> {
        let known = &self.catalog.stations;
        match (name, known.as_slice()) {
            (Some(name), _) if known.contains(&name) => Ok(name),
            (Some(got), _) => Err(Refusal::NoStation {
                got,
                known: known.clone(),
            }),
            (None, [only]) => Ok(only.clone()),
            (None, _) => Err(Refusal::WhichStation {
                known: known.clone(),
            }),
        }
    }

    /// As [`Core::station_named`], but also finds a station that was removed from the configuration while its series is
    /// open, so that the series can be closed.
    fn station_to_end(&self, name: Option<String>) -> Result<String, Refusal> {
        let gone = |known: &&String| !self.catalog.stations.contains(known);
        let left = self.state.stations.iter();
        let left: Vec<String> = left
            .filter(|(_, station)| station.series.is_some())
            .map(|(station, _)| station)
            .filter(gone)
            .cloned()
            .collect();
        match name {
            Some(name) if left.contains(&name) => Ok(name),
            None if !left.is_empty() => Err(Refusal::WhichLeftStation { left }),
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
    ) -> Result<Seq, Refusal> {
        let plan = self.plan(&what)?;
        let operator = operator.map(checked_operator).transpose()?;
        let known = self.state.stations.get(station);
        let operator = operator.or_else(|| known.and_then(|known| known.operator.clone()));
        let in_hand = known.and_then(|known| known.tool.as_ref());
        jobs::all_said(plan, known, operator.as_deref())?;
        let mut spec = arming::arm(&self.catalog, station, plan, operator, in_hand)?;
        jobs::add(&mut spec, &self.catalog, known);
        if let Armable::Named(plan) = &what {
            spec.sample = self.catalog.sample_of(plan);
        }
        qualifying::require(&mut spec, &self.catalog, &self.state, now.wall)?;
        self.may_stop(now, station, what, cut)?;
        self.cut_short(now, station, true);
        arming::note_care(&mut spec, &self.state, now.wall);
        Ok(self.append(now, Arc::new(spec)))
    }

    fn plan<'a>(&'a self, what: &'a Armable) -> Result<&'a Plan, Refusal> {
        match what {
            Armable::Inline(plan) => Ok(plan),
            Armable::Named(id) => self.catalog.plan(id).ok_or_else(|| {
                let plans = self.catalog.plans.iter();
                Refusal::NoPlan {
                    got: id.clone(),
                    known: plans.filter_map(|plan| plan.id.clone()).collect(),
                }
            }),
        }
    }

    /// Stops the open series early, if there is one. `resumable`: it may be opened again by [`Core::resume`].
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

    fn disarm(&mut self, now: Now, station: String) -> Result<Seq, Refusal> {
        let Some(series) = self.cut_short(now, &station, false) else {
            return Err(Refusal::NothingArmed { station });
        };
        Ok(self.append(now, Disarmed { station, series }))
    }

    fn note(&mut self, now: Now, station: Option<String>, text: String) -> Result<Seq, Refusal> {
        let station = self.station_named(station)?;
        checked_words("a note", &text)?;
        let known = self.state.stations.get(&station);
        let series = known.and_then(|known| known.noted_at(now.wall));
        let noted = Noted {
            station,
            series,
            text,
        };
        Ok(self.append(now, noted))
    }

    fn announce_zero(
        &mut self,
        now: Now,
        station: String,
        instrument: Option<String>,
    ) -> Result<Seq, Refusal> {
        let known = self.catalog.instruments.iter();
        let known: Vec<_> = known
            .filter(|known| known.station == station && known.kind.dimension().is_some())
            .map(|known| known.name.clone())
            .collect();
        let instrument = match (instrument, known.as_slice()) {
            (Some(name), _) if known.contains(&name) => name,
            (Some(got), _) => {
                return Err(Refusal::NoInstrument {
                    got,
                    station,
                    known,
                });
            }
            (None, [only]) => only.clone(),
            (None, _) => match self.zero_due_or_only(&station) {
                Some(meant) => meant,
                None => return Err(Refusal::WhichInstrument { station, known }),
            },
        };
        let said = ZeroSaid {
            station,
            instrument,
        };
        Ok(self.append(now, said))
    }
}

impl Core {
    /// Which of several instruments a zero is for, when a card or pedal cannot name one: the one whose zero is due, or
    /// the only one of the open series.
    fn zero_due_or_only(&self, station: &str) -> Option<String> {
        if let Prompt::Zero { instrument, .. } = prompt(&self.state, station) {
            return Some(instrument);
        }
        match self.series(station)?.spec.instruments.as_slice() {
            [only] => Some(only.name.clone()),
            _ => None,
        }
    }
}

/// Refuses words without content or beyond [`LONGEST_NOTE`]. `what` names them in the refusal: a note, a reason.
pub(super) fn checked_words(what: &'static str, text: &str) -> Result<(), Refusal> {
    match (text.trim(), text.len()) {
        ("", _) => Err(Refusal::NoWords { what }),
        (_, got) if got > LONGEST_NOTE => Err(Refusal::Words { what, got }),
        (_, _) => Ok(()),
    }
}
