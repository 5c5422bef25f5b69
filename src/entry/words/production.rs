//! Production runs in words.

use crate::entry::{
    Crimped, Held, HoldCause, Means, ProductionEntry, RunClosed, RunEnd, RunOpened, Settled,
};
use crate::spec::{ProductionRun, Settlement};

pub(super) fn production(entry: &ProductionEntry) -> String {
    match entry {
        ProductionEntry::RunOpened(opened) => self::opened(opened),
        ProductionEntry::Crimped(crimped) => self::crimped(crimped),
        ProductionEntry::SampleDue(due) => {
            format!("a sample of run {} is due: {}", due.run, due.reason)
        }
        ProductionEntry::Held(held) => self::held(held),
        ProductionEntry::Settled(settled) => self::settled(settled),
        ProductionEntry::RunClosed(closed) => self::closed(closed),
    }
}

fn opened(opened: &RunOpened) -> String {
    let RunOpened {
        series, settings, ..
    } = opened;
    format!(
        "run {} opened by the first-off of series {series}: a sample {}",
        settings.id,
        every(settings)
    )
}

/// How often a sample is due: `every 100 crimps or 120 minutes`.
pub fn every(settings: &ProductionRun) -> String {
    let crimps = settings.every_crimps.map(|n| format!("{n} crimps"));
    let minutes = settings.every_minutes.map(|n| format!("{n} minutes"));
    let said: Vec<String> = crimps.into_iter().chain(minutes).collect();
    format!("every {}", said.join(" or "))
}

fn crimped(crimped: &Crimped) -> String {
    let by = match (&crimped.instrument, crimped.by) {
        (Some(counter), _) => format!(" by {counter}"),
        (None, Some(by)) => format!(" {}", Means::words(by)),
        (None, None) => String::new(),
    };
    let run = match crimped.run {
        Some(run) => format!(" for run {run}"),
        None => ", and no run is open: no sample vouches for them".to_owned(),
    };
    format!("{} counted{by}{run}", crimps(u64::from(crimped.crimps)))
}

/// `1 crimp`, `20 crimps`.
pub fn crimps(count: u64) -> String {
    match count {
        1 => "1 crimp".to_owned(),
        n => format!("{n} crimps"),
    }
}

/// Why crimps are held, in words.
pub const fn cause(cause: HoldCause) -> &'static str {
    match cause {
        HoldCause::BadSample => "counted since the last good sample",
        HoldCause::AfterBadSample => "counted between a bad sample and the next good one",
        HoldCause::NotSampled => "counted after the last sample that could vouch for them",
    }
}

fn held(held: &Held) -> String {
    format!(
        "crimps {} to {} of run {} are held: {}; cause: series {}",
        held.first,
        held.last,
        held.run,
        cause(held.cause),
        held.series
    )
}

/// The decision about held crimps: released, to be reworked, scrapped.
pub const fn settlement(settlement: Settlement) -> &'static str {
    match settlement {
        Settlement::Release => "released",
        Settlement::Rework => "sent to rework",
        Settlement::Scrap => "scrapped",
    }
}

fn settled(settled: &Settled) -> String {
    let operator = settled.operator.as_deref();
    let operator = operator.map_or_else(String::new, |name| format!(" by {name}"));
    format!(
        "{}{operator}, {} of the crimps held by #{}, {}: {}",
        settlement(settled.settlement),
        settled.crimps,
        settled.held,
        settled.by.words(),
        settled.reason
    )
}

fn closed(closed: &RunClosed) -> String {
    let RunClosed {
        run, series, end, ..
    } = closed;
    match end {
        RunEnd::LastOff => format!("run {run} closed by the last-off of series {series}"),
        RunEnd::AnotherRun => {
            format!("run {run} closed by series {series}, the first-off of another run")
        }
    }
}
