//! Warnings about sheet values that are unusual but possible, each with its place and what to check.
//!
//! In: the terminals of a configuration without errors. Out: warnings. Impossible limits (crossed, a size twice) are
//! errors, which are found elsewhere.

use super::faults::{At, Fault, Faults, Place};
use super::row::RawRow;
use super::sheet::RawTerminal;
use crate::quantity::{Length, Unit};
use crate::spec::{AxisName, Instrument, Limits, SizingSystem};

/// The tolerance must be at least this many resolution steps of an instrument. Arming requires it too (common practice,
/// no source).
const MIN_COUNTS: i64 = 5;
/// Limits beyond these sizes are unlikely for a crimp (common practice, no source).
const SMALLEST_CRIMP_NM: i64 = 250_000;
const LARGEST_CRIMP_NM: i64 = 50_000_000;
/// If width and height of a crimp differ by more than this factor, columns are probably mixed up (common practice, no
/// source).
const MAX_RATIO: i64 = 4;
/// The pairs of width and height on one crimp: conductor and insulation.
const CRIMPS: [(&str, &str); 2] = [
    ("core_crimp_height", "core_crimp_width"),
    ("insulation_crimp_height", "insulation_crimp_width"),
];
const HEIGHT: &str = "core_crimp_height";

/// Checks all sheets.
pub(super) fn sheets(terminals: &[RawTerminal], instruments: &[Instrument], faults: &mut Faults) {
    for terminal in terminals {
        row_order(terminal, faults);
        same_wire_twice(terminal, faults);
        height_by_size(terminal, faults);
        missing_axes(terminal, faults);
        for row in &terminal.rows {
            // One mistake gives one warning: a wrong unit is not reported as mixed-up columns too.
            if !warn_of_unlikely_sizes(&row.value, faults) {
                mixed_columns(&row.value, faults);
                warn_of_fine_tolerance(&row.value, instruments, faults);
            }
        }
    }
}

/// Warns about a configuration without instruments: nothing can be measured.
pub(super) fn no_instrument(
    stations: &[At<String>],
    instruments: &[Instrument],
    faults: &mut Faults,
) {
    if let (Some(station), true) = (stations.first(), instruments.is_empty()) {
        let fault = Fault::new(
            "there is no instrument, so nothing can be measured",
            "want an [[instrument]] that belongs to a station",
        );
        let help = "plug the caliper's adapter in, `tallyjaw ports` names its port; then: tallyjaw listen PORT --write";
        faults.warn(&station.place, fault.help(help));
    }
}

/// The limits of a built-in axis, with their place.
fn limits_of<'r>(row: &'r RawRow, axis: &str) -> Option<(&'r Limits, &'r Place)> {
    let named = |name: &AxisName| name.as_str() == axis;
    let (_, limits) = row.limits.iter().find(|(name, _)| named(name))?;
    let (_, place) = row.places.iter().find(|(name, _)| named(name))?;
    Some((limits.as_ref()?, place))
}

fn area(row: &At<RawRow>) -> u64 {
    row.value.wire.area.square_micrometres()
}

/// Warns about a row whose size breaks the order of the others: the size may be mistyped.
fn row_order(terminal: &RawTerminal, faults: &mut Faults) {
    let areas: Vec<u64> = terminal.rows.iter().map(area).collect();
    let rising = areas
        .windows(2)
        .filter(|pair| pair.first() < pair.last())
        .count();
    let falls = 2 * rising < areas.len().saturating_sub(1);
    let pairs = terminal.rows.iter().zip(terminal.rows.iter().skip(1));
    let out_of_order = pairs
        .into_iter()
        .find(|(one, next)| (area(one) < area(next)) == falls);
    if let Some((before, row)) = out_of_order {
        let got = format!(
            "the row for {} follows the row for {}",
            row.value.words(),
            before.value.words()
        );
        let want = format!("the other sizes {}", if falls { "fall" } else { "rise" });
        let help = "check the size; if it is right, move the row into order";
        faults.warn(&row.place, Fault::new(got, want).help(help));
    }
}

/// Warns about two rows that are probably the same wire in two sizing systems.
fn same_wire_twice(terminal: &RawTerminal, faults: &mut Faults) {
    let one_size = || {
        let rows = terminal.rows.iter();
        rows.filter(|row| row.value.up_to.is_none())
    };
    for (at, row) in one_size().enumerate() {
        let (wire, mine) = (&row.value.wire, area(row));
        let twin = one_size().take(at).find(|other| {
            let theirs = area(other);
            let is_awg = |row: &At<RawRow>| row.value.wire.sizing == SizingSystem::AwgArea;
            is_awg(other) != is_awg(row) && mine.abs_diff(theirs) <= mine.max(theirs) / 12
        });
        if let Some(twin) = twin {
            let at = faults.line_of(&twin.place);
            let got = format!("{wire} is nearly {}", twin.value.wire.area);
            let want = format!("want one row per wire; the row of that size is at {at}");
            let help = "if both are the same wire, keep the row that the maker's sheet has";
            faults.warn(&row.place, Fault::new(got, want).help(help));
        }
    }
}

/// Warns about a thicker conductor with a lower crimp: it is usually higher (common practice, no source).
fn height_by_size(terminal: &RawTerminal, faults: &mut Faults) {
    let mut rows: Vec<&At<RawRow>> = terminal.rows.iter().collect();
    rows.sort_by_key(|row| area(row));
    let centred = rows.into_iter().filter_map(|row| {
        let (limits, place) = limits_of(&row.value, HEIGHT)?;
        Some((row, limits.centre()?, limits, place))
    });
    let mut below: Option<(&At<RawRow>, i64)> = None;
    for (row, centre, limits, place) in centred {
        if let Some((thinner, height)) = below
            && centre < height
        {
            let got = format!(
                "the crimp of {} is lower than that of {}",
                row.value.sizes(),
                thinner.value.sizes()
            );
            let want = format!("{limits}; a thicker wire usually has the higher crimp");
            let at = faults.line_of(&thinner.place);
            let help = format!("compare both rows with the maker's sheet; the other is at {at}");
            faults.warn(place, Fault::new(got, want).help(help));
        }
        below = Some((row, centre));
    }
}

/// Warns about a row without crimp height, or without an axis that every other row of the terminal has.
fn missing_axes(terminal: &RawTerminal, faults: &mut Faults) {
    let has = |row: &RawRow, name: &AxisName| row.limits.iter().any(|(known, _)| known == name);
    for (at, row) in terminal.rows.iter().enumerate() {
        let others: Vec<_> = terminal
            .rows
            .iter()
            .enumerate()
            .filter(|(other, _)| *other != at)
            .map(|(_, row)| &row.value)
            .collect();
        let height = AxisName::new(HEIGHT);
        let mut missing: Vec<&AxisName> = Vec::new();
        if !has(&row.value, &height) {
            missing.push(&height);
        }
        let first = others.first().filter(|_| others.len() > 1);
        for (name, _) in first.into_iter().flat_map(|row| &row.limits) {
            let lacks = !has(&row.value, name) && others.iter().all(|other| has(other, name));
            if lacks && !missing.contains(&name) {
                missing.push(name);
            }
        }
        if !missing.is_empty() {
            let names: Vec<_> = missing.iter().map(|name| name.as_str()).collect();
            let names = names.join(", ");
            let got = format!(
                "the row for {} has no limits for {names}",
                row.value.words()
            );
            let help = "add it from the maker's sheet; without it no plan can measure it";
            let fault = Fault::new(got, "want it in every row").help(help);
            faults.warn(&row.place, fault);
        }
    }
}

/// Warns about a crimp that is too small or too large, most likely because of a wrong unit. Returns whether one was
/// found.
fn warn_of_unlikely_sizes(row: &RawRow, faults: &mut Faults) -> bool {
    let mut found = false;
    let axes = CRIMPS.iter().flat_map(|(height, width)| [*height, *width]);
    for axis in axes {
        let Some((limits, place)) = limits_of(row, axis) else {
            continue;
        };
        let Some(centre) = limits.centre() else {
            continue;
        };
        let shown = Length::from_nanometres(centre);
        let (what, other) = if centre < SMALLEST_CRIMP_NM {
            ("too small", Unit::Inch)
        } else if centre > LARGEST_CRIMP_NM {
            ("too large", Unit::Millimetre)
        } else {
            continue;
        };
        let got = format!("{axis} of {shown} is {what} for a crimp");
        let help = if limits.unit() == other {
            "compare with the maker's sheet: the decimal point may be wrong".to_owned()
        } else {
            let inches = other == Unit::Inch;
            let words = if inches { "inches" } else { "millimetres" };
            format!("if these values are in {words}, write {other} after them")
        };
        found = true;
        faults.warn(
            place,
            Fault::new(got, format!("it reads {limits}")).help(help),
        );
    }
    found
}

/// Warns about a width that is far from the height of the same crimp: the columns are probably mixed up.
fn mixed_columns(row: &RawRow, faults: &mut Faults) {
    for (height, width) in CRIMPS {
        let (Some((high, _)), Some((wide, place))) =
            (limits_of(row, height), limits_of(row, width))
        else {
            continue;
        };
        let (Some(h), Some(w)) = (high.centre(), wide.centre()) else {
            continue;
        };
        if h.max(w) > h.min(w).saturating_mul(MAX_RATIO) {
            let got = format!("{width} and {height} are more than {MAX_RATIO} times apart");
            let want = format!("the height is {high}");
            let help = "check for swapped columns, a wrong decimal point or a wrong unit";
            faults.warn(place, Fault::new(got, want).help(help));
        }
    }
}

/// Warns about a tolerance that no instrument of the configuration can judge.
fn warn_of_fine_tolerance(row: &RawRow, instruments: &[Instrument], faults: &mut Faults) {
    for (name, place) in &row.places {
        let limits = row.limits.iter().find(|(known, _)| known == name);
        let Some(limits) = limits.and_then(|(_, limits)| limits.as_ref()) else {
            continue;
        };
        let of_kind = instruments
            .iter()
            .filter(|instrument| instrument.kind.dimension() == Some(limits.dimension()));
        let finest = of_kind.min_by_key(|instrument| instrument.resolution.base());
        let (Some(finest), Some(width)) = (finest, limits.width()) else {
            continue;
        };
        let counts = width.checked_div(finest.resolution.base()).unwrap_or(0);
        if counts < MIN_COUNTS {
            let got = format!("the tolerance of {name} is too fine for every instrument here");
            let want = format!(
                "it has {counts} steps of {} ({}), want at least {MIN_COUNTS}",
                finest.name, finest.resolution
            );
            let help =
                "no plan can start with it: check the decimal point, or use a finer instrument";
            faults.warn(place, Fault::new(got, want).help(help));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::Axis;

    #[test]
    fn the_axes_named_here_are_built_in() {
        let axes = Axis::built_in();
        for (height, width) in CRIMPS {
            for name in [height, width, HEIGHT] {
                assert!(axes.iter().any(|axis| axis.name.as_str() == name), "{name}");
            }
        }
    }
}
