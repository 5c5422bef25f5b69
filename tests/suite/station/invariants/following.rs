//! An operator who does what the prompt says, and nothing else.

use super::acts::{hundredths, stand};
use super::shop::{INSTRUMENTS, STREAMING, Shop};
use std::time::Duration;
use tallyjaw::entry::state::Slot;
use tallyjaw::entry::{Answer, Means, Seq};
use tallyjaw::quantity::Dimension;
use tallyjaw::spec::PullMode;
use tallyjaw::station::Command;
use tallyjaw::station::prompt::{Prompt, prompt};
use tallyjaw::station::zero::Due;

/// More steps than any series of these plans needs.
const STEPS: usize = 100;

/// Follows the prompt until the open series of `station` is closed.
pub(crate) fn to_the_end(shop: &mut Shop, station: &str) {
    let Some(series) = open(shop, station) else {
        return;
    };
    // The bytes that were left on the lines come to their end.
    shop.wait(Duration::from_secs(3));
    for _ in 0..STEPS {
        if open(shop, station) != Some(series) {
            return;
        }
        let next = prompt(shop.core.state(), station);
        let before = shop.entries.len();
        obey(shop, station, &next, 0);
        let said = &shop.entries[before..];
        assert!(!said.is_empty(), "{next} at {station}: nothing came of it");
    }
    let next = prompt(shop.core.state(), station);
    panic!("{station} is not done after {STEPS} steps; it still says: {next}");
}

fn open(shop: &Shop, station: &str) -> Option<Seq> {
    let known = shop.core.state().stations.get(station)?;
    known.series.as_ref().map(|series| series.id)
}

/// Does what the prompt says once, with a piece that is so many counts off.
pub(crate) fn one_step(shop: &mut Shop, station: &str, off: i64) {
    let next = prompt(shop.core.state(), station);
    obey(shop, station, &next, off);
}

fn obey(shop: &mut Shop, station: &str, next: &Prompt, off: i64) {
    match next {
        Prompt::Arm | Prompt::Run(_) => {}
        Prompt::SetBlock { .. } => panic!("no plan of these measures gauge blocks"),
        Prompt::Connect { instrument, .. } => shop.plug(instrument),
        Prompt::Adapter { .. } | Prompt::Shared { .. } => {
            panic!("no port of these is another adapter, or shared")
        }
        Prompt::Zero {
            instrument,
            why,
            must_be_said,
            ..
        } => {
            if *must_be_said || *why == Due::OriginMoved {
                say_zero(shop, station, instrument);
            }
            // Most zeros are good ones.
            let is_off = off.abs() == 2 || (off.abs() > 6 && instrument != "gauge-1");
            show(shop, instrument, if is_off { off } else { 0 });
        }
        // Most answers are good.
        Prompt::Look { piece, look, .. } => answer(
            shop,
            Command::Look {
                station: Some(station.to_owned()),
                look: *look,
                piece: *piece,
                answer: if off < -2 { Answer::Bad } else { Answer::Good },
                by: Means::Command,
            },
        ),
        Prompt::PullMode { piece } => answer(
            shop,
            Command::Pulled {
                station: Some(station.to_owned()),
                piece: Some(*piece),
                mode: PullMode::BrokeInWire,
                by: Means::Command,
            },
        ),
        Prompt::Measure { slot, .. } => measure(shop, station, slot, off),
    }
}

fn answer(shop: &mut Shop, command: Command) {
    let answered = shop.command(command);
    // Refused where the configuration knows the station no more.
    drop(answered);
}

fn say_zero(shop: &mut Shop, station: &str, instrument: &str) {
    let (station, instrument) = (Some(station.to_owned()), Some(instrument.to_owned()));
    let said = Command::Zero {
        station,
        instrument,
    };
    // Refused where another configuration knows the instrument no more.
    drop(shop.command(said));
}

/// A good piece on the instrument that the series would have.
fn measure(shop: &mut Shop, station: &str, slot: &Slot, off: i64) {
    let state = shop.core.state();
    let series = state.stations[station].series.as_ref().unwrap();
    let axis = series.spec.axis(&slot.axis).unwrap();
    let connected = |name: &str| {
        let known = state.instruments.get(name);
        known.is_some_and(|known| known.attached.is_some())
    };
    let measuring = axis.guards.iter().map(|guard| guard.instrument.clone());
    let instrument = measuring.into_iter().find(|name| connected(name)).unwrap();
    let value = match (axis.limits.dimension(), axis.limits.centre()) {
        (Dimension::Length, centre) => centre.unwrap() / 10_000,
        (Dimension::Force, _) => 200,
    };
    show(shop, &instrument, value + off);
}

/// Hundredths of a millimetre, or newtons.
pub(super) fn show(shop: &mut Shop, instrument: &str, value: i64) {
    assert!(INSTRUMENTS.contains(&instrument));
    if instrument == STREAMING {
        stand(shop, value, 10, false);
        return;
    }
    shop.wait(Duration::from_secs(1));
    let text = if instrument == "gauge-1" {
        value.to_string()
    } else {
        hundredths(value)
    };
    shop.send(instrument, &text);
}
