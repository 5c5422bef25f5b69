//! Reads `capture` and its keys: how values become readings.

use super::faults::{At, Fault, Faults};
use super::table::Table;
use crate::spec::{Capture, Flicker};
use std::time::Duration;

/// Default of `bounce`: repeats of one press within this time fold into one.
const BOUNCE: Duration = Duration::from_millis(150);
const LONGEST_BOUNCE: Duration = Duration::from_secs(10);
/// Default of `hold`: a value that stands still for this time is taken.
const HOLD: Duration = Duration::from_millis(500);
const LONGEST_HOLD: Duration = Duration::from_secs(60);
/// Default of `frames`: the number of frames for which it must stand still.
const FRAMES: u32 = 3;
/// Default of `release`, in resolution steps: the distance that the jaws must move before the next value is taken.
const RELEASE_COUNTS: u32 = 5;
/// Default of `timeout`: a request without an answer is given up after this time.
const TIMEOUT: Duration = Duration::from_secs(1);
const LONGEST_TIMEOUT: Duration = Duration::from_secs(60);
const LONGEST_EVERY: Duration = Duration::from_secs(24 * 60 * 60);
/// No instrument needs a longer request; in bytes.
const LONGEST_REQUEST: usize = 64;

/// For each key, the capture mode that it belongs to.
const KEYS: [(&str, &str); 8] = [
    ("bounce", "press"),
    ("hold", "steady"),
    ("frames", "steady"),
    ("release", "steady"),
    ("flicker", "steady"),
    ("request", "ask"),
    ("timeout", "ask"),
    ("every", "ask"),
];

/// The capture mode with its keys; `None` if it is faulty, which is reported.
pub(super) fn read(table: &mut Table<'_>, faults: &mut Faults) -> Option<Capture> {
    let name = table.one_of(faults, "capture", &["press", "steady", "ask"], |name| {
        ["press", "steady", "ask"]
            .into_iter()
            .find(|known| *known == name)
    });
    if name.is_none() && table.has("capture") {
        // The keys of all modes are read even so, to report their own faults.
        let _ = (
            press(table, faults),
            steady(table, faults),
            ask(table, faults, None),
        );
        return None;
    }
    let way = name.as_ref().map_or("press", |name| name.value);
    let strange = keys_of_other_modes(table, faults, way);
    let capture = match way {
        "steady" => Some(steady(table, faults)),
        "ask" => ask(table, faults, name.as_ref()),
        _ => Some(press(table, faults)),
    };
    capture.filter(|_| !strange)
}

/// Reports keys that belong to another capture mode.
fn keys_of_other_modes(table: &mut Table<'_>, faults: &mut Faults, way: &str) -> bool {
    let mut found = false;
    for (key, belongs_to) in KEYS {
        if belongs_to != way
            && let Some(place) = table.taken(key)
        {
            let got = format!("{key} with capture = {way:?}");
            let fault = Fault::new(got, format!("want it only with capture = {belongs_to:?}"));
            faults.add(&place, fault.help("leave it out, or change `capture`"));
            found = true;
        }
    }
    found
}

fn press(table: &mut Table<'_>, faults: &mut Faults) -> Capture {
    let bounce = table.duration(faults, "bounce", LONGEST_BOUNCE);
    Capture::Press {
        bounce: bounce.unwrap_or(BOUNCE),
    }
}

fn steady(table: &mut Table<'_>, faults: &mut Faults) -> Capture {
    let hold = table.duration(faults, "hold", LONGEST_HOLD);
    let frames = table.whole(faults, "frames", 2..=1000);
    let release = table.whole(faults, "release", 2..=1000);
    let names = Flicker::ALL.map(Flicker::name);
    let flicker = table.one_of(faults, "flicker", &names, Flicker::from_name);
    Capture::Steady {
        hold: hold.unwrap_or(HOLD),
        frames: frames.map_or(FRAMES, |frames| frames.value),
        release_counts: release.map_or(RELEASE_COUNTS, |release| release.value),
        flicker: flicker.map_or(Flicker::Worst, |flicker| flicker.value),
    }
}

fn ask(
    table: &mut Table<'_>,
    faults: &mut Faults,
    capture: Option<&At<&'static str>>,
) -> Option<Capture> {
    const WANT: &str = "the bytes that request a value, such as \"?\\r\"";
    let request = table.bytes(faults, "request");
    let timeout = table.duration(faults, "timeout", LONGEST_TIMEOUT);
    let every = table.duration(faults, "every", LONGEST_EVERY);
    let Some(request) = request else {
        if let Some(capture) = capture
            && !table.has("request")
        {
            let fault = Fault::new("capture \"ask\" without request", format!("want {WANT}"));
            faults.add(
                &capture.place,
                fault.help("the manual of the instrument has its requests"),
            );
        }
        return None;
    };
    if !(1..=LONGEST_REQUEST).contains(&request.value.len()) {
        let got = format!("request has {} bytes", request.value.len());
        faults.add(
            &request.place,
            Fault::new(got, format!("want 1 to {LONGEST_REQUEST}: {WANT}")),
        );
        return None;
    }
    Some(Capture::Ask {
        request: request.value,
        timeout: timeout.unwrap_or(TIMEOUT),
        every,
    })
}
