//! `tallyjaw tape`: exit 0 when it is stopped, 2 if the file exists or the port is unknown, 4 if the tape cannot be
//! written.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: makes the tape, and tells the time for it"
)]

use super::progress::Progress;
use super::{Context, Exit, Failure};
use crate::clock;
use crate::config::{LineSettings, PortConfig, PortSelector};
use crate::serial::tape::{Header, Mark, Recorder};
use crate::serial::{self, Event};
use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::time::Instant;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::mpsc;

/// Number of events that may wait while one is written.
const WAITING_MOST: usize = 64;

/// Record the bytes of a port with their times into a file
///
/// Bytes are written as soon as they come. When the port is unplugged, that is recorded, and recording goes on when it
/// is back. Ctrl-C stops it.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw tape /dev/ttyUSB0 -o press.tape --line '4800 7E2'
  tallyjaw tape caliper-1 -o press.tape       port and settings of the configuration
  tallyjaw replay press.tape --plan pump-own  judge it with this plan

The file is text; hardware-notes/tapes.md describes its form.")]
pub(in crate::cli) struct Tape {
    /// The port's path, or an instrument of the configuration
    port: String,
    /// Record into this file, which must not exist yet
    #[arg(short, long = "out", value_name = "FILE", required = true)]
    out: PathBuf,
    /// Speed and frame [default: those of the instrument, or 9600 8N1]
    #[arg(long, value_name = "LINE")]
    line: Option<LineSettings>,
    /// Raise (true) or drop (false) DTR; some cables draw their power from it
    #[arg(long, value_name = "UP")]
    dtr: Option<bool>,
    /// Raise (true) or drop (false) RTS
    #[arg(long, value_name = "UP")]
    rts: Option<bool>,
}

/// The port to record, and its description.
struct TapeSource {
    config: PortConfig,
    instrument: Option<String>,
    format: Option<String>,
}

impl Tape {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let what = self.source(context)?;
        let file = create(&self.out)?;
        let unwritable = |cause: io::Error| {
            Failure::io(format!("{} cannot be written", self.out.display())).because(&cause)
        };
        let header = Header {
            at: clock::wall(),
            line: what.config.line,
            port: None,
            instrument: what.instrument,
            format: what.format,
        };
        let tape = Recorder::new(&file, &header).map_err(unwritable)?;
        let mut recording = Recording {
            recorder: tape,
            start: Instant::now(),
            chunks: 0,
            bytes: 0,
            progress: Progress::new(),
        };
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(|cause| Failure::io("no event loop").because(&cause))?;
        let ended = runtime.block_on(recording.run(what.config));
        ended.map_err(unwritable)?;
        file.sync_all().map_err(unwritable)?; // From here on the tape survives a power cut.
        recording.summary(&self.out, context.json, out)?;
        Ok(Exit::Yes)
    }

    fn source(&self, context: &Context) -> Result<TapeSource, Failure> {
        let mut source = if self.port.contains('/') {
            TapeSource {
                config: PortConfig {
                    instrument: String::new(),
                    station: String::new(),
                    selector: PortSelector::Path(PathBuf::from(&self.port)),
                    line: LineSettings::default(),
                    dtr: None,
                    rts: None,
                    contact: None,
                },
                instrument: None,
                format: None,
            }
        } else {
            self.configured(context)?
        };
        let config = &mut source.config;
        config.line = self.line.unwrap_or(config.line);
        config.dtr = self.dtr.or(config.dtr);
        config.rts = self.rts.or(config.rts);
        Ok(source)
    }

    fn configured(&self, context: &Context) -> Result<TapeSource, Failure> {
        let (_, config) = context.load()?;
        let port = config
            .ports
            .into_iter()
            .find(|port| port.instrument == self.port);
        let Some(port) = port else {
            return Err(Failure::usage(format!(
                "no instrument {:?} in the configuration",
                self.port
            ))
            .with_remedy("name a port by its whole path, such as /dev/ttyUSB0"));
        };
        let instrument = config.catalog.instrument(&self.port);
        Ok(TapeSource {
            format: instrument.map(|known| known.format.name.to_owned()),
            instrument: Some(port.instrument.clone()),
            config: port,
        })
    }
}

/// Creates the file, which must not exist.
fn create(path: &Path) -> Result<File, Failure> {
    let created = OpenOptions::new().write(true).create_new(true).open(path);
    created.map_err(|cause| {
        if cause.kind() == io::ErrorKind::AlreadyExists {
            return Failure::usage(format!("{} exists already", path.display()))
                .with_remedy("name another file, or remove that one");
        }
        Failure::io(format!("{} cannot be made: {cause}", path.display()))
    })
}

struct Recording<W> {
    recorder: Recorder<W>,
    start: Instant,
    chunks: u64,
    bytes: u64,
    progress: Progress,
}

impl<W: Write> Recording<W> {
    /// Records until a signal stops it.
    async fn run(&mut self, config: PortConfig) -> io::Result<()> {
        let mut interrupt = signal(SignalKind::interrupt())?;
        let mut terminate = signal(SignalKind::terminate())?;
        let (sender, mut events) = mpsc::channel(WAITING_MOST);
        let (_nobody_asks, requests) = mpsc::channel(1);
        let port = tokio::spawn(serial::run(config, sender, requests));
        loop {
            tokio::select! {
                biased;
                Some(event) = events.recv() => self.record(event)?,
                _ = interrupt.recv() => break,
                _ = terminate.recv() => break,
            }
        }
        drop(events);
        // The task ends because its events have no receiver any more.
        let _ = port.await;
        Ok(())
    }

    fn record(&mut self, event: Event) -> io::Result<()> {
        if let Event::Trouble { message, remedy } = &event {
            self.progress.aside(|| {
                anstream::eprintln!("{message}");
                if let Some(remedy) = remedy {
                    anstream::eprintln!("help: {remedy}");
                }
            });
        }
        let micros = u64::try_from(self.start.elapsed().as_micros()).unwrap_or(u64::MAX);
        if let Some(mark) = Mark::of(event) {
            if let Mark::Bytes(bytes) | Mark::Spoiled(bytes) = &mark {
                self.chunks += 1;
                self.bytes += u64::try_from(bytes.len()).unwrap_or(u64::MAX);
            }
            self.recorder.write(micros, &mark)?;
        }
        let (chunks, bytes) = (self.chunks, self.bytes);
        let seconds = micros / 1_000_000;
        self.progress.show(|| {
            format!("recording: {bytes} bytes in {chunks} pieces, {seconds} s; Ctrl-C stops")
        });
        Ok(())
    }

    fn summary(self, path: &Path, json: bool, out: &mut dyn Write) -> io::Result<()> {
        drop(self.progress);
        let (chunks, bytes) = (self.chunks, self.bytes);
        let path = path.display().to_string();
        if json {
            let object = serde_json::json!({"file": path, "bytes": bytes, "pieces": chunks});
            return writeln!(out, "{object}");
        }
        writeln!(out, "{path}: {bytes} bytes in {chunks} pieces")
    }
}
