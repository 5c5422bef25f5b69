//! `tallyjaw replay`: exit 0 at the end of the tape, 2 if the tape or the configuration is faulty,
//! 4 if it cannot be read or played.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: opens the tape, and plays it at its own pace"
)]

use super::entries::EntryStyle;
use super::progress::Progress;
use super::{Context, Exit, Failure};
use crate::config::Config;
use crate::daemon::replay::Replay as Core;
use crate::entry::line::{self, Digest};
use crate::quantity::Decimal;
use crate::serial::tape::{Mark, Player, TapeError, Timed};
use crate::serial::{ByteRun, discover, far_end_marks, marked};
use crate::virtual_caliper::VirtualCaliper;
use std::fs::File;
use std::io::{BufReader, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Judge a recorded tape, or play it on a pseudo-terminal
///
/// Without --pty the tape is decoded and judged at full speed, with the times of the recording, and the entries are
/// printed. No daemon is needed and no journal is changed. The same tape always gives the same entries.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw replay press.tape --plan pump-own          judge it with this plan
  tallyjaw replay press.tape --instrument caliper-2   read it as another instrument
  tallyjaw replay press.tape --pty /tmp/caliper       a port for any program
  tallyjaw replay press.tape --pty --pace max         as fast as the reader takes it")]
pub(in crate::cli) struct Replay {
    /// The tape
    file: PathBuf,
    /// Start this plan before the tape begins
    #[arg(long, conflicts_with = "pty")]
    plan: Option<String>,
    /// Read it as this instrument [default: the one of the recording, or the only one]
    #[arg(long, value_name = "INSTRUMENT", conflicts_with = "pty")]
    instrument: Option<String>,
    /// Play it through a pseudo-terminal, with a link to it at LINK
    #[arg(long, value_name = "LINK", num_args = 0..=1, default_missing_value = "")]
    pty: Option<PathBuf>,
    /// The factor of the speed: 1.0 as recorded, 0.5, 20, or max
    #[arg(long, requires = "pty", default_value = "1.0")]
    pace: Pace,
    /// Start at once, not when a program opens the port
    #[arg(long, requires = "pty")]
    now: bool,
}

/// Speed of playing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Pace {
    /// Factor of the recorded speed, above zero.
    Times(Decimal),
    /// Without any waiting.
    Max,
}

impl std::str::FromStr for Pace {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        if text == "max" {
            return Ok(Self::Max);
        }
        let times = text.parse::<Decimal>().ok();
        times
            .filter(|times| times.coefficient() > 0)
            .map(Self::Times)
            .ok_or_else(|| "want a number above zero, such as 1.0, or max".to_owned())
    }
}

impl Pace {
    /// Time from the start of playing to a mark at `micros` of the tape.
    fn due(self, micros: u64) -> Duration {
        let Self::Times(times) = self else {
            return Duration::ZERO;
        };
        let scale = 10_u128.pow(times.decimals().into());
        let coefficient = u128::from(times.coefficient().unsigned_abs()).max(1);
        let micros = u128::from(micros) * scale / coefficient;
        Duration::from_micros(u64::try_from(micros).unwrap_or(u64::MAX))
    }
}

type Tape = Player<BufReader<File>>;

impl Replay {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let file = File::open(&self.file).map_err(|cause| unreadable(&self.file, &cause))?;
        let fault = |error| faulty(&self.file, &error);
        let mut tape = Player::new(BufReader::new(file)).map_err(fault)?;
        match &self.pty {
            Some(link) => self.play(link, &mut tape, out)?,
            None => self.judge(context, &mut tape, out)?,
        }
        if tape.is_cut_short() {
            anstream::eprintln!(
                "note: the last line of the tape is incomplete and was left out; the recording was killed"
            );
        }
        Ok(Exit::Yes)
    }

    fn judge(
        &self,
        context: &Context,
        tape: &mut Tape,
        out: &mut dyn Write,
    ) -> Result<(), Failure> {
        let (_, config) = context.load()?;
        let instrument = self.instrument_of(&config, tape)?;
        let catalog = Arc::clone(&config.catalog);
        let Some(mut core) = Core::new(catalog, &instrument, tape.header()) else {
            return Err(no_instrument(&instrument));
        };
        if let Some(plan) = &self.plan {
            core.arm(plan).map_err(|refusal| {
                Failure::usage(refusal.to_string()).with_remedy(refusal.remedy())
            })?;
        }
        let mut printer = Printer {
            out,
            json: context.json,
            form: EntryStyle::of_system(),
            prev: Digest::NONE,
        };
        let mut progress = Progress::new();
        printer.print(&mut core)?;
        while let Some(timed) = self.next(tape)? {
            progress.show(|| format!("{} s of the tape", timed.micros / 1_000_000));
            core.feed(&timed);
            printer.print(&mut core)?;
        }
        core.end();
        printer.print(&mut core)
    }

    /// The instrument named, the one of the recording, or the only one.
    fn instrument_of(&self, config: &Config, tape: &Tape) -> Result<String, Failure> {
        if let Some(named) = &self.instrument {
            return Ok(named.clone());
        }
        let instruments = &config.catalog.instruments;
        let recorded = tape.header().instrument.as_deref();
        if let Some(recorded) = recorded.filter(|name| config.catalog.instrument(name).is_some()) {
            return Ok(recorded.to_owned());
        }
        if let [only] = instruments.as_slice() {
            return Ok(only.name.clone());
        }
        let names: Vec<_> = instruments
            .iter()
            .map(|known| known.name.as_str())
            .collect();
        let remedy = format!("name one with --instrument: {}", names.join(", "));
        Err(Failure::usage("the tape does not name its instrument").with_remedy(remedy))
    }

    fn next(&self, tape: &mut Tape) -> Result<Option<Timed>, Failure> {
        tape.next_mark().map_err(|error| faulty(&self.file, &error))
    }

    fn play(&self, link: &Path, tape: &mut Tape, out: &mut dyn Write) -> Result<(), Failure> {
        let cannot = |cause: std::io::Error| {
            Failure::io("the tape cannot be played through a pseudo-terminal").because(&cause)
        };
        let opened = if link.as_os_str().is_empty() {
            VirtualCaliper::open()
        } else {
            VirtualCaliper::open_at(link)
        };
        let mut caliper = opened.map_err(cannot)?;
        writeln!(out, "{}", caliper.path().display())?;
        out.flush()?;
        let marks = far_end_marks();
        let mut progress = Progress::new();
        if !self.now {
            progress.show(|| "waiting until a program opens the port".to_owned());
            wait_for_a_reader(&caliper);
        }
        let start = Instant::now();
        while let Some(timed) = self.next(tape)? {
            let left = self.pace.due(timed.micros).saturating_sub(start.elapsed());
            std::thread::sleep(left);
            progress.show(|| format!("{} s of the tape", timed.micros / 1_000_000));
            match &timed.mark {
                Mark::Opened { .. } => caliper.plug().map_err(cannot)?,
                Mark::Bytes(bytes) if marks => caliper
                    .send(&marked(&ByteRun::Sound(bytes.clone())))
                    .map_err(cannot)?,
                Mark::Bytes(bytes) => caliper.send(bytes).map_err(cannot)?,
                Mark::Spoiled(bytes) if marks => caliper
                    .send(&marked(&ByteRun::Spoiled(bytes.clone())))
                    .map_err(cannot)?,
                // Leaving these bytes out, or sending them as good ones, would give another value.
                Mark::Spoiled(_) => return Err(cannot_spoil(&timed)),
                Mark::Closed { .. } => caliper.unplug(),
                // Bytes from before the port was opened, and modem lines, which a pseudo-terminal does not have.
                Mark::Stale(_) | Mark::Contact { .. } => {}
            }
        }
        caliper.drain(DRAIN_PATIENCE);
        Ok(())
    }
}

fn cannot_spoil(timed: &Timed) -> Failure {
    Failure::usage(format!(
        "at {} µs the tape has bytes that the line spoiled; a pseudo-terminal cannot carry them",
        timed.micros
    ))
    .with_remedy("set TALLYJAW_PTY_MARKS=1 for replay and for the program that reads")
}

/// Time that a reader gets for the last bytes before the port is closed.
const DRAIN_PATIENCE: Duration = Duration::from_secs(2);

/// Prints entries, in words or as lines of a journal.
struct Printer<'a> {
    out: &'a mut dyn Write,
    json: bool,
    form: EntryStyle,
    prev: Digest,
}

impl Printer<'_> {
    fn print(&mut self, core: &mut Core) -> Result<(), Failure> {
        while let Some(stamped) = core.next_entry() {
            if self.json {
                let bytes = line::encode(&stamped, self.prev);
                self.prev = Digest::of(&bytes);
                self.out.write_all(&bytes)?;
                writeln!(self.out)?;
            } else {
                self.form.write(self.out, &stamped, "")?;
            }
        }
        Ok(())
    }
}

/// Waits until another process has the terminal open.
fn wait_for_a_reader(caliper: &VirtualCaliper) {
    let is_opened = |path: &Path| {
        let holders = discover::inspect(path).holders;
        holders.iter().any(|holder| !holder.is_us())
    };
    while !caliper.terminal().is_some_and(is_opened) {
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn unreadable(path: &Path, cause: &std::io::Error) -> Failure {
    let message = format!("cannot read {}: {cause}", path.display());
    if cause.kind() == std::io::ErrorKind::NotFound {
        return Failure::usage(message).with_remedy("record one: tallyjaw tape PORT -o FILE");
    }
    Failure::io(message)
}

fn faulty(path: &Path, error: &TapeError) -> Failure {
    let message = format!("{}: {error}", path.display());
    let failure = match error {
        TapeError::Read { .. } => Failure::io(message),
        TapeError::NotATape
        | TapeError::Newer { .. }
        | TapeError::Header { .. }
        | TapeError::NotAMark { .. }
        | TapeError::Backwards { .. }
        | TapeError::TooLong { .. } => Failure::usage(message),
    };
    failure.with_remedy_of(error.remedy())
}

fn no_instrument(name: &str) -> Failure {
    Failure::usage(format!("no instrument {name:?} in the configuration"))
        .with_remedy("tallyjaw status lists the instruments")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pace_of_two_halves_every_time_and_max_leaves_none() {
        let due = |pace: &str| pace.parse::<Pace>().unwrap().due(3_000_000);
        assert_eq!(due("1.0"), Duration::from_secs(3));
        assert_eq!(due("2"), Duration::from_millis(1_500));
        assert_eq!(due("0.25"), Duration::from_secs(12));
        assert_eq!(due("max"), Duration::ZERO);
        for wrong in ["0", "-1", "fast", "", "0.0"] {
            assert!(wrong.parse::<Pace>().is_err(), "{wrong}");
        }
    }
}
