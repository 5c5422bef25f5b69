//! Readings out of the journal, in one pass; what is kept does not grow with the journal.
//!
//! A reading is told when its series is closed: until then it may be doubted or taken back, and after
//! that not any more ([`crate::entry::audit`]).

use super::readings::{LeftOut, Reading, Readings};
use super::select::{Fallen, Select};
use crate::cli::progress::Progress;
use crate::cli::{Context, Failure, client, series};
use crate::config::did_you_mean;
use crate::entry::glance::{self, Glance, Glancer};
use crate::entry::{Entry, Seq, Stamped, Standing, line};
use crate::journal::Cursor;
use crate::quantity::{Quantity, Unit, WallMicros};
use crate::spec::wire::resolve;
use crate::spec::{ArmedSpec, ArmedSubject, Limits, WireRequest};
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// What the journal knows of a reading.
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
];

/// Takes the readings, one by one.
pub(super) type Take<'t> = dyn FnMut(Reading, Unit) -> Result<(), Failure> + 't;

/// A reading of an open series.
struct Found {
    seq: Seq,
    at: WallMicros,
    base: i64,
    unit: Unit,
    piece: u32,
    /// Its place among the axes of the series.
    axis: usize,
    /// Its place among the instruments of the series, if it is one of them.
    instrument: Option<usize>,
    counted: bool,
}

struct Series {
    id: Seq,
    spec: Box<ArmedSpec>,
    found: Vec<Found>,
}

/// What was told so far.
#[derive(Default)]
struct About {
    count: u64,
    axes: BTreeSet<String>,
    crimps: BTreeSet<String>,
    ids: Vec<Seq>,
    series: u64,
    unit: Option<Unit>,
    step: Option<Quantity>,
    limits: Option<Result<Limits, String>>,
    left_out: LeftOut,
    /// The series, axis and instrument that were taken down last.
    last: Option<(Seq, usize, Option<usize>)>,
}

struct Search<'s> {
    select: &'s Select,
    keys: &'s [&'s str],
    wire: Option<crate::quantity::Area>,
    missing: BTreeSet<u64>,
    open: BTreeMap<Seq, Series>,
    fallen: HashMap<Seq, Fallen>,
    about: About,
    take: &'s mut Take<'s>,
}

/// Tells every reading that was asked for to `take`; what they are of is in the answer, without rows.
pub(super) fn read<'s>(
    select: &'s Select,
    context: &Context,
    keys: &'s [&'s str],
    take: &'s mut Take<'s>,
) -> Result<Readings, Failure> {
    for key in keys {
        if !KEYS.contains(key) {
            return Err(
                Failure::usage(format!("the journal knows no {key:?} of a reading"))
                    .with_remedy(did_you_mean(key, KEYS)),
            );
        }
    }
    let daemon = client::daemon_of(context)?;
    let unreadable = |error: &dyn std::error::Error| series::unreadable(&daemon, error);
    let durable = series::durable_end(&daemon);
    let mut cursor = Cursor::new(&daemon.state_dir, Seq(0)).map_err(|error| unreadable(&error))?;
    let mut search = Search::new(select, keys, take)?;
    let mut progress = Progress::new();
    let glancer = Glancer::default();
    while let Some(read) = cursor
        .next_line(durable)
        .map_err(|error| unreadable(&error))?
    {
        if let Some(glance) = glancer.reading(&read.bytes) {
            search.glanced(&glance)?;
        } else if glance::kind(&read.bytes).is_none_or(tells) {
            let (stamped, _) = line::decode(&read.bytes)
                .map_err(|error| series::not_understood(&daemon, &error))?;
            search.take(stamped)?;
        }
        progress.show(|| format!("reading the journal: entry {}", read.seq));
    }
    search.finish()
}

/// Whether entries of this kind say anything about readings.
fn tells(kind: &str) -> bool {
    ["armed", "reading", "doubted", "retracted", "completed"].contains(&kind)
}

impl<'s> Search<'s> {
    fn new(
        select: &'s Select,
        keys: &'s [&'s str],
        take: &'s mut Take<'s>,
    ) -> Result<Self, Failure> {
        let wire = match &select.wire {
            Some(text) => {
                let request = WireRequest {
                    text: text.clone(),
                    sizing: select.sizing,
                };
                let size = resolve(&request).map_err(|error| {
                    Failure::usage(error.to_string()).with_remedy(error.remedy())
                })?;
                Some(size.area)
            }
            None => None,
        };
        Ok(Self {
            select,
            keys,
            wire,
            missing: select.series().iter().copied().collect(),
            open: BTreeMap::new(),
            fallen: HashMap::new(),
            about: About::default(),
            take,
        })
    }

    fn take(&mut self, stamped: Stamped) -> Result<(), Failure> {
        if let Entry::Doubted { readings, .. } = &stamped.entry {
            for seq in readings {
                self.fallen.entry(*seq).or_insert(Fallen::Doubted);
            }
        } else if let Entry::Retracted { reading, .. } = &stamped.entry {
            self.fallen.insert(*reading, Fallen::Retracted);
        } else if let Entry::Completed(completed) = &stamped.entry {
            if let Some(series) = self.open.remove(&completed.series) {
                self.settle(&series)?;
            }
        } else if let Entry::Reading(reading) = &stamped.entry {
            if let Some(slot) = &reading.slot {
                self.glanced(&Glance {
                    seq: stamped.seq,
                    at: &stamped.at.to_string(),
                    instrument: &reading.instrument,
                    series: slot.series,
                    piece: slot.piece,
                    axis: slot.axis.as_str(),
                    base: reading.value.quantity().base(),
                    unit: reading.value.unit(),
                    counted: reading.standing == Standing::Counted,
                })?;
            }
        } else if let Entry::Armed(spec) = stamped.entry {
            let id = stamped.seq;
            if self.wants_series(id, &spec) {
                self.missing.remove(&id.0);
                let found = Vec::new();
                self.open.insert(id, Series { id, spec, found });
            }
        }
        Ok(())
    }

    fn wants_series(&self, id: Seq, spec: &ArmedSpec) -> bool {
        let select = self.select;
        let same = |wanted: &Option<String>, got: Option<&str>| {
            wanted.as_deref().is_none_or(|wanted| got == Some(wanted))
        };
        let crimp = match &spec.subject {
            ArmedSubject::Crimps { crimp, .. } => Some(crimp),
            ArmedSubject::Blocks(_) => None,
        };
        let tool = spec.tool.as_ref();
        (select.series().is_empty() || select.series().contains(&id.0))
            && same(&select.station, Some(&spec.station))
            && same(&select.operator, spec.operator.as_deref())
            && same(&select.tool, tool.map(|tool| tool.id.as_str()))
            && same(&select.nest, tool.and_then(|tool| tool.nest.as_deref()))
            && same(&select.terminal, crimp.map(|crimp| crimp.terminal.as_str()))
            && self
                .wire
                .is_none_or(|area| crimp.is_some_and(|crimp| crimp.wire.area == area))
            && select.purpose.is_none_or(|purpose| purpose == spec.purpose)
    }

    fn glanced(&mut self, glance: &Glance<'_>) -> Result<(), Failure> {
        let select = self.select;
        let Some(series) = self.open.get_mut(&glance.series) else {
            return Ok(());
        };
        let wanted = select
            .axis
            .as_deref()
            .is_none_or(|axis| axis == glance.axis)
            && select
                .instrument
                .as_deref()
                .is_none_or(|name| name == glance.instrument);
        let mut armed = series.spec.axes.iter();
        let Some(axis) = armed
            .position(|axis| axis.name.as_str() == glance.axis)
            .filter(|_| wanted)
        else {
            return Ok(());
        };
        let timely = select.since.is_some()
            || select.until.is_some()
            || self.keys.iter().any(|key| ["day", "at"].contains(key));
        let at = if timely {
            glance.at.parse().map_err(|_| {
                Failure::io(format!("entry {} has the time {:?}", glance.seq, glance.at))
            })?
        } else {
            WallMicros(0)
        };
        if select.since.is_some_and(|since| at < since)
            || select.until.is_some_and(|until| at >= until)
        {
            return Ok(());
        }
        let mut instruments = series.spec.instruments.iter();
        let instrument = instruments.position(|known| known.name == glance.instrument);
        series.found.push(Found {
            seq: glance.seq,
            at,
            base: glance.base,
            unit: glance.unit,
            piece: glance.piece,
            axis,
            instrument,
            counted: glance.counted,
        });
        Ok(())
    }

    /// Tells the readings of a series of which nothing more will be said.
    fn settle(&mut self, series: &Series) -> Result<(), Failure> {
        for found in &series.found {
            let later = self.fallen.remove(&found.seq);
            let fallen = if found.counted {
                later
            } else {
                Some(Fallen::NotCounted)
            };
            match fallen.filter(|fallen| !self.select.include.contains(fallen)) {
                Some(Fallen::Doubted) => self.about.left_out.doubted += 1,
                Some(Fallen::Retracted) => self.about.left_out.retracted += 1,
                Some(Fallen::NotCounted) => self.about.left_out.not_counted += 1,
                None => {
                    self.about.note(series, found)?;
                    let cell =
                        |key: &&str| cell(series, found, key).unwrap_or_else(|| "–".to_owned());
                    let reading = Reading {
                        base: found.base,
                        at: found.at.0,
                        cells: self.keys.iter().map(cell).collect(),
                    };
                    (self.take)(reading, found.unit)?;
                }
            }
        }
        Ok(())
    }

    fn finish(mut self) -> Result<Readings, Failure> {
        for series in std::mem::take(&mut self.open).into_values() {
            self.settle(&series)?;
        }
        if let Some(id) = self.missing.first() {
            return Err(Failure::usage(format!(
                "no series {id} in this journal, or it is none of what else was asked for"
            ))
            .with_remedy("list them: tallyjaw series"));
        }
        self.about.finish()
    }
}

impl About {
    fn note(&mut self, series: &Series, found: &Found) -> Result<(), Failure> {
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
            self.note_limits(&axis.limits);
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
            ArmedSubject::Crimps { crimp, .. } => format!("{} on {}", crimp.terminal, crimp.wire),
            ArmedSubject::Blocks(_) => "gauge blocks".to_owned(),
        });
        Ok(())
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
        Ok(Readings {
            rows: Vec::new(),
            count: self.count,
            unit,
            step: self.step,
            title: self.title(axis),
            limits: self.limits.transpose(),
            left_out: self.left_out,
        })
    }

    fn nothing_to_tell(&self, axes: &[&str]) -> Failure {
        if axes.len() > 1 {
            return Failure::usage(format!("these readings are of {} axes", axes.len()))
                .with_remedy(format!("choose one: --axis {}", axes.join(", --axis ")));
        }
        match self.left_out.words() {
            Some(left_out) => Failure::usage(format!("none of these readings counts ({left_out})"))
                .with_remedy(
                    "take them in by name, such as --include doubted; or choose other series",
                ),
            None => Failure::usage("no reading in the journal is of what was asked for")
                .with_remedy("list the series: tallyjaw series"),
        }
    }

    fn title(&self, axis: &str) -> String {
        let mut crimps = self.crimps.iter();
        let of = match (crimps.next(), self.crimps.len()) {
            (Some(only), 1) => only.clone(),
            (_, several) => format!("{several} terminals and wires"),
        };
        let series = if self.series <= 4 {
            let ids: Vec<String> = self.ids.iter().map(ToString::to_string).collect();
            format!("series {}", ids.join(", "))
        } else {
            format!("{} series", self.series)
        };
        format!("{} of {of} ({series})", axis.replace('_', " "))
    }
}

fn cell(series: &Series, found: &Found, key: &str) -> Option<String> {
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
        "operator" => spec.operator.clone(),
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
        "at" => Some(found.at.to_string()),
        _ => None,
    }
}
