//! From the bytes of an instrument to zero frames and readings.

use super::capture::Captured;
use super::unread::Why;
use super::{Core, Reception, unread, zero};
use crate::decode::Decoded;
use crate::entry::state::SeriesState;
use crate::entry::{Doubted, Unread, ZeroRole, Zeroed};
use crate::quantity::Now;
use std::sync::Arc;
use std::time::Duration;

impl Core {
    pub(super) fn bytes(&mut self, now: Now, instrument: &str, bytes: &[u8]) {
        if self.signals.contains_key(instrument) {
            self.signal_bytes(now, instrument, bytes);
            return;
        }
        self.with_decoder(now, instrument, |live| {
            live.watcher.push(now.mono, bytes, false);
            live.decoder.push_read(now.mono, bytes);
        });
    }

    /// As [`Core::bytes`], for bytes that the line spoiled.
    pub(super) fn spoiled(&mut self, now: Now, instrument: &str, bytes: &[u8]) {
        if self.signals.contains_key(instrument) {
            self.signal_spoiled(now, instrument, bytes);
            return;
        }
        self.with_decoder(now, instrument, |live| {
            live.watcher.push(now.mono, bytes, true);
            live.decoder.push_spoiled_read(now.mono, bytes);
        });
    }

    /// Bytes of an instrument were lost: its next ones may be the rest of a frame.
    pub(super) fn out_of_step(&mut self, now: Now, instrument: &str, behind: &'static str) {
        if self.signals.contains_key(instrument) {
            self.signal_out_of_step(now, instrument, behind);
            return;
        }
        self.with_decoder(now, instrument, |live| live.decoder.lose(now.mono, behind));
    }

    /// An instrument was silent for `lasted`.
    pub(super) fn quiet(&mut self, now: Now, instrument: &str, lasted: Duration) {
        if self.signals.contains_key(instrument) {
            self.signal_quiet(now, instrument, lasted);
            return;
        }
        self.with_decoder(now, instrument, |live| live.decoder.silent_for(lasted));
    }

    /// Ends the frame in hand: no more bytes will come.
    pub(super) fn end_bytes(&mut self, now: Now, instrument: &str) {
        self.with_decoder(now, instrument, |live| live.decoder.end());
        if let Some(live) = self.live.get_mut(instrument) {
            let run = live.unread.flush(now.mono);
            self.append_unread(now, instrument, run);
        }
    }

    pub(super) fn wake(&mut self, now: Now) {
        let due = |live: &Reception| live.waits_until().is_some_and(|at| at <= now.mono);
        let names: Vec<_> = self
            .live
            .iter()
            .filter(|(_, live)| due(live))
            .map(|(name, _)| name.clone())
            .collect();
        for name in names {
            if let Some(live) = self.live.get_mut(&name) {
                let run = live.unread.flush_if_due(now.mono);
                self.append_unread(now, &name, run);
            }
            self.wake_asking(now, &name);
        }
        let names: Vec<_> = self.signals.keys().cloned().collect();
        for name in names {
            self.wake_signal(now, &name);
        }
    }

    fn with_decoder(&mut self, now: Now, instrument: &str, step: impl FnOnce(&mut Reception)) {
        let Some(live) = self.live.get_mut(instrument) else {
            return;
        };
        step(live);
        while let Some(decoded) = self
            .live
            .get_mut(instrument)
            .and_then(|live| live.decoder.poll())
        {
            self.decoded(now, instrument, decoded);
        }
    }

    fn decoded(&mut self, now: Now, instrument: &str, decoded: Decoded) {
        let Some(live) = self.live.get_mut(instrument) else {
            return;
        };
        match decoded {
            // A terminator without a frame carries no information.
            Decoded::Blank { .. } => {}
            Decoded::Undecoded { raw, reason } => {
                let why = if live.flood.lasts(now.mono) {
                    Why::Flood
                } else {
                    Why::Undecoded(reason)
                };
                let run = live.unread.take(now.mono, &raw, why);
                self.append_unread(now, instrument, run);
            }
            Decoded::Value { value, origin, raw } => {
                // Of a stream only captured values are entered, and they are few. So its values use up the flood limit
                // only while unread bytes wait.
                let is_entered = !live.capturing.streams() || live.unread.is_running();
                let flooded = is_entered && !live.flood.takes(now.mono);
                if flooded && !live.capturing.streams() {
                    let run = live.unread.take(now.mono, &raw, Why::Flood);
                    self.append_unread(now, instrument, run);
                    return;
                }
                if !flooded {
                    let run = live.unread.flush(now.mono);
                    self.append_unread(now, instrument, run);
                }
                self.understood(instrument);
                self.decoded_value(now, instrument, value, origin, raw);
            }
        }
    }

    fn append_unread(&mut self, now: Now, instrument: &str, run: Option<unread::UnreadRun>) {
        let Some(run) = run else {
            return;
        };
        let Some(live) = self.live.get_mut(instrument) else {
            return;
        };
        let format = self
            .catalog
            .instrument(instrument)
            .map(|known| known.format);
        let advice = format
            .filter(|_| run.reason != Why::Flood)
            .and_then(|format| live.watcher.advice(format));
        let unread = Unread {
            station: live.station.to_string(),
            instrument: instrument.to_owned(),
            raw: run.raw,
            bytes: run.bytes,
            times: run.times,
            reason: run.reason.to_string(),
            remedy: advice.or_else(|| run.reason.remedy().map(str::to_owned)),
        };
        self.append(now, unread);
    }

    fn understood(&mut self, instrument: &str) {
        if let Some(live) = self.live.get_mut(instrument) {
            live.watcher.understood();
        }
    }

    /// Enters a captured value as a zero frame or as a reading.
    pub(super) fn value(&mut self, now: Now, instrument: &str, captured: &Captured, raw: Vec<u8>) {
        let Some(live) = self.live.get(instrument) else {
            return;
        };
        let (station, name) = (Arc::clone(&live.station), Arc::clone(&live.name));
        let value = captured.judged(0);
        let zero = self.as_zero(now, &station, instrument, captured);
        let is_zero = zero.is_some();
        match zero {
            Some((role, ok)) => {
                let series = self.series(&station).map(|series| series.id);
                let instrument = instrument.to_owned();
                let zeroed = Zeroed {
                    station: station.to_string(),
                    instrument,
                    series,
                    value,
                    role,
                    ok,
                    opening: None,
                    raw,
                };
                let retracted = self.zeroed_twice(now, &zeroed);
                self.zeroed(now, zeroed);
                if let Some(retracted) = retracted {
                    self.append(now, retracted);
                }
            }
            None => self.reading(now, &station, &name, captured, raw),
        }
        if let Some(live) = self.live.get_mut(instrument) {
            live.zero_frame_at = is_zero.then_some(now.mono);
        }
        self.complete_if_full(now, &station);
    }

    /// The zero frame that this captured value is, with its role and whether it is good; `None` if it is none.
    fn as_zero(
        &self,
        now: Now,
        station: &str,
        instrument: &str,
        captured: &Captured,
    ) -> Option<(ZeroRole, bool)> {
        // A zero from another adapter vouches for no reading of this instrument.
        if self.why_distrusted(instrument).is_some() {
            return None;
        }
        let known = self.catalog.instrument(instrument)?;
        let said = self
            .state
            .instruments
            .get(instrument)
            .is_some_and(|known| known.zero_said);
        let series = self.series(station);
        let armed =
            series.and_then(|series| Some((&series.spec, series.spec.instrument(instrument)?)));
        let resolution = armed.map_or(known.resolution, |(_, armed)| armed.resolution);
        let must_be_said = armed.is_some_and(|(_, armed)| armed.zero_must_be_said);
        // While the origin is moved, a value near zero is a zero only if the operator announced it.
        let origin_is_off = self
            .state
            .instruments
            .get(instrument)
            .is_some_and(|known| known.opening.is_some());
        let frame = zero::zero_frame(
            captured,
            resolution,
            armed,
            must_be_said || origin_is_off,
            said,
        )?;
        Some((self.zero_role(now, station, instrument), frame.ok))
    }

    /// The role of a zero frame that would come now.
    pub(super) fn zero_role(&self, now: Now, station: &str, instrument: &str) -> ZeroRole {
        self.series(station)
            .and_then(|series| zero::due(&self.state, series, instrument, Some(now.wall)))
            .map_or(ZeroRole::Unasked, zero::Due::role)
    }

    pub(super) fn zeroed(&mut self, now: Now, zeroed: Zeroed) {
        let shaken = if zeroed.ok {
            None
        } else {
            self.doubted_by(&zeroed)
        };
        self.append(now, zeroed);
        if let Some(doubted) = shaken {
            self.append(now, doubted);
        }
    }

    /// The readings that this off zero puts in doubt.
    fn doubted_by(&self, zeroed: &Zeroed) -> Option<Doubted> {
        let series = self.series(&zeroed.station)?;
        let readings = series.unvouched(&zeroed.instrument);
        let what = match zeroed.opening {
            Some(opening) => format!(
                "the origin of {} was set with the jaws {opening} open",
                zeroed.instrument
            ),
            None => format!(
                "the {} zero of {} was {}",
                zeroed.role.name(),
                zeroed.instrument,
                zeroed.value
            ),
        };
        let reason = format!("{what}, so the readings since its last good zero are in doubt");
        let station = zeroed.station.clone();
        let series = series.id;
        (!readings.is_empty()).then_some(Doubted {
            station,
            series,
            readings,
            reason,
        })
    }

    /// The open series of a station.
    pub(super) fn series(&self, station: &str) -> Option<&SeriesState> {
        self.state.stations.get(station)?.series.as_ref()
    }
}
