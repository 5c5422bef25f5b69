//! Whether an instrument still has its own adapter, and whether values from its port may count.
//!
//! - The first adapter of an instrument is accepted. Another one counts only after a person has confirmed it: names
//!   such as /dev/ttyUSB0 depend on the order of plugging in, so its values may belong to another station.
//! - While another program reads the same port, bytes may be missing. The rest of a frame could look like a value, so
//!   nothing counts.

use super::{Core, Refusal};
use crate::entry::state::InstrumentState;
use crate::entry::{AdapterChanged, AdapterSaid, Disturbed, Doubted, Means, NotCounted, Seq};
use crate::quantity::Now;

impl Core {
    /// Appends an entry if the port has another adapter than before. Call it after `attached` was appended.
    pub(super) fn append_adapter_change(&mut self, now: Now, instrument: &str) {
        let known = self.state.instruments.get(instrument);
        let Some((known, (was, is))) = known.and_then(|known| Some((known, known.another()?)))
        else {
            return;
        };
        let changed = AdapterChanged {
            station: known.station.clone(),
            instrument: instrument.to_owned(),
            was,
            is,
        };
        self.append(now, changed);
    }

    /// Appends that other programs have the port open too, or have changed its settings.
    pub(super) fn disturbed(
        &mut self,
        now: Now,
        name: &str,
        holders: &[String],
        settings: Option<&str>,
    ) {
        let Some(station) = self.station_of(name).map(str::to_owned) else {
            return;
        };
        let disturbed = Disturbed {
            station,
            instrument: name.to_owned(),
            holders: holders.to_vec(),
            settings: settings.map(str::to_owned),
        };
        self.append(now, disturbed);
    }

    /// Why no value from this port counts now, with a hint for the operator; `None` if values count.
    pub(super) fn why_distrusted(&self, instrument: &str) -> Option<(NotCounted, String)> {
        let known = self.state.instruments.get(instrument)?;
        if let Some((was, is)) = known.another() {
            let hint = format!(
                "{instrument} has another adapter than before: it was {was}, it is {is}; check that it is the right one, then confirm it"
            );
            return Some((NotCounted::AnotherAdapter, hint));
        }
        (!known.rivals.is_empty()).then(|| {
            let hint = format!(
                "{} also reads the port of {instrument}: close it",
                known.rivals.join(" and ")
            );
            (NotCounted::PortShared, hint)
        })
    }

    /// Confirms the adapter that is now on the port of `instrument`.
    pub(super) fn confirm_adapter(
        &mut self,
        now: Now,
        station: String,
        instrument: Option<&str>,
        by: Means,
    ) -> Result<Seq, Refusal> {
        let others: Vec<(&String, String)> = self
            .state
            .instruments
            .iter()
            .filter(|(_, known)| known.station == station)
            .filter_map(|(name, known)| Some((name, known.another()?.1)))
            .collect();
        let named = |name: &String| instrument.is_none_or(|wanted| wanted == name);
        let meant: Vec<_> = others.iter().filter(|(name, _)| named(name)).collect();
        let (name, adapter) = match (meant.as_slice(), instrument) {
            ([(name, adapter)], _) => ((*name).clone(), adapter.clone()),
            ([], Some(name)) => {
                let instrument = name.to_owned();
                return Err(Refusal::SameAdapter {
                    instrument,
                    station,
                });
            }
            ([], None) => return Err(Refusal::SameAdapters { station }),
            (_, _) => {
                return Err(Refusal::WhichAdapter {
                    station,
                    instruments: meant.iter().map(|(other, _)| (*other).clone()).collect(),
                });
            }
        };
        let doubted = self.doubt_unvouched(&station, &name);
        let said = AdapterSaid {
            station,
            instrument: name,
            adapter,
            by,
        };
        let seq = self.append(now, said);
        if let Some(doubted) = doubted {
            self.append(now, doubted);
        }
        Ok(seq)
    }

    /// The readings for which no zero has vouched yet. They are doubted when the adapter changes, because the next zero
    /// may be another instrument's.
    fn doubt_unvouched(&self, station: &str, instrument: &str) -> Option<Doubted> {
        let series = self.series(station)?;
        let policy = &series.spec.zero;
        let zeros = policy.before_first
            || policy.closing
            || policy.every.is_some()
            || policy.every_pieces.is_some();
        let readings = series.unvouched(instrument);
        (zeros && !readings.is_empty()).then(|| Doubted {
            station: station.to_owned(),
            series: series.id,
            readings,
            reason: format!(
                "the adapter of {instrument} was exchanged before a good zero vouched for these readings"
            ),
        })
    }

    /// Refuses cards and pedal presses while this port has an adapter that nobody confirmed: it may belong to another
    /// station.
    pub(super) fn refuse_distrusted_signal(&self, name: &str) -> Result<(), Refusal> {
        let known = self.state.instruments.get(name);
        match known.and_then(InstrumentState::another) {
            None => Ok(()),
            Some((was, is)) => Err(Refusal::AnotherAdapter {
                name: name.to_owned(),
                was,
                is,
            }),
        }
    }
}
