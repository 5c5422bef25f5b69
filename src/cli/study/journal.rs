//! Reads readings from the journal for a study.

use super::about::{About, Facts, Here, Origin, deviation};
use super::readings::{Reading, SourcePosition};
use super::select::Select;
use crate::cli::query::{self, Rest, Search};
use crate::cli::{Context, Failure, configured};
use crate::entry::Seq;
use crate::entry::glance::Glance;
use crate::entry::ledger::{Entered, Series};
use crate::quantity::did_you_mean;
use crate::quantity::{Unit, WallMicros};
use crate::spec::{ArmedSubject, PullMode};
use crate::stats::sample::Scale;

/// The properties of a reading that can be used as a column.
pub(super) const KEYS: &[&str] = &[
    "series",
    "piece",
    "day",
    "station",
    "operator",
    "tool",
    "nest",
    "instrument",
    "terminal",
    "wire",
    "purpose",
    "plan",
    "at",
    "pull_mode",
    "job",
    "terminal_lot",
    "wire_lot",
    "customer",
    "item",
    "serial",
    "nominal",
];

/// Takes the readings one by one.
pub(super) type Take<'t> = dyn FnMut(Reading, Scale) -> Result<(), Failure> + 't;

/// The data kept of a reading until its series is final.
struct KeptReading {
    at: WallMicros,
    base: i64,
    unit: Unit,
    piece: u32,
    /// Index of its axis in the series.
    axis: usize,
    /// Index of its instrument in the series; `None` if the series does not list it.
    instrument: Option<usize>,
}

impl KeptReading {
    fn here(&self, series: &Series<Self>) -> Here {
        Here {
            journal: None,
            series: series.id,
            axis: self.axis,
            instrument: self.instrument,
        }
    }
}

struct ReadingFilter<'s> {
    select: &'s Select,
    keys: &'s [&'s str],
    /// Whether times are needed; otherwise they are not parsed.
    is_timed: bool,
    about: About,
    take: &'s mut Take<'s>,
}

/// Gives every matching reading to `take`. Returns what was found about all of them.
pub(super) fn read<'s>(
    select: &'s Select,
    context: &Context,
    keys: &'s [&'s str],
    take: &'s mut Take<'s>,
) -> Result<About, Failure> {
    for key in keys {
        if !KEYS.contains(key) {
            return Err(
                Failure::usage(format!("the journal knows no {key:?} of a reading"))
                    .with_remedy(did_you_mean(key, KEYS)),
            );
        }
    }
    let daemon = configured::daemon_of(context)?;
    let filter = select.query.filter()?;
    let mut telling = ReadingFilter {
        select,
        keys,
        is_timed: keys.iter().any(|key| ["day", "at"].contains(key)),
        about: About::new(Origin::Journal, select.deviation),
        take,
    };
    Search::run(&daemon, filter, &mut telling)?;
    Ok(telling.about)
}

impl query::Take for ReadingFilter<'_> {
    type Kept = KeptReading;

    fn keep(
        &mut self,
        series: &Series<KeptReading>,
        glance: &Glance<'_>,
        _: Rest<'_>,
    ) -> Result<Option<KeptReading>, Failure> {
        let mut armed = series.spec.axes.iter();
        let Some(axis) = armed.position(|axis| axis.name.as_str() == glance.axis) else {
            return Ok(None);
        };
        let mut instruments = series.spec.instruments.iter();
        Ok(Some(KeptReading {
            at: if self.is_timed {
                query::time_of(glance)?
            } else {
                WallMicros(0)
            },
            base: glance.base,
            unit: glance.unit,
            piece: glance.piece,
            axis,
            instrument: instruments.position(|known| known.name == glance.instrument),
        }))
    }

    fn tell(&mut self, series: Series<KeptReading>) -> Result<(), Failure> {
        for entered in &series.readings {
            let Entered {
                seq,
                disposition,
                kept: found,
                ..
            } = entered;
            if !self.select.takes(disposition.name()) {
                self.about.left_out.note(disposition.name());
                continue;
            }
            let Some(axis) = series.spec.axes.get(found.axis) else {
                continue;
            };
            self.about.note(found.here(&series), || Facts {
                unit: found.unit,
                axis: axis.name.as_str(),
                limits: &axis.limits,
                step: found
                    .instrument
                    .and_then(|at| series.spec.instruments.get(at))
                    .map(|instrument| instrument.resolution),
                crimp: match &series.spec.subject {
                    ArmedSubject::Crimps { crimp, .. } => {
                        Some((crimp.terminal.as_str(), &crimp.wire))
                    }
                    ArmedSubject::Blocks(_) => None,
                },
            })?;
            let cell = |key: &&str| match *key {
                // Not said is a cell without a word.
                "pull_mode" => Some(entered.pull_mode.map_or("", PullMode::name).to_owned()),
                key => cell(&series, *seq, found, key),
            };
            let base = if self.select.deviation {
                deviation(found.base, &axis.limits)?
            } else {
                found.base
            };
            let reading = Reading {
                base,
                at: found.at.0,
                place: SourcePosition::Entry {
                    series: series.id,
                    piece: found.piece,
                    entry: *seq,
                },
                cells: self
                    .keys
                    .iter()
                    .map(|key| {
                        cell(key).unwrap_or_else(|| series.spec.purpose.unnamed().to_owned())
                    })
                    .collect(),
            };
            (self.take)(reading, found.unit.into())?;
        }
        Ok(())
    }
}

fn cell(series: &Series<KeptReading>, seq: Seq, found: &KeptReading, key: &str) -> Option<String> {
    let spec = &series.spec;
    let crimp = match &spec.subject {
        ArmedSubject::Crimps { crimp, .. } => Some(crimp),
        ArmedSubject::Blocks(_) => None,
    };
    match key {
        "series" => Some(series.id.to_string()),
        "piece" => Some(found.piece.to_string()),
        "day" => found.at.to_string().get(..10).map(str::to_owned),
        "station" => Some(spec.station.clone()),
        "operator" => series.operator(seq).map(str::to_owned),
        "tool" => spec.tool.as_ref().map(|tool| tool.id.clone()),
        "nest" => spec.tool.as_ref().and_then(|tool| tool.nest.clone()),
        "instrument" => {
            let instrument = found.instrument.and_then(|at| spec.instruments.get(at));
            instrument.map(|instrument| instrument.name.clone())
        }
        "terminal" => crimp.map(|crimp| crimp.terminal.clone()),
        "wire" => crimp.map(|crimp| crimp.wire.to_string()),
        "purpose" => Some(spec.purpose.name().to_owned()),
        "plan" => spec.plan.clone(),
        "job" => spec.job.as_ref().map(|job| job.id.clone()),
        "terminal_lot" => series.lots(seq)?.terminal.clone(),
        "wire_lot" => series.lots(seq)?.wire.clone(),
        "at" => Some(found.at.to_string()),
        "customer" => spec.job.as_ref()?.customer.clone(),
        "item" => spec.job.as_ref()?.item.clone(),
        "serial" => spec.job.as_ref()?.serial.clone(),
        "nominal" => {
            let axis = spec.axes.get(found.axis);
            axis.and_then(|axis| axis.limits.centre())
                .map(|base| base.to_string())
        }
        _ => None,
    }
}
