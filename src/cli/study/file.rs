//! Readings out of a CSV file with a heading line.

use super::journal::Take;
use super::readings::{LeftOut, Reading, Readings};
use super::select::Select;
use crate::cli::Failure;
use crate::config::did_you_mean;
use crate::quantity::{Decimal, Quantity, Unit};
use std::io::{self, Read};
use std::path::Path;

pub(super) fn read(
    select: &Select,
    path: &Path,
    keys: &[&str],
    take: &mut Take<'_>,
) -> Result<Readings, Failure> {
    let (Some(column), Some(unit)) = (&select.column, select.unit) else {
        return Err(Failure::usage("--from needs --column and --unit"));
    };
    let shown = path.display();
    let unreadable = |error: &dyn std::error::Error| {
        Failure::io(format!("{shown} cannot be read")).because(error)
    };
    let source: Box<dyn Read> = if path.as_os_str() == "-" {
        Box::new(io::stdin())
    } else {
        Box::new(std::fs::File::open(path).map_err(|error| {
            if error.kind() == io::ErrorKind::NotFound {
                Failure::usage(format!("there is no file {shown}"))
            } else {
                unreadable(&error)
            }
        })?)
    };
    let mut lines = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .comment(Some(b'#'))
        .from_reader(source);
    let headings = lines.headers().map_err(|error| unreadable(&error))?.clone();
    let place = |name: &str| {
        headings
            .iter()
            .position(|heading| heading == name)
            .ok_or_else(|| {
                let known: Vec<&str> = headings.iter().collect();
                Failure::usage(format!("{shown} has no column {name:?}"))
                    .with_remedy(did_you_mean(name, &known))
            })
    };
    let value_at = place(column)?;
    let keys_at = keys
        .iter()
        .map(|key| place(key))
        .collect::<Result<Vec<_>, _>>()?;
    let mut readings = Readings {
        rows: Vec::new(),
        count: 0,
        unit,
        step: None,
        limits: Ok(None),
        nominals: Ok(()),
        left_out: LeftOut::default(),
        title: format!("{column} of {shown}"),
    };
    let mut decimals = None;
    for record in lines.records() {
        let record = record.map_err(|error| {
            Failure::usage(format!("{shown} is no CSV file"))
                .because(&error)
                .with_remedy("every line needs as many cells as the heading line has")
        })?;
        let line = record.position().map_or(0, csv::Position::line);
        let cell = record.get(value_at).unwrap_or_default();
        if cell.is_empty() {
            readings.left_out.empty += 1;
            continue;
        }
        let (base, digits) = value(cell, unit, &format!("{shown}:{line}"))?;
        decimals = decimals.max(Some(digits));
        let cell_at = |at: &usize| record.get(*at).unwrap_or_default().to_owned();
        readings.count += 1;
        let reading = Reading {
            base,
            at: 0,
            cells: keys_at.iter().map(cell_at).collect(),
        };
        take(reading, unit)?;
    }
    readings.step = decimals
        .and_then(|decimals| Quantity::of(Decimal::new(1, decimals), unit))
        .filter(|step| step.base() > 0);
    if readings.count == 0 {
        return Err(Failure::usage(format!(
            "{shown} has no readings in column {column:?}"
        )));
    }
    Ok(readings)
}

/// A cell in base units, and how many digits after the point it has.
fn value(cell: &str, unit: Unit, place: &str) -> Result<(i64, u8), Failure> {
    let digits: Decimal = cell.parse().map_err(|error| {
        Failure::usage(format!("{place}: {error}"))
            .with_remedy("numbers have a point and no unit: the unit is named by --unit")
    })?;
    let quantity = Quantity::of(digits, unit)
        .ok_or_else(|| Failure::usage(format!("{place}: {cell} {unit} is too large")))?;
    Ok((quantity.base(), digits.decimals()))
}
