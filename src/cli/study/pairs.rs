//! Pairs of readings: two quantities of the same piece.

use super::file;
use super::readings::{Reading, Readings};
use super::regression::{PairBy, title};
use super::select::Select;
use crate::cli::{Context, Failure};
use crate::quantity::{Decimal, Quantity, Unit};
use crate::spec::Purpose;
use crate::stats::Sample;
use crate::stats::sample::Scale;
use std::collections::HashMap;

/// The axis that forces are plotted against.
const X: &str = "core_crimp_height";
/// The axis of the readings.
const Y: &str = "pull_force";

/// Readings of y, each with the x of its piece.
pub(super) struct Pairs {
    /// The readings of y, with limits and rows.
    pub(super) readings: Readings,
    /// The value of x of each row.
    pub(super) x: Sample,
    /// The names of x and y.
    pub(super) names: [String; 2],
    /// Number of readings without one on the other axis.
    pub(super) alone: u64,
    /// Number of readings of pieces that have several on an axis.
    pub(super) ambiguous: u64,
}

/// The pairs of a file: two columns.
pub(super) fn of_file(
    select: &Select,
    context: &Context,
    column: &str,
    unit: Option<Unit>,
) -> Result<Pairs, Failure> {
    let Some(unit) = unit else {
        return Err(Failure::usage("no --x-unit")
            .with_remedy(format!("name the unit of column {column:?}: --x-unit mm")));
    };
    let mut readings = select.readings(context, &[column])?;
    let cells = readings.rows.iter().map(|row| {
        let cell = row.cells.first().map_or("", String::as_str);
        file::number(cell, &row.place.to_string())
    });
    let cells = cells.collect::<Result<Vec<_>, Failure>>()?;
    let most = cells.iter().map(|cell| cell.decimals()).max().unwrap_or(0);
    let shown = format!("column {column:?}");
    let scale = file::scale(most, unit, &shown)?;
    let too_large = || Failure::usage(format!("{shown} has values that are too large"));
    let bases = cells
        .into_iter()
        .map(|cell| Quantity::exact(cell, unit, scale.finer()).ok_or_else(too_large));
    let bases = bases.collect::<Result<Vec<_>, Failure>>()?;
    let step = Quantity::exact(Decimal::new(1, most), unit, scale.finer());
    let x = sample(bases, scale, step)?;
    let y = select.column.clone().unwrap_or_default();
    title(&mut readings, column);
    Ok(Pairs {
        readings,
        x,
        names: [column.to_owned(), y],
        alone: 0,
        ambiguous: 0,
    })
}

impl Pairs {
    /// The differences of readings and x, which are of one unit, with x.
    pub(super) fn less_x(self) -> Result<(Readings, Sample), Failure> {
        let Self {
            mut readings, x, ..
        } = self;
        let finer = readings.scale.finer().max(x.scale().finer());
        let scale = Scale::new(readings.unit(), finer);
        let scale = scale.map_err(|reason| Failure::usage(reason.to_string()))?;
        let to = |base: i64, from: u8| {
            let parts = 10_i64.checked_pow(u32::from(finer - from))?;
            base.checked_mul(parts)
        };
        let (of_y, of_x) = (readings.scale.finer(), x.scale().finer());
        let too_large = || Failure::usage("these values are too large for exact sums");
        for (row, size) in readings.rows.iter_mut().zip(x.bases()) {
            let error = to(row.base, of_y).zip(to(*size, of_x));
            let error = error.and_then(|(value, size)| value.checked_sub(size));
            row.base = error.ok_or_else(too_large)?;
        }
        readings.step = readings.step.and_then(|step| to(step, of_y));
        readings.scale = scale;
        Ok((readings, x))
    }
}

/// The errors of readings of gauge blocks with their values for `keys`, of which the first is the nominal, and the size of
/// each block.
pub(super) fn of_blocks(
    select: &Select,
    context: &Context,
    keys: &[&str],
) -> Result<(Readings, Sample), Failure> {
    let blocks = select.of_deviation();
    let readings = blocks.each_axis(context, keys)?;
    let sizes = readings.rows.iter().map(|row| {
        let cell = row.cells.first().map_or("", String::as_str);
        cell.parse::<i64>().map_err(|_| {
            Failure::usage("some of these readings have no nominal size")
                .with_remedy("choose verification series: --purpose verification")
        })
    });
    let sizes = sizes.collect::<Result<Vec<_>, Failure>>()?;
    let sizes = sample(sizes, readings.scale, readings.step)?;
    Ok((readings, sizes))
}

/// A group of series and the number of a piece.
type Piece = (String, String);

/// The pairs of the journal: the readings on two axes with the same piece.
pub(super) fn of_journal(
    select: &Select,
    context: &Context,
    x: Option<&str>,
    by: PairBy,
) -> Result<Pairs, Failure> {
    let y = select.query.axis().unwrap_or(Y).to_owned();
    let x = x.unwrap_or(X).to_owned();
    if x == y {
        return Err(Failure::usage(format!("--x and --axis are both {x}"))
            .with_remedy("choose two axes, such as --x core_crimp_height --axis pull_force"));
    }
    let keys = [by.key(), "piece"];
    let across = select.of_axis(&x).readings(context, &keys)?;
    let mut readings = select.of_axis(&y).readings(context, &keys)?;
    for of in [&across, &readings] {
        of.of_one_nominal()?;
    }
    let (xs, ys) = (by_piece(&across), by_piece(&readings));
    let several = |of: &HashMap<Piece, Vec<&Reading>>| {
        let several = of.values().map(Vec::len).filter(|count| *count > 1);
        several.sum::<usize>()
    };
    let mut bases = Vec::new();
    let mut rows = Vec::new();
    let mut paired = 0;
    for row in &readings.rows {
        let (Some([a]), Some([_])) = (
            piece(row)
                .and_then(|piece| xs.get(&piece))
                .map(Vec::as_slice),
            piece(row)
                .and_then(|piece| ys.get(&piece))
                .map(Vec::as_slice),
        ) else {
            continue;
        };
        bases.push(a.base);
        rows.push(row.clone());
        paired += 1;
    }
    let ambiguous = several(&xs) + several(&ys);
    let all = across.rows.len() + readings.rows.len();
    let number = |count: usize| u64::try_from(count).unwrap_or(u64::MAX);
    let alone = number(all.saturating_sub(ambiguous + 2 * paired));
    if rows.is_empty() {
        return Err(no_pairs(&x, &y, by, ambiguous));
    }
    let sample = sample(bases, across.scale, across.step)?;
    readings.count = number(rows.len());
    readings.rows = rows;
    let words = |axis: &str| axis.replace('_', " ");
    title(&mut readings, &words(&x));
    Ok(Pairs {
        readings,
        x: sample,
        names: [words(&x), words(&y)],
        alone,
        ambiguous: number(ambiguous),
    })
}

fn no_pairs(x: &str, y: &str, by: PairBy, ambiguous: usize) -> Failure {
    if ambiguous > 0 {
        return Failure::usage(format!(
            "no piece has one reading of {x} and one of {y}: {ambiguous} readings are of pieces with several on an axis"
        ))
        .with_remedy("choose series in which each piece is measured once");
    }
    let failure = Failure::usage(format!("no piece has a reading of {x} and one of {y}"));
    match by {
        PairBy::Series => failure.with_remedy(
            "if heights and forces are in series of their own, with the same numbers of pieces, pair them: --pair-by job",
        ),
        PairBy::Job | PairBy::Serial | PairBy::TerminalLot | PairBy::WireLot => failure
            .with_remedy("the pieces of both series need the same numbers, and the series the same job or lot"),
    }
}

/// The group and piece of a reading; `None` if its series has no such property.
fn piece(row: &Reading) -> Option<Piece> {
    let [group, piece] = &row.cells[..] else {
        return None;
    };
    let unnamed = Purpose::ALL.map(Purpose::unnamed);
    (!unnamed.contains(&group.as_str())).then(|| (group.clone(), piece.clone()))
}

fn by_piece(readings: &Readings) -> HashMap<Piece, Vec<&Reading>> {
    let mut pieces: HashMap<Piece, Vec<&Reading>> = HashMap::new();
    for row in &readings.rows {
        if let Some(piece) = piece(row) {
            pieces.entry(piece).or_default().push(row);
        }
    }
    pieces
}

fn sample(bases: Vec<i64>, scale: Scale, step: Option<i64>) -> Result<Sample, Failure> {
    let sample = Sample::from_bases(bases, scale);
    let sample = sample.map_err(|reason| Failure::usage(reason.to_string()))?;
    Ok(sample.with_step_base(step))
}
