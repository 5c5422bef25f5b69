//! Requests a value from an instrument, and reports an answer that does not come.

use super::capture::Silence;
use super::{Core, Output, Refusal};
use crate::entry::Unread;
use crate::quantity::Now;
use crate::spec::Capture;

impl Core {
    /// Sends a request because a person wants a value now.
    pub(super) fn ask(
        &mut self,
        now: Now,
        station: &str,
        instrument: Option<String>,
    ) -> Result<(), Refusal> {
        let name = self.asked(station, instrument)?;
        let connected = self
            .state
            .instruments
            .get(&name)
            .is_some_and(|known| known.attached.is_some());
        if !connected {
            return Err(Refusal::NotConnected { instrument: name });
        }
        let ask = self
            .live
            .get_mut(&name)
            .and_then(|live| live.capturing.asking());
        if let Some(bytes) = ask.map(|ask| ask.ask(now.mono)) {
            self.pending.push_back(Output::Send {
                instrument: name,
                bytes,
            });
        }
        Ok(())
    }

    /// The instrument that a request goes to: the one named, or the only one of the station that answers requests.
    fn asked(&self, station: &str, instrument: Option<String>) -> Result<String, Refusal> {
        let known = self.catalog.instruments.iter();
        let known: Vec<_> = known
            .filter(|known| {
                known.station == station && matches!(known.capture, Capture::Ask { .. })
            })
            .map(|known| known.name.clone())
            .collect();
        match (instrument, known.as_slice()) {
            (Some(name), _) if known.contains(&name) => Ok(name),
            (Some(got), _) => Err(Refusal::CannotBeAsked { got, known }),
            (None, [only]) => Ok(only.clone()),
            (None, []) => Err(Refusal::NoneToAsk {
                station: station.to_owned(),
            }),
            (None, _) => Err(Refusal::WhichInstrument {
                station: station.to_owned(),
                known,
            }),
        }
    }

    /// Appends a missing answer to the journal, and sends the timer's next request.
    pub(super) fn wake_asking(&mut self, now: Now, name: &str) {
        let Some(live) = self.live.get_mut(name) else {
            return;
        };
        let station = live.station.to_string();
        let Some(ask) = live.capturing.asking() else {
            return;
        };
        let silence = ask.silence(now.mono);
        let request = ask.timer(now.mono);
        if let Some(Silence { waited }) = silence {
            let unread = Unread {
                station,
                instrument: name.to_owned(),
                raw: Vec::new(),
                bytes: 0,
                times: 1,
                reason: format!("no answer within {} ms", waited.as_millis()),
                remedy: Some(
                    "switch it on; check `request` and `line`, and the power of its cable"
                        .to_owned(),
                ),
            };
            self.append(now, unread);
        }
        if let Some(bytes) = request {
            self.pending.push_back(Output::Send {
                instrument: name.to_owned(),
                bytes,
            });
        }
    }
}
