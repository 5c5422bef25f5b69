//! `tallyjaw listen PORT`: exit 0 if one setting and format fits all bytes, 1 if none or several do, 2 for wrong use, 4
//! if the port cannot be opened or read.
//!
//! The port is always read with eight data bits and no parity; only its speed changes. So every bit comes through, and
//! data bits and parity are found from the bits. It also works where the port has no such settings, as a
//! pseudo-terminal: a virtual caliper there sends what a real line would give at the port's speed and 8N1.

mod block;
mod session;
mod tell;
mod write;

pub(super) use block::text as toml_text;

use super::{Context, Exit, Failure, FailureKind};
use crate::config::{Config, LineSettings};
use block::InstrumentSlot;
use session::Session;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// After this number of silences, five seconds each, `init` goes on without the instrument. By then every state of the
/// power lines was tried twice.
const SILENCES: usize = 8;

/// The result of `init` at a port.
pub(super) enum Found {
    /// The `[[instrument]]` block.
    Block(String),
    /// Nothing was received, or nothing certain; the reason was printed.
    Nothing,
    /// The user pressed Ctrl-C.
    Interrupted,
}

/// Finds the caliper for a new configuration, as `listen` does for an existing one.
pub(super) fn find(
    port: &Path,
    station: &str,
    json: bool,
    out: &mut dyn Write,
) -> Result<Found, Failure> {
    let session = Session {
        path: port.to_owned(),
        first: LineSettings::default(),
        presses: 5,
        limit: None,
        ask: false,
        silences: Some(SILENCES),
    };
    let mut tell = tell::Tell::new(out, json, "Ctrl-C ends, and nothing is written");
    let heard = session.run(&mut tell)?;
    if heard.interrupted {
        return Ok(Found::Interrupted);
    }
    tell.outcome(&heard.interview, None, false)?;
    let slot = InstrumentSlot::new("caliper-1".to_owned(), station.to_owned(), port);
    Ok(match tell::sure(heard.interview.opinion()) {
        Some(sure) => Found::Block(block::block(&slot, sure, &heard.found_with)),
        None => Found::Nothing,
    })
}

/// Find the line settings and the frame format of an unknown caliper
///
/// Press the caliper's data key a few times, each time at another size. listen shows every byte, tries line settings
/// and frame formats, says which of them fit all frames and how sure that is, and prints the [[instrument]] block for
/// the configuration. With --write it appends the block to the configuration; the rest of the file stays as it is.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw listen /dev/ttyUSB0
  tallyjaw listen /dev/ttyUSB0 --write --name caliper-2 --station bench-1
  tallyjaw listen /dev/ttyUSB0 --ask            for a caliper that sends only on request

The port is read with eight data bits and no parity, so that every bit is seen; 7E2, 8E1 and others are found from the \
bits. Bytes that were sent more slowly than the port reads are computed back. Bytes that were sent faster are lost; the \
next press is then read at a higher speed. While nothing comes, the lines that power some cables (DTR, RTS) are \
switched in turn. Stop a daemon that has the port open first.

Exit codes: 0 found, 1 nothing or more than one fits, 2 wrong use, 4 the port cannot be opened or read.")]
pub(in crate::cli) struct Listen {
    /// The port, such as /dev/ttyUSB0; `tallyjaw ports` lists them
    #[arg(value_name = "PORT")]
    port: PathBuf,
    /// The largest number of presses; it stops earlier once it is sure
    #[arg(long, value_name = "N", default_value_t = 5, value_parser = clap::value_parser!(u8).range(1..=50))]
    presses: u8,
    /// Stop after this number of seconds
    #[arg(long = "for", value_name = "SECONDS", value_parser = clap::value_parser!(u64).range(1..=86_400))]
    seconds: Option<u64>,
    /// The speed to start with
    #[arg(long, value_name = "BAUD", default_value_t = 9600, value_parser = clap::value_parser!(u32).range(50..=4_000_000))]
    speed: u32,
    /// While nothing comes, send the requests that some calipers answer
    #[arg(long)]
    ask: bool,
    /// Append the block to the configuration
    #[arg(long)]
    write: bool,
    /// The name of the instrument [default: the next free caliper-N]
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
    /// The station of the instrument; needed only where there are several
    #[arg(long, value_name = "STATION")]
    station: Option<String>,
}

impl Listen {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        // Reasons against writing are shown before anyone presses a key.
        let config = self.config(context)?;
        let place = self.place(config.as_ref().map(|(_, config)| config))?;
        if let (true, Some((_, config))) = (self.write, &config) {
            write::refuse_doubles(config, &place)?;
        }
        let first = LineSettings {
            baud: self.speed,
            ..LineSettings::default()
        };
        let session = Session {
            path: self.port.clone(),
            first,
            presses: usize::from(self.presses),
            limit: self.seconds.map(Duration::from_secs),
            ask: self.ask,
            silences: None,
        };
        let mut tell = tell::Tell::new(
            out,
            context.json,
            "Ctrl-C stops and shows the result so far",
        );
        let heard = session.run(&mut tell)?;
        let opinion = heard.interview.opinion();
        let sure = tell::sure(opinion);
        let block = opinion
            .fits
            .first()
            .map(|best| block::block(&place, best, &heard.found_with));
        let is_added = self.write && sure.is_some();
        tell.outcome(&heard.interview, block.as_deref(), is_added)?;
        let (Some(_), Some(block)) = (sure, block) else {
            return Ok(Exit::No);
        };
        if let (true, Some((path, _))) = (self.write, &config) {
            tell.adding(path, &block)?;
            write::append(path, &block)?;
            tell.written(path)?;
        }
        Ok(Exit::Yes)
    }

    /// The configuration. It is required for --write; otherwise it only provides names.
    fn config(&self, context: &Context) -> Result<Option<(PathBuf, Config)>, Failure> {
        match context.load() {
            Ok(loaded) => Ok(Some(loaded)),
            Err(failure) if self.write => Err(failure),
            Err(failure) => match failure.kind() {
                FailureKind::Usage | FailureKind::NoReadings | FailureKind::Io => Ok(None),
                FailureKind::NoDaemon | FailureKind::ReaderGone => Err(failure),
            },
        }
    }

    fn place(&self, config: Option<&Config>) -> Result<InstrumentSlot, Failure> {
        let stations: Vec<&str> = config.map_or_else(Vec::new, |config| {
            let stations = config.catalog.stations.iter();
            stations.map(String::as_str).collect()
        });
        let station = match (&self.station, stations.as_slice()) {
            (Some(named), known) if known.is_empty() || known.contains(&named.as_str()) => {
                named.clone()
            }
            (Some(named), known) if self.write => {
                return Err(Failure::usage(format!(
                    "no station {named:?} in the configuration, want one of {}",
                    known.join(", ")
                )));
            }
            (Some(named), _) => named.clone(),
            (None, [first, _, ..]) if self.write => {
                return Err(Failure::usage(format!(
                    "there are several stations: {}; want --station with one of them",
                    stations.join(", ")
                ))
                .with_remedy(format!("add --station {first}, or another one")));
            }
            (None, known) => (*known.first().unwrap_or(&"bench-1")).to_owned(),
        };
        let taken =
            |name: &str| config.is_some_and(|config| config.catalog.instrument(name).is_some());
        let free = || {
            (1..=u32::MAX)
                .map(|number| format!("caliper-{number}"))
                .find(|name| !taken(name))
        };
        let name = self.name.clone().or_else(free).unwrap_or_default();
        Ok(InstrumentSlot::new(name, station, &self.port))
    }
}
