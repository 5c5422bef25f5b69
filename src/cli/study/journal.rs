//! Reads readings from the journal for a study.

use super::readings::{LeftOut, Reading, Readings, SourcePosition, StepFrom};
use super::select::Select;
use crate::cli::query::{self, Rest, Search};
use crate::cli::{Context, Failure, configured};
use crate::entry::Seq;
use crate::entry::glance::Glance;
use crate::entry::ledger::{Entered, Series};
use crate::quantity::did_you_mean;
use crate::quantity::{Quantity, Unit, WallMicros};
use crate::spec::{ArmedSubject, Limits, PullMode};
use crate::stats::sample::Scale;
use std::collections::BTreeSet;

/// The subject of a verification, which measures no crimps.
const GAUGE_BLOCKS: &str = "gauge blocks";

/// The properties of a reading that can be used as a column.
const KEYS: &[&str] = &[
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

/// What was found about all readings so far.
#[derive(Default)]
struct About {
    count: u64,
    axes: BTreeSet<String>,
    /// Terminal and wire of the series.
    crimps: BTreeSet<(String, String)>,
    ids: Vec<Seq>,
    series: u64,
    unit: Option<Unit>,
    step: Option<Quantity>,
    limits: Option<Result<Limits, String>>,
    /// The first limits, and the first limits with another nominal.
    nominals: (Option<Limits>, Option<Limits>),
    /// Whether deviations from nominal are studied instead of values.
    deviation: bool,
    left_out: LeftOut,
    /// Series, axis and instrument of the last reading noted.
    last: Option<(Seq, usize, Option<usize>)>,
}

struct ReadingFilter<'s> {
    select: &'s Select,
    keys: &'s [&'s str],
    /// Whether times are needed; otherwise they are not parsed.
    is_timed: bool,
    about: About,
    take: &'s mut Take<'s>,
}

/// Gives every matching reading to `take`. Returns the description of all of them, without rows.
pub(super) fn read<'s>(
    select: &'s Select,
    context: &Context,
    keys: &'s [&'s str],
    take: &'s mut Take<'s>,
) -> Result<Readings, Failure> {
    read_about(select, context, keys, take)?.finish()
}

/// As [`read`], of any number of axes.
pub(super) fn read_together<'s>(
    select: &'s Select,
    context: &Context,
    keys: &'s [&'s str],
    take: &'s mut Take<'s>,
) -> Result<Readings, Failure> {
    read_about(select, context, keys, take)?.finish_together()
}

fn read_about<'s>(
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
        about: About {
            deviation: select.deviation,
            ..About::default()
        },
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
            if !self.select.takes(*disposition) {
                self.about.left_out.note(*disposition);
                continue;
            }
            self.about.note(&series, found)?;
            let cell = |key: &&str| match *key {
                // Not said is a cell without a word.
                "pull_mode" => Some(entered.pull_mode.map_or("", PullMode::name).to_owned()),
                key => cell(&series, *seq, found, key),
            };
            let base = if self.about.deviation {
                deviation(&series, found)?
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

impl About {
    fn note(&mut self, series: &Series<KeptReading>, found: &KeptReading) -> Result<(), Failure> {
        self.count += 1;
        let here = (series.id, found.axis, found.instrument);
        if self.last == Some(here) {
            return Ok(());
        }
        if self.last.is_none_or(|(id, _, _)| id != series.id) {
            self.series += 1;
            if self.ids.len() < 4 {
                self.ids.push(series.id);
            }
        }
        self.last = Some(here);
        let unit = *self.unit.get_or_insert(found.unit);
        if unit.dimension() != found.unit.dimension() {
            return Err(
                Failure::usage("these readings are of lengths and of forces")
                    .with_remedy("choose one axis: --axis NAME"),
            );
        }
        if let Some(axis) = series.spec.axes.get(found.axis) {
            self.axes.insert(axis.name.as_str().to_owned());
            if self.deviation {
                self.note_limits(&deviations(&axis.limits)?);
            } else {
                self.note_nominal(&axis.limits);
                self.note_limits(&axis.limits);
            }
        }
        let instrument = found
            .instrument
            .and_then(|at| series.spec.instruments.get(at));
        let step = instrument.map(|instrument| instrument.resolution);
        self.step = self
            .step
            .into_iter()
            .chain(step)
            .max_by_key(|step| step.base());
        self.crimps.insert(match &series.spec.subject {
            ArmedSubject::Crimps { crimp, .. } => (crimp.terminal.clone(), crimp.wire.to_string()),
            ArmedSubject::Blocks(_) => (GAUGE_BLOCKS.to_owned(), String::new()),
        });
        Ok(())
    }

    fn note_nominal(&mut self, limits: &Limits) {
        let centre = |limits: &Limits| {
            let one_sided = || limits.lower().or(limits.upper()).map(Quantity::base);
            limits.centre().or_else(one_sided)
        };
        match &self.nominals {
            (None, _) => self.nominals.0 = Some(limits.clone()),
            (Some(first), None) if centre(first) != centre(limits) => {
                self.nominals.1 = Some(limits.clone());
            }
            (Some(_), _) => {}
        }
    }

    fn note_limits(&mut self, limits: &Limits) {
        match &self.limits {
            None => self.limits = Some(Ok(limits.clone())),
            Some(Ok(first))
                if (first.lower(), first.upper()) != (limits.lower(), limits.upper()) =>
            {
                let fault = format!(
                    "these readings were judged by different limits: {first}, and {limits}"
                );
                self.limits = Some(Err(fault));
            }
            Some(_) => {}
        }
    }

    fn finish(self) -> Result<Readings, Failure> {
        let names: Vec<&str> = self.axes.iter().map(String::as_str).collect();
        let ([axis], Some(unit)) = (&names[..], self.unit) else {
            return Err(self.nothing_to_tell(&names));
        };
        let title = self.title(axis);
        Ok(self.readings(unit, title))
    }

    /// The description of readings of any number of axes.
    fn finish_together(self) -> Result<Readings, Failure> {
        let names: Vec<&str> = self.axes.iter().map(String::as_str).collect();
        let (Some(first), Some(unit)) = (names.first(), self.unit) else {
            return Err(self.nothing_to_tell(&names));
        };
        let axis = match names.len() {
            1 => (*first).to_owned(),
            several => format!("{several} axes"),
        };
        let title = self.title(&axis);
        Ok(self.readings(unit, title))
    }

    fn readings(self, unit: Unit, title: String) -> Readings {
        Readings {
            rows: Vec::new(),
            count: self.count,
            scale: unit.into(),
            step: self.step.map(Quantity::base),
            step_from: StepFrom::Instrument,
            title,
            nominals: match self.nominals {
                (Some(first), Some(other)) => Err(format!(
                    "these readings are of different nominals: {first}, and {other}"
                )),
                (_, None) | (None, _) => Ok(()),
            },
            limits: self.limits.transpose(),
            left_out: self.left_out,
        }
    }

    fn nothing_to_tell(&self, axes: &[&str]) -> Failure {
        if axes.len() > 1 {
            return Failure::usage(format!("these readings are of {} axes", axes.len()))
                .with_remedy(format!("choose one: --axis {}", axes.join(", --axis ")));
        }
        match self.left_out.words() {
            Some(left_out) => {
                Failure::no_readings(format!("none of these readings counts ({left_out})"))
                    .with_remedy(
                        "include them by name, such as --include doubted, or choose other series",
                    )
            }
            None => Failure::no_readings("no reading in the journal matches these options")
                .with_remedy("list the series: tallyjaw series"),
        }
    }

    /// The subject in words: `QF-250-F on 1.0 mm²`, `QF-250-F on 2 wire sizes`, `2 terminals on 3 wire sizes`.
    fn subject(&self) -> String {
        let wires = self.crimps.iter().map(|(_, wire)| wire.as_str());
        let wires: BTreeSet<&str> = wires.filter(|wire| !wire.is_empty()).collect();
        let named = self.crimps.iter().map(|(name, _)| name.as_str());
        let named: BTreeSet<&str> = named.collect();
        let counted = |names: &BTreeSet<&str>, kind: &str| match (names.first(), names.len()) {
            (Some(only), 1) => (*only).to_owned(),
            (_, several) => format!("{several} {kind}"),
        };
        let has_blocks = named.contains(GAUGE_BLOCKS);
        let terminals = named.into_iter().filter(|name| *name != GAUGE_BLOCKS);
        let terminals: BTreeSet<&str> = terminals.collect();
        let blocks = has_blocks.then(|| GAUGE_BLOCKS.to_owned());
        let crimps = (!terminals.is_empty()).then(|| {
            let terminals = counted(&terminals, "terminals");
            format!("{terminals} on {}", counted(&wires, "wire sizes"))
        });
        let all: Vec<String> = crimps.into_iter().chain(blocks).collect();
        all.join(" and ")
    }

    fn title(&self, axis: &str) -> String {
        let of = self.subject();
        let series = if self.series <= 4 {
            let ids: Vec<String> = self.ids.iter().map(ToString::to_string).collect();
            format!("series {}", ids.join(", "))
        } else {
            format!("{} series", self.series)
        };
        let deviation = if self.deviation {
            "deviation from nominal of "
        } else {
            ""
        };
        format!("{deviation}{} of {of} ({series})", axis.replace('_', " "))
    }
}

/// Reading minus nominal, in base units.
fn deviation(series: &Series<KeptReading>, found: &KeptReading) -> Result<i64, Failure> {
    let axis = series.spec.axes.get(found.axis);
    let nominal = axis.and_then(|axis| axis.limits.centre());
    let deviation = nominal.and_then(|nominal| found.base.checked_sub(nominal));
    deviation.ok_or_else(no_nominal)
}

/// Limits as deviations from their nominal.
fn deviations(limits: &Limits) -> Result<Limits, Failure> {
    let nominal = limits.centre().ok_or_else(no_nominal)?;
    let off = |end: Option<Quantity>| {
        end.map(|end| Quantity::from_base(end.dimension(), end.base().saturating_sub(nominal)))
    };
    let zero = Some(Quantity::from_base(limits.dimension(), 0));
    Limits::new(
        zero,
        off(limits.lower()),
        off(limits.upper()),
        limits.unit(),
    )
    .map_err(|error| Failure::usage(error.to_string()))
}

fn no_nominal() -> Failure {
    Failure::usage("some of these readings have no nominal to deviate from").with_remedy(
        "choose an axis with a nominal or two limits, or study them without --deviation",
    )
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
