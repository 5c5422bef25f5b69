//! Reads `[[uncertainty]]`: uncertainty budgets of instruments, and their contributions.

use super::faults::{At, Fault, Faults, quoted};
use super::instrument::RawInstrument;
use super::table::Table;
use super::value::{factor_milli, is_name, milli, unique};
use crate::quantity::{Dimension, did_you_mean};
use crate::spec::Budget;
use crate::spec::budget::{Contribution, Expansion, Form, Shape, Source};

/// The keys that give the size of a contribution, of which one is required.
const SIZES: [&str; 4] = ["half_width", "expanded", "standard", "expansion"];
const SIZES_WANT: &str = "half_width, expanded, standard or expansion";
const CONTRIBUTION: &str = "[[uncertainty.contribution]]";
/// More degrees of freedom than this do not differ from infinitely many.
const MOST_DEGREES: u32 = 1_000_000;
/// The most 10⁻⁶ per kelvin, and the most kelvin, in thousandths.
const MOST_MILLI: u32 = 1_000_000;
const LONGEST_NAME: usize = 64;

/// The budgets that could be read.
#[derive(Debug)]
pub(super) struct RawBudgets {
    pub(super) budgets: Vec<Budget>,
    /// No part was faulty, so a budget that is not there is really missing.
    pub(super) are_whole: bool,
}

pub(super) fn read(
    root: &mut Table<'_>,
    instruments: &[RawInstrument],
    faults: &mut Faults,
) -> RawBudgets {
    let before = faults.count();
    let mut budgets = Vec::new();
    for table in root.tables(faults, "uncertainty", "[[uncertainty]]") {
        budgets.extend(budget(table, instruments, faults));
    }
    let budgets = unique(faults, "uncertainty", budgets, |budget| &budget.value.name);
    RawBudgets {
        budgets: budgets.into_iter().map(|budget| budget.value).collect(),
        are_whole: faults.count() == before,
    }
}

fn budget(
    mut table: Table<'_>,
    instruments: &[RawInstrument],
    faults: &mut Faults,
) -> Option<At<Budget>> {
    let name = table.required_text(faults, "name", "\"caliper-1/2026-11\"");
    let name = name.and_then(|name| checked(name, faults));
    let instrument = table.required_name(faults, "instrument", "\"caliper-1\"");
    let dimension = instrument
        .as_ref()
        .and_then(|name| dimension_of(name, instruments, faults));
    if !table.has("contribution") {
        let want = "at least one, with source = \"calibration\"";
        table.missing(faults, CONTRIBUTION, want);
    }
    let tables = table.tables(faults, "contribution", CONTRIBUTION);
    let dimension = dimension.unwrap_or(Dimension::Length);
    let contributions = tables
        .into_iter()
        .filter_map(|part| contribution(part, dimension, faults));
    let contributions = contributions.collect();
    table.finish(faults);
    let name = name?;
    Some(At {
        value: Budget {
            name: name.value,
            instrument: instrument?.value,
            contributions,
        },
        place: name.place,
    })
}

/// A name, or several parted by `/`.
fn checked(name: At<String>, faults: &mut Faults) -> Option<At<String>> {
    if name.value.len() <= LONGEST_NAME && name.value.split('/').all(is_name) {
        return Some(name);
    }
    let got = format!("name is {}", quoted(&name.value));
    let want = "want names parted by /, such as \"caliper-1/2026-11\", at most 64 characters";
    faults.add(&name.place, Fault::new(got, want));
    None
}

/// What the instrument measures; a fault if there is none of that name.
fn dimension_of(
    name: &At<String>,
    instruments: &[RawInstrument],
    faults: &mut Faults,
) -> Option<Dimension> {
    let of = |raw: &&RawInstrument| raw.name.as_ref().is_some_and(|of| of.value == name.value);
    let found = instruments.iter().find(of);
    if let Some(raw) = found
        && raw.signal.is_none()
    {
        return raw.instrument.as_ref()?.kind.dimension();
    }
    let measures = instruments.iter().filter(|raw| raw.signal.is_none());
    let known: Vec<&str> = measures
        .filter_map(|raw| Some(raw.name.as_ref()?.value.as_str()))
        .collect();
    let got = format!("no instrument {} that measures", quoted(&name.value));
    let fault = Fault::new(got, "want the name of an [[instrument]]");
    faults.add(&name.place, fault.help(did_you_mean(&name.value, &known)));
    None
}

fn contribution(
    mut table: Table<'_>,
    dimension: Dimension,
    faults: &mut Faults,
) -> Option<Contribution> {
    if !table.has("source") {
        table.missing(faults, "source", "\"calibration\" or another");
    }
    let names = Source::ALL.map(Source::name);
    let source = table.one_of(faults, "source", &names, Source::from_name);
    let degrees = table.whole(faults, "degrees_of_freedom", 1..=MOST_DEGREES);
    // The last of its keys, so that what is left is misspelled.
    let form = form(&mut table, dimension, faults);
    table.finish(faults);
    Some(Contribution {
        source: source?.value,
        form: form?,
        degrees: degrees.map(|degrees| degrees.value),
    })
}

fn form(table: &mut Table<'_>, dimension: Dimension, faults: &mut Faults) -> Option<Form> {
    let place = table.place().clone();
    let given: Vec<&str> = SIZES.into_iter().filter(|key| table.has(key)).collect();
    let width = table.quantity(faults, "half_width", dimension, 1);
    let shapes = Shape::ALL.map(Shape::name);
    let shape = table.one_of(faults, "shape", &shapes, Shape::from_name);
    let expanded = table.quantity(faults, "expanded", dimension, 1);
    let coverage = coverage(table, faults);
    let standard = table.quantity(faults, "standard", dimension, 1);
    let expansion = expansion(table, faults);
    let [key] = given.as_slice() else {
        if given.is_empty() && !table.others().is_empty() {
            return None; // A misspelled key, which is reported.
        }
        let got = match given.as_slice() {
            [] => "a contribution without its size".to_owned(),
            several => format!("a contribution with {}", several.join(" and ")),
        };
        faults.add(&place, Fault::new(got, format!("want one of {SIZES_WANT}")));
        return None;
    };
    let beside = [
        (
            "shape",
            shape.as_ref().map(|shape| &shape.place),
            "half_width",
        ),
        (
            "coverage",
            coverage.as_ref().map(|factor| &factor.place),
            "expanded",
        ),
    ];
    for (name, given, with) in beside {
        if let Some(place) = given.filter(|_| *key != with) {
            let got = format!("{name} has no effect with {key}");
            faults.add(place, Fault::new(got, format!("want it only with {with}")));
        }
    }
    match *key {
        "half_width" => Some(Form::HalfWidth(
            width?,
            shape.map_or_else(Shape::default, |shape| shape.value),
        )),
        "expanded" => {
            if !table.has("coverage") {
                table.missing(faults, "coverage", "2, the factor k of the certificate");
            }
            Some(Form::Expanded(expanded?, coverage?.value))
        }
        "standard" => Some(Form::Standard(standard?)),
        _ => Some(Form::Expansion(expansion?)),
    }
}

fn coverage(table: &mut Table<'_>, faults: &mut Faults) -> Option<At<u32>> {
    let text = table.number_text(faults, "coverage")?;
    let Some(value) = factor_milli(&text.value) else {
        let got = format!("coverage is {}", quoted(&text.value));
        let want = "want more than 0 and at most 10, with at most three digits after the point";
        faults.add(&text.place, Fault::new(got, want));
        return None;
    };
    let place = text.place;
    Some(At { value, place })
}

/// The expansion of a length with the temperature: `expansion` in 10⁻⁶ per kelvin, `length` and `kelvin`.
fn expansion(table: &mut Table<'_>, faults: &mut Faults) -> Option<Expansion> {
    let is_given = table.has("expansion");
    let number = |table: &mut Table<'_>, faults: &mut Faults, key, want: &str| {
        if is_given && !table.has(key) {
            table.missing(faults, key, want);
        }
        let text = table.number_text(faults, key)?;
        let value = milli(&text.value, MOST_MILLI);
        if value.is_none() {
            let got = format!("{key} is {}", quoted(&text.value));
            let want =
                "want more than 0 and at most 1000, with at most three digits after the point";
            faults.add(&text.place, Fault::new(got, want));
        }
        Some(i64::from(value?))
    };
    let nano_per_kelvin = number(table, faults, "expansion", "11.5");
    let half_width_millikelvin = number(table, faults, "kelvin", "5, how far it may be from 20 °C");
    if is_given && !table.has("length") {
        table.missing(faults, "length", "\"1.62 mm\", the length that expands");
    }
    let length = table.quantity(faults, "length", Dimension::Length, 1);
    Some(Expansion {
        length: length?,
        nano_per_kelvin: nano_per_kelvin?,
        half_width_millikelvin: half_width_millikelvin?,
    })
}
