//! Reads readings from a data set for a study: exports of one bench or many.
//!
//! - The options that choose readings of the journal choose here by the columns of the same names. What does not count in
//!   a study of the journal does not count here.
//! - A reading that several rows have counts once, and the others are counted as repeated. Rows that contradict each other
//!   are refused.
//! - A bench is a journal: the property `journal`. Series of another journal than the first have its name with them.

use super::about::{About, Facts, Here, Origin, deviation};
use super::journal::{KEYS, Take};
use super::readings::{Reading, SourcePosition};
use super::select::Select;
use crate::cli::Failure;
use crate::cli::query::Filter;
use crate::export::{Before, Header, RowFault, Seen, SetError, StoredRow, StoredSet};
use crate::quantity::{did_you_mean, safe};
use crate::spec::WireSize;
use crate::stats::sample::Scale;
use std::path::Path;
use std::rc::Rc;

/// The property that only a data set has.
const JOURNAL: &str = "journal";

/// Columns in which rows of one reading must agree, whatever is studied.
const AGREEING: [&str; 7] = [
    "axis", "unit", "standing", "series", "piece", "at_utc", "purpose",
];

/// Gives every matching reading to `take`. Returns what was found about all of them.
pub(super) fn read(
    select: &Select,
    path: &Path,
    keys: &[&str],
    take: &mut Take<'_>,
) -> Result<About, Failure> {
    let known = [KEYS, &[JOURNAL]].concat();
    if let Some(key) = keys.iter().find(|key| !known.contains(key)) {
        let failure = Failure::usage(format!("a data set has no {key:?} of a reading"));
        return Err(failure.with_remedy(did_you_mean(key, &known)));
    }
    let filter = select.query.filter()?;
    if let [id, ..] = filter.ids() {
        return Err(Failure::usage(format!(
            "series numbers belong to one journal, and a data set may have several: got {id}"
        ))
        .with_remedy(
            "choose by --plan, --tool, --job, --since and others, or study the journal: leave --data-set out",
        ));
    }
    let mut set = StoredSet::open(path).map_err(|error| refused(&error))?;
    let shown = path.display().to_string();
    let mut reader = Reader {
        wanted: wanted(&filter),
        select,
        keys,
        filter,
        seen: Seen::default(),
        about: About::new(Origin::DataSet(shown), select.deviation),
        header: None,
        first: None,
        names: Names::default(),
    };
    while let Some(series) = set.next_series().map_err(|error| refused(&error))? {
        let wire = series.rows.first().and_then(StoredRow::wire);
        for row in &series.rows {
            let place = (&set, series.file);
            reader.row(row, wire.as_ref(), place, take)?;
        }
    }
    Ok(reader.about)
}

fn refused(error: &SetError) -> Failure {
    let text = error.to_string();
    let failure = if error.is_io() {
        Failure::io(text)
    } else {
        Failure::usage(text)
    };
    failure.with_remedy(error.remedy())
}

/// The columns that the options look at, with the cells that match.
fn wanted(filter: &Filter<'_>) -> Vec<(String, String)> {
    let columns = filter.columns();
    columns
        .map(|(name, value)| (name.replace('-', "_"), safe(value)))
        .collect()
}

/// Numbers for names.
#[derive(Default)]
struct Names(Vec<String>);

impl Names {
    fn number(&mut self, name: &str) -> usize {
        let known = self.0.iter().position(|known| known == name);
        known.unwrap_or_else(|| {
            self.0.push(name.to_owned());
            self.0.len() - 1
        })
    }
}

struct Reader<'s> {
    select: &'s Select,
    keys: &'s [&'s str],
    filter: Filter<'s>,
    /// The columns that the options look at, with the cells that match.
    wanted: Vec<(String, String)>,
    seen: Seen,
    about: About,
    /// The columns that were found complete last.
    header: Option<Rc<Header>>,
    /// The journal of the first reading.
    first: Option<u128>,
    names: Names,
}

impl Reader<'_> {
    fn row(
        &mut self,
        row: &StoredRow,
        wire: Option<&WireSize>,
        place: (&StoredSet, usize),
        take: &mut Take<'_>,
    ) -> Result<(), Failure> {
        self.find_columns(row, place)?;
        let is_repeated = self.is_repeated(row, place)?;
        if !self.matches(row, wire) {
            return Ok(());
        }
        if is_repeated {
            self.about.left_out.repeated += 1;
            return Ok(());
        }
        if !self.select.takes(row.standing()) {
            self.about.left_out.note(row.standing());
            return Ok(());
        }
        self.note(row, wire)?;
        let base = if self.select.deviation {
            deviation(row.value.base(), &row.limits)?
        } else {
            row.value.base()
        };
        let keys = self.keys.iter();
        let reading = Reading {
            base,
            at: row.at.0,
            place: SourcePosition::Row {
                journal: row.journal,
                series: row.series,
                piece: row.piece,
                entry: row.seq,
            },
            cells: keys.map(|key| self.cell(row, wire, key)).collect(),
        };
        take(reading, Scale::from(row.unit))
    }

    /// Refuses a file without a column that the study needs.
    fn find_columns(
        &mut self,
        row: &StoredRow,
        (set, file): (&StoredSet, usize),
    ) -> Result<(), Failure> {
        let header = row.header();
        if self
            .header
            .as_ref()
            .is_some_and(|known| Rc::ptr_eq(known, header))
        {
            return Ok(());
        }
        let keys = self.keys.iter().map(|key| match *key {
            "day" | "at" => "at_utc",
            "wire" => "wire_mm2",
            // It follows from the limits, which every row has.
            "nominal" => "axis",
            key => key,
        });
        let options = self.wanted.iter().map(|(name, _)| name.as_str());
        let size = self.filter.wire().map(|_| "wire_mm2");
        let always = ["terminal", "wire_mm2", "wire_gauge", "sizing", "instrument"];
        let mut needed = keys.chain(options).chain(size).chain(always);
        if let Some(name) = needed.find(|name| !header.has(name)) {
            return Err(refused(&SetError {
                path: set.path(file).to_owned(),
                line: None,
                fault: RowFault::NoColumn {
                    name: name.to_owned(),
                }
                .into(),
            }));
        }
        self.header = Some(Rc::clone(header));
        Ok(())
    }

    /// Whether another row had this reading; a failure if it said something else.
    fn is_repeated(
        &mut self,
        row: &StoredRow,
        (set, file): (&StoredSet, usize),
    ) -> Result<bool, Failure> {
        let value = row.value.base().to_string();
        let limits = row.limits.to_string();
        let cells = AGREEING.iter().chain(self.keys);
        let cells = cells.map(|name| row.cell(name).unwrap_or_default());
        let options = self.wanted.iter();
        let options = options.map(|(name, _)| row.cell(name).unwrap_or_default());
        let says: Vec<&str> = [value.as_str(), &limits]
            .into_iter()
            .chain(cells)
            .chain(options)
            .collect();
        match self.seen.note((row.journal, row.seq), file, &says) {
            Before::New => Ok(false),
            Before::Same => Ok(true),
            Before::Differs { file: other } => Err(Failure::usage(format!(
                "{}:{}: entry {} of journal {:032x} says something else in {}",
                set.path(file).display(),
                row.number,
                row.seq,
                row.journal,
                set.path(other).display(),
            ))
            .with_remedy("keep the newer export only: what was retracted or doubted since stands in that one")),
        }
    }

    fn matches(&self, row: &StoredRow, wire: Option<&WireSize>) -> bool {
        let mut wanted = self.wanted.iter();
        let size = self.filter.wire();
        wanted.all(|(name, value)| row.cell(name) == Some(value))
            && size.is_none_or(|size| wire.is_some_and(|wire| wire.area == size))
            && self.filter.time(row.at)
    }

    fn note(&mut self, row: &StoredRow, wire: Option<&WireSize>) -> Result<(), Failure> {
        let axis = row.cell("axis").unwrap_or_default();
        let here = Here {
            journal: Some(row.journal),
            series: row.series,
            axis: self.names.number(axis),
            instrument: row.cell("instrument").map(|name| self.names.number(name)),
        };
        self.first.get_or_insert(row.journal);
        if row.resolution.is_none() {
            self.about.note_digits(row.value, row.unit);
        }
        self.about.note(here, || Facts {
            unit: row.unit,
            axis,
            limits: &row.limits,
            step: row.resolution,
            crimp: row.cell("terminal").zip(wire),
        })
    }

    /// The value of a property, as a study of the journal has it.
    fn cell(&self, row: &StoredRow, wire: Option<&WireSize>, key: &str) -> String {
        let cell = match key {
            // Not said is a cell without a word.
            "pull_mode" => Some(row.cell(key).unwrap_or_default().to_owned()),
            "series" if self.first != Some(row.journal) => {
                Some(format!("{} of {:032x}", row.series, row.journal))
            }
            "day" => row.at.to_string().get(..10).map(str::to_owned),
            "at" => Some(row.at.to_string()),
            "wire" => wire.map(ToString::to_string),
            "nominal" => row.limits.centre().map(|base| base.to_string()),
            key => row.cell(key).map(str::to_owned),
        };
        cell.unwrap_or_else(|| row.purpose.unnamed().to_owned())
    }
}
