//! Readings by the levels of several factors.

use super::readings::{Reading, Readings};
use super::select::Select;
use crate::cli::{Context, Failure};
use crate::stats::components::{Cell, Factor, Together};
use crate::stats::picture::Boxes;
use crate::stats::sample::Scale;
use crate::stats::stream::Stream;
use crate::stats::{Summary, Undefined};
use std::collections::{BTreeMap, HashMap};

/// More combinations of levels than this are no study of factors.
const MOST_CELLS: usize = 20_000;

/// The readings of each combination of levels.
pub(super) struct Levels {
    pub(super) factors: Vec<Factor>,
    /// The names of the levels of each factor, in the order of first appearance.
    names: Vec<Vec<String>>,
    cells: BTreeMap<Vec<usize>, Stream>,
    /// The readings of each level of each factor.
    single: Vec<Vec<Stream>>,
    all: Option<Stream>,
    /// The level of the last reading, and how often it changed, of each factor.
    turns: Vec<(usize, usize)>,
}

/// A factor as it was named: the columns whose cells make its levels.
struct Asked {
    name: String,
    within: Option<String>,
    /// Numbers of its columns: those it is within, then its own.
    columns: Vec<usize>,
}

/// `tool/nest,operator`: tool, nest within tool, operator; and the columns that they need.
fn asked(by: &[String]) -> Result<(Vec<Asked>, Vec<String>), Failure> {
    let mut columns: Vec<String> = Vec::new();
    let mut factors: Vec<Asked> = Vec::new();
    for text in by {
        let mut path = Vec::new();
        let mut within: Option<String> = None;
        for part in text.split('/') {
            if part.is_empty() {
                return Err(
                    Failure::usage(format!("--by: got {text:?}, want names of columns"))
                        .with_remedy("name the factors: --by tool/nest,operator,day"),
                );
            }
            let at = columns.iter().position(|name| name == part);
            let at = at.unwrap_or_else(|| {
                columns.push(part.to_owned());
                columns.len() - 1
            });
            path.push(at);
            if !factors.iter().any(|factor| factor.columns == path) {
                factors.push(Asked {
                    name: part.to_owned(),
                    within: within.clone(),
                    columns: path.clone(),
                });
            }
            within =
                Some(within.map_or_else(|| part.to_owned(), |outer| format!("{outer}/{part}")));
        }
    }
    Ok((factors, columns))
}

/// The columns that make the levels of these factors, in the order of [`Levels::of_rows`].
pub(super) fn columns(by: &[String]) -> Result<Vec<String>, Failure> {
    Ok(asked(by)?.1)
}

/// Sorts readings into levels.
struct Sorter {
    asked: Vec<Asked>,
    /// The numbers of the levels of each factor, by the cells that name them.
    known: Vec<HashMap<Vec<String>, usize>>,
    levels: Levels,
}

impl Sorter {
    fn new(asked: Vec<Asked>) -> Self {
        let levels = Levels {
            factors: Vec::new(),
            names: vec![Vec::new(); asked.len()],
            cells: BTreeMap::new(),
            single: vec![Vec::new(); asked.len()],
            all: None,
            turns: vec![(0, 0); asked.len()],
        };
        Self {
            known: vec![HashMap::new(); asked.len()],
            asked,
            levels,
        }
    }

    fn push(&mut self, reading: &Reading, scale: Scale) -> Result<(), Failure> {
        let cell = |at: &usize| reading.cells.get(*at).cloned().unwrap_or_default();
        let mut key = Vec::new();
        let factors = self.asked.iter().zip(&mut self.known);
        for ((factor, known), names) in factors.zip(&mut self.levels.names) {
            let path: Vec<String> = factor.columns.iter().map(cell).collect();
            let next = known.len();
            if !known.contains_key(&path) {
                names.push(path.join("/"));
            }
            key.push(*known.entry(path).or_insert(next));
        }
        self.levels
            .push(key, reading.base, || Stream::new(scale))
            .map_err(|reason| Failure::usage(reason.to_string()))
    }

    /// Refuses a factor with one level: it explains nothing.
    fn finish(mut self) -> Result<Levels, Failure> {
        let factors = self.asked.iter().zip(&self.levels.names);
        let factors = factors
            .map(|(asked, names)| Factor::new(&asked.name, asked.within.as_deref(), names.len()));
        self.levels.factors = factors.collect();
        let mut factors = self.levels.factors.iter();
        if let Some(single) = factors.find(|factor| factor.levels < 2) {
            return Err(Failure::usage(format!(
                "all these readings are of one {}",
                single.full_name()
            ))
            .with_remedy("leave it out, or choose more readings"));
        }
        Ok(self.levels)
    }
}

/// Reads the readings that are selected, by the levels of these factors.
pub(super) fn read(
    select: &Select,
    context: &Context,
    by: &[String],
) -> Result<(Readings, Levels), Failure> {
    let (asked, columns) = asked(by)?;
    let keys: Vec<&str> = columns.iter().map(String::as_str).collect();
    let mut sorter = Sorter::new(asked);
    let readings = select.each(context, &keys, &mut |reading, scale| {
        sorter.push(&reading, scale)
    })?;
    Ok((readings, sorter.finish()?))
}

/// The refusal of factors that change together.
pub(super) fn told_apart(Together(first, second): &Together) -> Failure {
    Failure::usage(format!(
        "{first} and {second} change together in these readings, so their parts cannot be separated"
    ))
    .with_remedy(format!(
        "leave one of them out, or measure each {first} with several of {second}"
    ))
}

impl Levels {
    /// The levels of readings whose cells are those of the columns of `by`, in order.
    pub(super) fn of_rows(readings: &Readings, by: &[String]) -> Result<Self, Failure> {
        let mut sorter = Sorter::new(asked(by)?.0);
        for row in &readings.rows {
            sorter.push(row, readings.scale)?;
        }
        sorter.finish()
    }

    fn push(
        &mut self,
        key: Vec<usize>,
        base: i64,
        stream: impl Fn() -> Stream,
    ) -> Result<(), Undefined> {
        self.all.get_or_insert_with(&stream).push(base)?;
        for ((last, changes), level) in self.turns.iter_mut().zip(&key) {
            *changes += usize::from(last != level);
            *last = *level;
        }
        for (single, level) in self.single.iter_mut().zip(&key) {
            while single.len() <= *level {
                single.push(stream());
            }
            if let Some(own) = single.get_mut(*level) {
                own.push(base)?;
            }
        }
        self.cells.entry(key).or_insert_with(stream).push(base)?;
        if self.cells.len() > MOST_CELLS {
            return Err(Undefined::NotApplicable {
                why: "there are more than 20,000 combinations of levels: choose fewer factors",
            });
        }
        Ok(())
    }

    /// The readings of each combination.
    pub(super) fn cells(&self, of: &Readings) -> Result<Vec<Cell>, Failure> {
        let cells = self.cells.iter().map(|(levels, stream)| {
            Ok(Cell {
                levels: levels.clone(),
                readings: summary(stream, of)?,
            })
        });
        cells.collect()
    }

    /// All readings.
    pub(super) fn all(&self, of: &Readings) -> Result<Summary, Failure> {
        let none = Stream::new(of.scale);
        summary(self.all.as_ref().unwrap_or(&none), of)
    }

    /// The factors with the names of their levels.
    pub(super) fn names(&self) -> Vec<(String, Vec<String>)> {
        let factors = self.factors.iter().zip(&self.names);
        let named = factors.map(|(factor, names)| (factor.full_name(), names.clone()));
        named.collect()
    }

    /// For each factor whose levels were measured one after the other, that a drift would count as its spread.
    pub(super) fn in_turn(&self) -> Vec<String> {
        let count = self.all.as_ref().map_or(0, Stream::count);
        let factors = self.factors.iter().zip(&self.turns);
        let in_turn = factors.filter(|(factor, (_, changes))| {
            let levels = factor.levels;
            *changes + 1 == levels && u64::try_from(levels).is_ok_and(|levels| levels < count)
        });
        in_turn
            .map(|(factor, _)| {
                let name = factor.full_name();
                format!(
                    "the readings of each {name} follow each other, so a drift over time would count as spread of {name}"
                )
            })
            .collect()
    }

    /// The readings of each level of each factor.
    pub(super) fn boxes(&self, of: &Readings) -> Vec<Boxes> {
        let factors = self.names().into_iter().zip(&self.single);
        let boxes = factors.map(|((factor, names), streams)| Boxes {
            factor,
            levels: names
                .into_iter()
                .zip(streams)
                .filter_map(|(name, stream)| Some((name, stream.summary(of.step).ok()?)))
                .collect(),
        });
        boxes.collect()
    }
}

fn summary(stream: &Stream, of: &Readings) -> Result<Summary, Failure> {
    let summary = stream.summary(of.step);
    summary.map_err(|reason| Failure::usage(reason.to_string()))
}
