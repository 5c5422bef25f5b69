//! Reads readings from a CSV file with headings.
//!
//! The file is read twice. The first pass finds the number of decimals, which gives a scale on which all values are
//! whole numbers. No cell is rounded; what does not fit is refused.

use super::cells::{Cells, Columns};
use super::journal::Take;
use super::readings::{LeftOut, Reading, Readings, SourcePosition, StepFrom};
use super::select::Select;
use crate::cli::Failure;
use crate::quantity::{Decimal, Dimension, Quantity, Unit};
use crate::stats::moments::MOST;
use crate::stats::sample::Scale;
use std::fs::File;
use std::io::{self, Cursor, Read, Seek};
use std::path::Path;

/// Maximum number of digits finer than a base unit. More leave no room for a digit before the point.
const FINEST: u8 = 18;

pub(super) trait SeekableRead: Read + Seek {}
impl<S: Read + Seek> SeekableRead for S {}

pub(super) fn read(
    select: &Select,
    path: &Path,
    keys: &[&str],
    take: &mut Take<'_>,
) -> Result<Readings, Failure> {
    let (Some(column), Some(unit)) = (&select.column, select.unit) else {
        return Err(Failure::usage("--from needs --column and --unit"));
    };
    let shown = path.display().to_string();
    let mut source = open(path)?;
    // The nominal is the last of the cells that are read beside the value.
    let nominal = select.nominal.as_deref();
    let wanted: Vec<&str> = keys.iter().copied().chain(nominal).collect();
    let columns = Columns::find(&mut source, &shown, column, &wanted)?;
    let digits = survey(&mut source, &columns, &shown, unit)?;
    digits.hold_commas(select, &columns, unit, &shown)?;
    let scale = digits.scale(unit, &shown)?;
    let mut readings = Readings {
        rows: Vec::new(),
        count: 0,
        scale,
        step: Quantity::exact(Decimal::new(1, digits.decimals), unit, scale.finer()),
        step_from: StepFrom::Digits,
        limits: Ok(None),
        nominals: Ok(()),
        left_out: LeftOut::default(),
        title: match nominal {
            Some(nominal) => format!("deviation of {column} from {nominal}, of {shown}"),
            None => format!("{column} of {shown}"),
        },
    };
    let mut cells = Cells::new(&mut source, &columns, &shown)?;
    while let Some(mut line) = cells.next()? {
        if line.value.is_empty() {
            readings.left_out.empty += 1;
            continue;
        }
        let place = format!("{shown}:{}", line.number);
        let decimal = number(&line.value, &place)?;
        let base = Quantity::exact(decimal, unit, scale.finer())
            .filter(|base| base.unsigned_abs() <= MOST)
            .ok_or_else(|| digits.too_large(&place, &line.value, unit))?;
        let base = match nominal.and_then(|_| line.keys.pop()) {
            Some(cell) => deviation(base, &cell, (unit, scale), &place)?,
            None => base,
        };
        readings.count += 1;
        let reading = Reading {
            base,
            at: 0,
            place: SourcePosition::Line(line.number),
            cells: line.keys,
        };
        take(reading, scale)?;
    }
    if readings.count == 0 {
        return Err(Failure::usage(format!(
            "{shown} has no readings in column {column:?}"
        )));
    }
    Ok(readings)
}

/// A value minus the nominal in its cell, which has no more digits than the readings have.
fn deviation(
    base: i64,
    cell: &str,
    (unit, scale): (Unit, Scale),
    place: &str,
) -> Result<i64, Failure> {
    let nominal = Quantity::exact(number(cell, place)?, unit, scale.finer());
    let deviation = nominal.and_then(|nominal| base.checked_sub(nominal));
    deviation.ok_or_else(|| {
        Failure::usage(format!(
            "{place}: the nominal {cell} has more digits than the readings, or is too large"
        ))
        .with_remedy("write readings and nominals with as many digits after the point")
    })
}

/// Opens a file. Standard input is kept in memory, so that it can be read twice.
pub(super) fn open(path: &Path) -> Result<Box<dyn SeekableRead>, Failure> {
    let shown = path.display();
    let unreadable =
        |error: &io::Error| Failure::io(format!("{shown} cannot be read")).because(error);
    let mut bytes = Vec::new();
    if path.as_os_str() == "-" {
        let read = io::stdin().read_to_end(&mut bytes);
        read.map_err(|error| unreadable(&error))?;
        return Ok(Box::new(Cursor::new(bytes)));
    }
    let mut file = File::open(path).map_err(|error| {
        if error.kind() == io::ErrorKind::NotFound {
            Failure::usage(format!("there is no file {shown}"))
        } else {
            unreadable(&error)
        }
    })?;
    let is_file = file.metadata().is_ok_and(|about| about.is_file());
    if is_file {
        return Ok(Box::new(io::BufReader::new(file)));
    }
    file.read_to_end(&mut bytes)
        .map_err(|error| unreadable(&error))?;
    Ok(Box::new(Cursor::new(bytes)))
}

/// Form of the numbers in a column.
#[derive(Default)]
struct Digits {
    /// Maximum number of decimals.
    decimals: u8,
    count: u64,
    /// Number of readings with a cell of digits only to their right, and the length of those.
    beside: u64,
    lengths: Option<(usize, usize)>,
    first: Option<(u64, String, String)>,
}

fn survey(
    source: &mut dyn SeekableRead,
    columns: &Columns,
    shown: &str,
    unit: Unit,
) -> Result<Digits, Failure> {
    let mut digits = Digits::default();
    let mut cells = Cells::new(source, columns, shown)?;
    while let Some(line) = cells.next()? {
        if line.value.is_empty() {
            continue;
        }
        let place = format!("{shown}:{}", line.number);
        let decimal = number(&line.value, &place)?;
        if Quantity::of(decimal, unit).is_none() {
            return Err(digits.too_large(&place, &line.value, unit));
        }
        digits.decimals = digits.decimals.max(decimal.decimals());
        digits.count += 1;
        let beside = &line.beside;
        if !beside.is_empty() && beside.bytes().all(|byte| byte.is_ascii_digit()) {
            digits.beside += 1;
            let (least, most) = digits.lengths.unwrap_or((beside.len(), beside.len()));
            digits.lengths = Some((least.min(beside.len()), most.max(beside.len())));
            if digits.first.is_none() {
                digits.first = Some((line.number, line.value.clone(), beside.clone()));
            }
        }
    }
    Ok(digits)
}

impl Digits {
    /// Refuses a file that probably has decimal commas, which split each number into two cells.
    fn hold_commas(
        &self,
        select: &Select,
        columns: &Columns,
        unit: Unit,
        shown: &str,
    ) -> Result<(), Failure> {
        let Some((line, value, beside)) = &self.first else {
            return Ok(());
        };
        let is_coarse = unit.dimension() == Dimension::Length && unit != Unit::Micrometre;
        let alike = self.lengths.is_some_and(|(least, most)| least == most);
        let looks_so = self.decimals == 0 && self.beside == self.count && alike;
        if !(looks_so && (columns.beside_is_unnamed || is_coarse)) || select.resolution.is_some() {
            return Ok(());
        }
        Err(Failure::usage(format!(
            "{shown}:{line}: got {value} and {beside} in two cells, as in every line, which may be {value}.{beside} {unit} with a decimal comma"
        ))
        .with_remedy(format!(
            "write numbers with a point; if these readings are whole numbers of {unit}, say so: --resolution \"1 {unit}\""
        )))
    }

    /// The coarsest scale on which a step of the last digit is a whole number.
    fn scale(&self, unit: Unit, shown: &str) -> Result<Scale, Failure> {
        scale(self.decimals, unit, shown)
    }

    fn too_large(&self, place: &str, cell: &str, unit: Unit) -> Failure {
        let last = Decimal::new(1, self.decimals);
        let per_last = (0..=FINEST).find_map(|finer| Quantity::exact(last, unit, finer));
        let most = i64::try_from(MOST).unwrap_or(i64::MAX) / per_last.unwrap_or(1).max(1);
        let most = Decimal::new(most, self.decimals);
        Failure::usage(format!(
            "{place}: {cell} {unit} is too large: with {} digits after the point, as this column has, values up to ±{most} {unit} are kept exactly",
            self.decimals
        ))
        .with_remedy("round the column to fewer digits, or take the same number away from all of them")
    }
}

/// The coarsest scale on which numbers with these decimals are whole.
pub(super) fn scale(decimals: u8, unit: Unit, shown: &str) -> Result<Scale, Failure> {
    let last = Decimal::new(1, decimals);
    let finer = (0..=FINEST).find(|finer| Quantity::exact(last, unit, *finer).is_some());
    let scale = finer.and_then(|finer| Scale::new(unit, finer).ok());
    scale.ok_or_else(|| {
        Failure::usage(format!(
            "{shown} has {decimals} digits after the point in {unit}, more than can be kept exactly"
        ))
        .with_remedy("round the column to fewer digits")
    })
}

pub(super) fn number(cell: &str, place: &str) -> Result<Decimal, Failure> {
    cell.parse().map_err(|error| {
        Failure::usage(format!("{place}: {error}")).with_remedy(
            "numbers have a point and no unit: the unit is named by --unit; only lines above the heading line may be remarks that begin with #",
        )
    })
}
