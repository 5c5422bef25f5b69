//! Reads `[[terminal.row]]`: a size or a range of sizes, with limits by axis; and the tolerance that a terminal gives
//! once for all of its rows.

use super::faults::{At, Fault, Faults, Place};
use super::sheet::{fault_of, resolved, sizing};
use super::table::{Table, alternatives, comma_help};
use crate::quantity::{Area, Dimension, Measured};
use crate::spec::axis::PULL_FORCE;
use crate::spec::{Axis, AxisName, Limits, Sizes, SizingSystem, Tolerance, WireSize};

/// A row, as far as it could be read.
#[derive(Debug)]
pub(super) struct RawRow {
    /// Its size; the smallest, if it is for a range.
    pub(super) wire: WireSize,
    /// The largest size of a range.
    pub(super) up_to: Option<WireSize>,
    /// Limits by axis; `None` where they were faulty.
    pub(super) limits: Vec<(AxisName, Option<Limits>)>,
    /// The place of each axis's limits.
    pub(super) places: Vec<(AxisName, Place)>,
    /// The axes with a nominal alone, whose tolerance is the terminal's.
    nominals: Vec<AxisName>,
}

impl RawRow {
    /// The sizes that it is for.
    pub(super) fn sizes(&self) -> Sizes {
        let up_to = self.up_to.as_ref();
        let range = up_to.and_then(|up_to| Sizes::range(self.wire.area, up_to.area));
        range.unwrap_or(Sizes::from(self.wire.area))
    }

    /// The sizes of the row in words, with gauges.
    pub(super) fn words(&self) -> String {
        match &self.up_to {
            None => self.wire.to_string(),
            Some(up_to) => format!("{} to {up_to}", self.wire),
        }
    }
}

/// The tolerances that a terminal gives once for all rows.
#[derive(Debug, Default)]
pub(super) struct Tolerances {
    /// By axis, with their place; `None` where they were faulty.
    by_axis: Vec<(AxisName, Option<Tolerance>, Place)>,
}

impl Tolerances {
    /// Reads `tolerance = { core_crimp_height = "±0.05 mm" }`.
    pub(super) fn read(table: &mut Table<'_>, axes: &[Axis], faults: &mut Faults) -> Self {
        const HEADER: &str = "terminal.tolerance";
        let Some(tolerance) = table.table(faults, "tolerance", HEADER) else {
            return Self::default();
        };
        let names: Vec<&str> = axes.iter().map(|axis| axis.name.as_str()).collect();
        let mut by_axis = Vec::new();
        for key in tolerance.others() {
            match axes.iter().find(|axis| axis.name.as_str() == key.value) {
                Some(known) => {
                    let read = tolerance_of(&tolerance, known, faults);
                    by_axis.push((known.name.clone(), read, key.place));
                }
                None => tolerance.unknown_key(faults, &key, &names),
            }
        }
        Self { by_axis }
    }

    fn of(&self, axis: &AxisName) -> Option<&Option<Tolerance>> {
        let mut by_axis = self.by_axis.iter();
        let (_, tolerance, _) = by_axis.find(|(name, ..)| name == axis)?;
        Some(tolerance)
    }

    /// Reports a tolerance that no row uses, because no row has a nominal alone for it.
    pub(super) fn without_effect(&self, rows: &[At<RawRow>], faults: &mut Faults) {
        for (axis, _, place) in self.by_axis.iter().filter(|(_, read, _)| read.is_some()) {
            if rows.iter().any(|row| row.value.nominals.contains(axis)) || rows.is_empty() {
                continue;
            }
            let got = format!("the tolerance of {axis} has no effect: no row has a nominal alone");
            let want = format!("want {axis} = \"1.62 mm\" in a row");
            let help =
                "a row with limits of its own keeps them; leave the tolerance out, or the limits";
            faults.warn(place, Fault::new(got, want).help(help));
        }
    }
}

fn tolerance_of(table: &Table<'_>, axis: &Axis, faults: &mut Faults) -> Option<Tolerance> {
    let key = axis.name.as_str();
    let text = table.other_text(faults, key)?;
    let fault = if axis.dimension == Dimension::Force {
        let got = format!("a tolerance of {key}, which has only a minimum");
        Fault::new(got, "want a minimum in each row, such as \">= 135 N\"")
    } else {
        match text.value.parse::<Tolerance>() {
            Ok(tolerance) if tolerance.dimension() == axis.dimension => return Some(tolerance),
            Ok(tolerance) => Fault::new(
                format!("{key} is a {}, got {tolerance}", axis.dimension),
                "want a tolerance such as \"±0.05 mm\"",
            ),
            Err(error) => Fault::new(
                format!("{key}: {error}"),
                "want how far a value may lie from the nominal of its row",
            )
            .help_of(comma_help(&text.value)),
        }
    };
    faults.add(&text.place, fault);
    None
}

/// Reads a row; `None` if its size is not known.
pub(super) fn read(
    mut table: Table<'_>,
    axes: &[Axis],
    tolerances: &Tolerances,
    faults: &mut Faults,
) -> Option<At<RawRow>> {
    let wire = wire(&mut table, faults);
    let names: Vec<&str> = axes.iter().map(|axis| axis.name.as_str()).collect();
    table.record_known_keys(faults);
    let others = table.others();
    // A sheet can have thousands of rows, so each allocates only what it needs.
    let mut limits = Vec::with_capacity(others.len());
    let mut places = Vec::with_capacity(others.len());
    let mut nominals = Vec::new();
    if others.is_empty() {
        let fault = Fault::new("this row has no limits", "want an axis with its limits");
        let help = format!("the axes are {}", alternatives(&names));
        faults.add(table.place(), fault.help(help));
    }
    for key in others {
        if let Some(known) = axes.iter().find(|axis| axis.name.as_str() == key.value) {
            let said = table.other_text(faults, known.name.as_str());
            let nominal = said.as_ref().and_then(|text| text.value.parse().ok());
            nominals.extend(nominal.map(|_: Measured| known.name.clone()));
            let read = said.and_then(|text| limits_of(&text, nominal, known, tolerances, faults));
            limits.push((known.name.clone(), read));
            places.push((known.name.clone(), key.place.clone()));
        } else {
            table.unknown_key(faults, &key, &names);
        }
    }
    let At {
        value: (wire, up_to),
        place,
    } = wire?;
    Some(At {
        value: RawRow {
            wire,
            up_to,
            limits,
            places,
            nominals,
        },
        place,
    })
}

/// The limits of an axis: its own, or the terminal's tolerance around its nominal.
fn limits_of(
    text: &At<String>,
    nominal: Option<Measured>,
    axis: &Axis,
    tolerances: &Tolerances,
    faults: &mut Faults,
) -> Option<Limits> {
    let key = axis.name.as_str();
    let limits = match (nominal, tolerances.of(&axis.name)) {
        (Some(_), Some(None)) => return None, // The tolerance is faulty, which was reported.
        (Some(nominal), Some(Some(tolerance))) => tolerance.of(nominal),
        (_, _) => text.value.parse::<Limits>(),
    };
    let fault = match limits {
        Ok(limits) => match fault_of(&limits, axis) {
            None => return Some(limits),
            Some(fault) => fault,
        },
        Err(_) if nominal.is_some() && key != PULL_FORCE => {
            let got = format!("{key} is {}, a nominal without a tolerance", text.value);
            let want = format!("want {}", example(axis));
            let help = format!(
                "if one tolerance is for every row, give it once in [[terminal]]: tolerance = {{ {key} = \"±0.05 mm\" }}"
            );
            Fault::new(got, want).help(help)
        }
        Err(error) => Fault::new(format!("{key}: {error}"), format!("want {}", example(axis)))
            .help_of(comma_help(&text.value)),
    };
    faults.add(&text.place, fault);
    None
}

/// Limits of this axis as an example for a message.
pub(super) fn example(axis: &Axis) -> &'static str {
    match axis.dimension {
        Dimension::Length => "limits such as \"1.62 ±0.05 mm\" or \"1.57..1.67 mm\"",
        Dimension::Force => "a limit such as \">= 135 N\"",
    }
}

/// Reads `wire` and `sizing` of a row: a size, or the smallest and the largest of a range.
fn wire(table: &mut Table<'_>, faults: &mut Faults) -> Option<At<(WireSize, Option<WireSize>)>> {
    let text = table.required_text(faults, "wire", "\"2.0 mm²\", or a gauge with its sizing");
    let sizing = sizing(table, faults);
    range(text?, sizing?, faults)
}

/// Resolves a size, or a range of sizes such as `1.0..1.5 mm²` or `20..16 ga`.
pub(super) fn range(
    text: At<String>,
    sizing: Option<SizingSystem>,
    faults: &mut Faults,
) -> Option<At<(WireSize, Option<WireSize>)>> {
    let Some((from, to)) = ends(&text.value) else {
        if let Some(with_points) = with_points(&text.value) {
            let got = format!("a range of wire sizes is {:?}", text.value);
            let want = format!("want two points between its ends, as in {with_points:?}");
            faults.add(&text.place, Fault::new(got, want));
            return None;
        }
        let At { value, place } = resolved(text, sizing, faults)?;
        let value = (value, None);
        return Some(At { value, place });
    };
    let place = text.place;
    let at = |value: String| At {
        value,
        place: place.clone(),
    };
    let is_area = from.parse::<Area>().is_ok();
    let from = resolved(at(from), sizing, faults)?.value;
    let to = resolved(at(to), sizing, faults)?.value;
    // The gauge of the thinner wire has the higher number, and sheets begin with either.
    let (from, to) = if is_area || from.area <= to.area {
        (from, to)
    } else {
        (to, from)
    };
    if from.area >= to.area {
        let got = format!("the range of sizes from {from} to {to}");
        let fault = Fault::new(got, "want the smaller size first, then the larger one");
        faults.add(&place, fault);
        return None;
    }
    let value = (from, Some(to));
    Some(At { value, place })
}

/// The two ends of a range, each with its unit; `None` for a text that is no range.
fn ends(text: &str) -> Option<(String, String)> {
    let (from, to) = text.split_once("..")?;
    let (from, to) = (from.trim(), to.trim());
    let number = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '/');
    let unit = to.trim_start_matches(number);
    let has_number = to.starts_with(|c: char| c.is_ascii_digit());
    let is_bare = has_number && !from.is_empty() && from.chars().all(number);
    let from = format!("{from}{}", if is_bare { unit } else { "" });
    Some((from, to.to_owned()))
}

/// A range as printed on paper, `2.5-4.0 mm²` or `16 to 20 ga`, in the form of a sheet.
fn with_points(text: &str) -> Option<String> {
    let mut signs = ["-", "–", "…", " to "].into_iter();
    let (from, to) = signs.find_map(|sign| text.split_once(sign))?;
    let (from, to) = (from.trim(), to.trim());
    let is_size = |end: &str| {
        let known = |c: char| c.is_alphanumeric() || " .,²/".contains(c);
        end.starts_with(|c: char| c.is_ascii_digit()) && end.chars().all(known)
    };
    (is_size(from) && is_size(to)).then(|| format!("{from}..{to}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_as_on_paper_is_shown_with_two_points() {
        for (text, want) in [
            ("2.5-4.0 mm²", Some("2.5..4.0 mm²")),
            ("2.5 – 4 mm²", Some("2.5..4 mm²")),
            ("16 to 20 ga", Some("16..20 ga")),
            ("AWG-14", None),
            ("-1 ga", None),
            ("1.62 ±-0.05 mm", None),
            ("2.0 mm²", None),
        ] {
            assert_eq!(with_points(text).as_deref(), want, "{text}");
        }
    }

    #[test]
    fn a_unit_after_the_second_size_is_for_both() {
        for (text, want) in [
            ("1.0..1.5 mm²", Some(("1.0 mm²", "1.5 mm²"))),
            ("1.0 .. 1.5mm2", Some(("1.0mm2", "1.5mm2"))),
            ("0.5 mm²..1.0 mm²", Some(("0.5 mm²", "1.0 mm²"))),
            ("20..16 ga", Some(("20 ga", "16 ga"))),
            ("1/0..2/0 ga", Some(("1/0 ga", "2/0 ga"))),
            ("2.0 mm²", None),
            ("AWG 20..AWG 16", Some(("AWG 20", "AWG 16"))),
            ("..", Some(("", ""))),
        ] {
            let want = want.map(|(from, to): (&str, &str)| (from.to_owned(), to.to_owned()));
            assert_eq!(ends(text), want, "{text}");
        }
    }
}
