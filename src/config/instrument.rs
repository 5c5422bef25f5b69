//! Reads `[[instrument]]`: a caliper, force gauge, scanner, pedal or counter at a port.

use super::capture;
use super::care;
use super::faults::{At, Fault, Faults, quoted};
use super::line::{LineSettings, ModemLine, PortSelector};
use super::signal;
use super::table::{Table, alternatives};
use super::value::{is_name, too_large};
use crate::decode::{FORMATS, FrameFormat, Pattern};
use crate::quantity::{Dimension, Quantity, Unit};
use crate::spec::Papers;
use crate::spec::{Capture, Instrument, InstrumentCare, InstrumentKind, Limits, Signal};
use std::path::PathBuf;

/// An instrument, as far as it could be read.
#[derive(Debug)]
pub(super) struct RawInstrument {
    pub(super) name: Option<At<String>>,
    pub(super) station: Option<At<String>>,
    pub(super) port: Option<At<PortSelector>>,
    pub(super) line: LineSettings,
    pub(super) dtr: Option<bool>,
    pub(super) rts: Option<bool>,
    pub(super) contact: Option<ModemLine>,
    pub(super) instrument: Option<Instrument>,
    pub(super) signal: Option<Signal>,
}

pub(super) fn read(mut table: Table<'_>, faults: &mut Faults) -> RawInstrument {
    let name = table.required_name(faults, "name", "\"caliper-1\"");
    let station = table.required_name(faults, "station", "\"bench-1\"");
    let kind = kind(&mut table, faults);
    let port = port(&mut table, faults);
    let line = table
        .parsed::<LineSettings>(faults, "line", "speed and frame such as \"9600 8N1\"")
        .map(|line| line.value);
    let dtr = table.boolean(faults, "dtr").map(|dtr| dtr.value);
    let rts = table.boolean(faults, "rts").map(|rts| rts.value);
    // Without a kind the keys of a caliper are read, so that their own faults are reported.
    let measures = kind.unwrap_or(InstrumentKind::Caliper);
    let contact = contact(&mut table, faults, measures);
    let (mut instrument, mut signal) = (None, None);
    if measures.dimension().is_some() {
        let values = Values::read(&mut table, faults, measures);
        instrument = assembled(name.as_ref(), station.as_ref(), kind, &values);
    } else {
        let (name, station) = (name.as_ref(), station.as_ref());
        signal = signal::read(&mut table, faults, measures, name, station);
    }
    table.finish(faults);
    RawInstrument {
        name,
        station,
        port,
        line: line.unwrap_or_default(),
        dtr,
        rts,
        contact,
        instrument,
        signal,
    }
}

fn assembled(
    name: Option<&At<String>>,
    station: Option<&At<String>>,
    kind: Option<InstrumentKind>,
    values: &Values,
) -> Option<Instrument> {
    Some(Instrument {
        name: name?.value.clone(),
        station: station?.value.clone(),
        kind: kind?,
        format: values.format?,
        pattern: values.pattern.clone(),
        unit: values.unit,
        resolution: values.resolution?,
        max_error: values.max_error,
        repeatability: values.repeatability,
        range: values.range,
        capture: values.capture.clone()?,
        care: values.care,
        papers: values.papers.clone(),
    })
}

fn kind(table: &mut Table<'_>, faults: &mut Faults) -> Option<InstrumentKind> {
    let names = InstrumentKind::ALL.map(InstrumentKind::name);
    if !table.has("kind") {
        table.missing(faults, "kind", &alternatives(&names));
    }
    let kind = table.one_of(faults, "kind", &names, |name| {
        InstrumentKind::ALL
            .into_iter()
            .find(|kind| kind.name() == name)
    })?;
    Some(kind.value)
}

/// The modem line to which the contact of a pedal or a counter is connected.
fn contact(table: &mut Table<'_>, faults: &mut Faults, kind: InstrumentKind) -> Option<ModemLine> {
    let names = ModemLine::ALL.map(ModemLine::name);
    let contact = table.one_of(faults, "contact", &names, ModemLine::from_name)?;
    if !matches!(kind, InstrumentKind::Pedal | InstrumentKind::Counter) {
        let got = format!("contact of a {}", kind.name());
        let fault = Fault::new(got, "want it only with kind = \"pedal\" or \"counter\"");
        faults.add(&contact.place, fault.help("leave it out"));
        return None;
    }
    Some(contact.value)
}

fn port(table: &mut Table<'_>, faults: &mut Faults) -> Option<At<PortSelector>> {
    const WANT: &str = "\"/dev/ttyUSB0\", { usb_serial = \"…\" } or { usb = \"0403:6001\" }";
    if !table.has("port") {
        table.missing(faults, "port", WANT);
        return None;
    }
    if table.is_text("port") {
        return port_path(table, faults);
    }
    if !table.is_table("port") {
        table.wrong(faults, "port", WANT);
        return None;
    }
    let mut selector = table.table(faults, "port", "port")?;
    let place = selector.place().clone();
    let serial = selector.text(faults, "usb_serial");
    let identity = selector.text(faults, "usb");
    let one_given = selector.has("usb_serial") != selector.has("usb");
    selector.finish(faults);
    if !one_given {
        let fault = Fault::new("port names no adapter", format!("want {WANT}"));
        faults.add(
            &place,
            fault.help("tallyjaw ports lists the ports with their USB identity"),
        );
        return None;
    }
    if let Some(serial) = serial {
        return Some(At {
            value: PortSelector::UsbSerial(serial.value),
            place: serial.place,
        });
    }
    let identity = identity?;
    let selector = PortSelector::from_usb_id(&identity.value);
    if selector.is_none() {
        let got = format!("usb is {}", quoted(&identity.value));
        let want = "want vendor and product as hex digits such as \"0403:6001\"";
        let help = "tallyjaw ports lists the ports with their USB identity";
        faults.add(&identity.place, Fault::new(got, want).help(help));
    }
    Some(At {
        value: selector?,
        place: identity.place,
    })
}

fn port_path(table: &mut Table<'_>, faults: &mut Faults) -> Option<At<PortSelector>> {
    let text = table.text(faults, "port")?;
    let path = PathBuf::from(&text.value);
    if path.has_root() {
        return Some(At {
            value: PortSelector::Path(path),
            place: text.place,
        });
    }
    let got = format!("port is {}", quoted(&text.value));
    let fault = Fault::new(got, "want the whole path, such as \"/dev/ttyUSB0\"");
    let help = if is_name(&text.value) {
        format!("did you mean \"/dev/{}\"?", text.value)
    } else {
        "tallyjaw ports lists the ports".to_owned()
    };
    faults.add(&text.place, fault.help(help));
    None
}

/// Settings by which an instrument's values are read.
struct Values {
    format: Option<&'static FrameFormat>,
    pattern: Option<Pattern>,
    unit: Unit,
    resolution: Option<Quantity>,
    max_error: Option<Quantity>,
    repeatability: Option<Quantity>,
    range: Option<(Quantity, Quantity)>,
    capture: Option<Capture>,
    care: InstrumentCare,
    papers: Papers,
}

impl Values {
    fn read(table: &mut Table<'_>, faults: &mut Faults, kind: InstrumentKind) -> Self {
        let dimension = kind.dimension().unwrap_or(Dimension::Length);
        let formats: Vec<_> = FORMATS.iter().map(|format| format.name).collect();
        if !table.has("format") {
            table.missing(
                faults,
                "format",
                "\"decimal-line\" or another; tallyjaw listen finds it",
            );
        }
        let format = table.one_of(faults, "format", &formats, FrameFormat::from_name);
        let pattern = pattern(table, faults, format.as_ref());
        let unit = unit(table, faults, dimension);
        if !table.has("resolution") {
            table.missing(
                faults,
                "resolution",
                "the smallest step of its display, such as \"0.01 mm\"",
            );
        }
        Self {
            format: format.map(|format| format.value),
            pattern,
            unit,
            resolution: table.quantity(faults, "resolution", dimension, 1),
            max_error: table.quantity(faults, "max_error", dimension, 0),
            repeatability: table.quantity(faults, "repeatability", dimension, 0),
            range: range(table, faults, dimension),
            capture: capture::read(table, faults),
            care: care::instrument(table, faults),
            papers: care::papers(table, faults),
        }
    }
}

/// The user's regular expression. The format `pattern` requires it; no other format allows it.
fn pattern(
    table: &mut Table<'_>,
    faults: &mut Faults,
    format: Option<&At<&'static FrameFormat>>,
) -> Option<Pattern> {
    const WANT: &str = "a regular expression such as \"^(?<value>[+-]?[0-9.]+) *(?<unit>mm|in)$\"";
    let given = table.text(faults, "pattern");
    let needed = format.is_some_and(|format| format.value.needs_pattern());
    let Some(given) = given else {
        if needed && !table.has("pattern") {
            table.missing(faults, "pattern", WANT);
        }
        return None;
    };
    if format.is_some() && !needed {
        let fault = Fault::new("pattern with another format", "want format = \"pattern\"");
        faults.add(
            &given.place,
            fault.help("leave `pattern` out, or change `format`"),
        );
        return None;
    }
    match Pattern::new(&given.value) {
        Ok(pattern) => Some(pattern),
        Err(error) => {
            faults.add(
                &given.place,
                Fault::new(error.to_string(), format!("want {WANT}")),
            );
            None
        }
    }
}

fn unit(table: &mut Table<'_>, faults: &mut Faults, dimension: Dimension) -> Unit {
    let fitting: Vec<Unit> = Unit::ALL
        .into_iter()
        .filter(|unit| unit.dimension() == dimension)
        .collect();
    let names: Vec<_> = fitting.iter().map(|unit| unit.name()).collect();
    let usual = match dimension {
        Dimension::Length => Unit::Millimetre,
        Dimension::Force => Unit::Newton,
    };
    table
        .one_of(faults, "unit", &names, |name| {
            Unit::from_symbol(name).filter(|unit| unit.dimension() == dimension)
        })
        .map_or(usual, |unit| unit.value)
}

/// Reads a range such as `0..150 mm`.
fn range(
    table: &mut Table<'_>,
    faults: &mut Faults,
    dimension: Dimension,
) -> Option<(Quantity, Quantity)> {
    const WANT: &str = "a range such as \"0..150 mm\"";
    let limits = table.parsed::<Limits>(faults, "range", WANT)?;
    let given = limits.value;
    let ends = given.lower().zip(given.upper());
    let fault = match ends {
        Some((lower, upper)) if given.nominal().is_none() && given.dimension() == dimension => {
            too_large("range", lower).or_else(|| too_large("range", upper))
        }
        Some(_) | None => Some(Fault::new(
            format!("range is {given}"),
            format!("want {WANT}, a {dimension}"),
        )),
    };
    match fault {
        Some(fault) => {
            faults.add(&limits.place, fault);
            None
        }
        None => ends,
    }
}
