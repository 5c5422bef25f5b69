//! The balanced plan of a gauge study.

use crate::stats::sample::Scale;
use crate::stats::{Sample, Undefined};
use std::collections::{BTreeMap, BTreeSet};

/// One reading of a gauge study.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trial {
    /// Label of the part. Every appraiser measures it.
    pub part: String,
    /// Name of the appraiser.
    pub appraiser: String,
    /// Value in base units.
    pub base: i64,
}

/// A plan in which each appraiser measures each part the same number of times.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    parts: usize,
    appraisers: Vec<String>,
    trials: usize,
    /// Cells by appraiser, then by part.
    cells: Vec<Vec<Sample>>,
    all: Sample,
}

impl Plan {
    /// The plan of readings in any order.
    ///
    /// # Errors
    ///
    /// [`Undefined::TooFewGroups`] below 2 parts or appraisers, [`Undefined::TooFew`] below 2 trials,
    /// [`Undefined::Unequal`] if cells differ in their number of readings.
    pub fn new(trials: &[Trial], scale: impl Into<Scale>) -> Result<Self, Undefined> {
        let scale = scale.into();
        let mut table: BTreeMap<&str, BTreeMap<&str, Vec<i64>>> = BTreeMap::new();
        let mut parts: BTreeSet<&str> = BTreeSet::new();
        for trial in trials {
            parts.insert(&trial.part);
            let row = table.entry(&trial.appraiser).or_default();
            row.entry(&trial.part).or_default().push(trial.base);
        }
        let number = |count: usize| u64::try_from(count).map_err(|_| Undefined::TooLarge);
        for count in [parts.len(), table.len()] {
            if count < 2 {
                let got = number(count)?;
                return Err(Undefined::TooFewGroups { got, want: 2 });
            }
        }
        let counts = || {
            let cell =
                |row: &BTreeMap<&str, Vec<i64>>, part: &str| row.get(part).map_or(0, Vec::len);
            let names = || parts.iter();
            table
                .values()
                .flat_map(move |row| names().map(move |part| cell(row, part)))
        };
        let (least, most) = (counts().min().unwrap_or(0), counts().max().unwrap_or(0));
        if least != most {
            return Err(Undefined::Unequal {
                fewest: number(least)?,
                most: number(most)?,
            });
        }
        Undefined::unless(number(least)?, 2)?;
        let cells = table
            .values()
            .map(|row| {
                let of_part = |bases: &Vec<i64>| Sample::from_bases(bases.clone(), scale);
                row.values().map(of_part).collect::<Result<Vec<_>, _>>()
            })
            .collect::<Result<Vec<_>, _>>()?;
        let bases = trials.iter().map(|trial| trial.base).collect();
        Ok(Self {
            parts: parts.len(),
            appraisers: table.keys().map(|name| (*name).to_owned()).collect(),
            trials: least,
            cells,
            all: Sample::from_bases(bases, scale)?,
        })
    }

    /// Number of parts.
    pub fn parts(&self) -> usize {
        self.parts
    }

    /// The appraisers, sorted by name.
    pub fn appraisers(&self) -> &[String] {
        &self.appraisers
    }

    /// Number of times that each appraiser measured each part.
    pub fn trials(&self) -> usize {
        self.trials
    }

    /// All readings.
    pub fn all(&self) -> &Sample {
        &self.all
    }

    /// The readings of each cell: by appraiser, then by part.
    pub fn cells(&self) -> &[Vec<Sample>] {
        &self.cells
    }

    /// All readings of each appraiser.
    pub fn by_appraiser(&self) -> Result<Vec<Sample>, Undefined> {
        self.cells
            .iter()
            .map(|row| self.joined(row.iter()))
            .collect()
    }

    /// All readings of each part.
    pub fn by_part(&self) -> Result<Vec<Sample>, Undefined> {
        (0..self.parts)
            .map(|part| self.joined(self.cells.iter().filter_map(|row| row.get(part))))
            .collect()
    }

    fn joined<'c>(&self, cells: impl Iterator<Item = &'c Sample>) -> Result<Sample, Undefined> {
        let bases: Vec<i64> = cells
            .flat_map(|cell| cell.bases().iter().copied())
            .collect();
        self.all.part(&bases)
    }
}
