//! The expected ledger, computed from all steps together without state between them.

use super::Step;
use std::fmt::Write as _;

/// The expected lines, by searching all steps again for each series and reading.
pub(super) fn modelled(steps: &[(u8, Step)]) -> Vec<String> {
    let armed = (1_u64..).zip(steps);
    let armed = armed.filter(|(_, (_, step))| *step == Step::Armed);
    let mut all: Vec<_> = armed.map(|(id, _)| modelled_series(steps, id)).collect();
    all.sort();
    all.into_iter().map(|(_, _, text)| text).collect()
}

/// The entry that settles the series, its id, and its line.
fn modelled_series(steps: &[(u8, Step)], id: u64) -> (u64, u64, String) {
    let settled = settled(steps, id);
    let end = settled.map_or(usize::MAX, |by| usize::try_from(by).unwrap());
    let about: Vec<(u64, Step)> = (1_u64..)
        .zip(steps)
        .take(end)
        .map(|(seq, (_, step))| (seq, *step))
        .collect();
    let closings = [Step::Completed(id), Step::Stopped(id), Step::Resumed(id)];
    let closing = about.iter().rev().find(|(_, step)| closings.contains(step));
    let is_closed = closing.is_some_and(|(_, step)| *step != Step::Resumed(id));
    let mut text = match (settled, is_closed) {
        (Some(by), true) => format!("{id} settled {by}:"),
        (Some(by), false) => format!("{id} settled {by}, but not closed:"),
        (None, true) => format!("{id} stopped:"),
        (None, false) => format!("{id} open:"),
    };
    for (seq, step) in &about {
        let says = if *step == Step::Counted(id) {
            says(&about, id, *seq)
        } else if *step == Step::Refused(id) {
            "not_counted zero_due".to_owned()
        } else {
            continue;
        };
        let mut before = about.iter().rev().filter(|(at, _)| at < seq);
        let said = before.find(|(_, step)| [Step::By(id), Step::Resumed(id)].contains(step));
        let who = match said {
            None => "mara",
            Some((_, step)) if *step == Step::By(id) => "jon",
            Some(_) => "nobody",
        };
        let _ = write!(text, " #{seq} {says} {who}");
    }
    (settled.unwrap_or(u64::MAX), id, text)
}

/// The disposition of a counted reading: the first entry that excludes it and is not undone.
fn says(about: &[(u64, Step)], id: u64, seq: u64) -> String {
    let mut later = about.iter().filter(|(at, _)| *at > seq);
    while let Some((at, step)) = later.next() {
        if *step == Step::Doubted(id, seq) {
            return format!("doubted {at}");
        }
        if *step == Step::Retracted(id, seq)
            && !later.any(|(_, step)| *step == Step::Restored(id, seq))
        {
            return format!("retracted {at}");
        }
    }
    "counted".to_owned()
}

/// The entry that settles the series.
fn settled(steps: &[(u8, Step)], id: u64) -> Option<u64> {
    let later = (1_u64..).zip(steps).filter(|(seq, _)| *seq > id);
    let mut stopped: Option<(u8, bool)> = None;
    for (seq, (station, step)) in later {
        if *step == Step::Completed(id) {
            return Some(seq);
        }
        if *step == Step::Stopped(id) && stopped.is_none_or(|(at, _)| at == *station) {
            stopped = Some((*station, false));
            continue;
        }
        let Some((_, is_followed)) = stopped.as_mut().filter(|(at, _)| at == station) else {
            continue;
        };
        match step {
            Step::Resumed(series) if *series == id => stopped = None,
            Step::Resumed(_) | Step::Stopped(_) | Step::Counted(_) | Step::ZeroOff => {
                return Some(seq);
            }
            Step::Armed if *is_followed => return Some(seq),
            Step::Armed => *is_followed = true,
            Step::Refused(_)
            | Step::Loose
            | Step::Doubted(..)
            | Step::Retracted(..)
            | Step::Restored(..)
            | Step::Completed(_)
            | Step::By(_) => {}
        }
    }
    None
}
