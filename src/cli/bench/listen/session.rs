//! Reads the port, keeps the time, and guides the person.

use super::block::FoundWith;
use super::tell::Tell;
use crate::cli::Failure;
use crate::config::{LineSettings, PortConfig, PortSelector};
use crate::decode::guess::{Chunk, Heard, Interview, Step};
use crate::quantity::MonoMicros;
use crate::serial::{ByteRun, Port, Read, SerialError};
use std::path::PathBuf;
use std::time::Duration;
use tokio::signal::unix::{SignalKind, signal};
use tokio::time::{Instant, sleep_until};

/// A press has ended after this time without a byte.
const OVER: Duration = Duration::from_millis(300);
/// A stream has no pauses, so this much of it counts as a press.
const LONGEST: Duration = Duration::from_millis(1500);
/// After this silence something else is tried.
const QUIET: Duration = Duration::from_secs(5);
/// An answer to a request takes less than this.
const ANSWER: Duration = Duration::from_secs(1);

/// States of DTR and RTS in the order of trying: they power optical cables.
const POWER: [(bool, bool); 4] = [(true, false), (true, true), (false, true), (false, false)];

/// Requests that calipers commonly answer; common practice, no source.
const REQUESTS: [&str; 5] = ["\r", "?\r", "R\r", "D\r", "P\r"];

/// The settings of a session.
pub(super) struct Session {
    pub(super) path: PathBuf,
    pub(super) first: LineSettings,
    pub(super) presses: usize,
    pub(super) limit: Option<Duration>,
    pub(super) ask: bool,
    /// Number of consecutive five-second silences after which the session ends; `None` waits for ever.
    pub(super) silences: Option<usize>,
}

/// The result of a session.
pub(super) struct Outcome {
    pub(super) interview: Interview,
    pub(super) found_with: FoundWith,
    /// Whether Ctrl-C ended it.
    pub(super) interrupted: bool,
}

struct Running<'t, 'o> {
    port: Port,
    start: Instant,
    interview: Interview,
    press: Vec<Chunk>,
    last_byte: Instant,
    quiet_since: Instant,
    quiet_times: usize,
    asked: Option<(&'static str, Instant)>,
    found_with: FoundWith,
    tell: &'t mut Tell<'o>,
}

impl Session {
    /// Runs until the format is known, the time is over, or Ctrl-C is pressed.
    pub(super) fn run(self, tell: &mut Tell<'_>) -> Result<Outcome, Failure> {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(|error| Failure::io("cannot wait for the port").because(&error))?;
        runtime.block_on(self.listen(tell))
    }

    async fn listen(self, tell: &mut Tell<'_>) -> Result<Outcome, Failure> {
        // Done before any output, because its reader may press Ctrl-C at once.
        let mut interrupts = signal(SignalKind::interrupt())
            .map_err(|error| Failure::io("cannot wait for Ctrl-C").because(&error))?;
        let [(dtr, rts), ..] = POWER;
        let config = PortConfig {
            instrument: String::new(),
            station: String::new(),
            selector: PortSelector::Path(self.path.clone()),
            line: self.first,
            dtr: Some(dtr),
            rts: Some(rts),
            contact: None,
        };
        let opened = Port::open(&config).map_err(|error| cannot_open(&error))?;
        tell.opened(&opened.attached, self.first)?;
        let start = Instant::now();
        let mut running = Running {
            port: opened.port,
            start,
            interview: Interview::new(self.first, self.presses),
            press: Vec::new(),
            last_byte: start,
            quiet_since: start,
            quiet_times: 0,
            asked: None,
            found_with: FoundWith::default(),
            tell,
        };
        running.found_with.lines = running.port.set_lines(dtr, rts).then_some((dtr, rts));
        running.tell.press(1, self.first)?;
        let until = self.limit.map(|limit| start + limit);
        let mut interrupted_by_user = false;
        loop {
            let wake = running.wakes_at();
            let wake = until.map_or(wake, |until| wake.min(until));
            let done = tokio::select! {
                read = running.port.read() => running.take(read)?,
                () = sleep_until(wake) => {
                    let over = until.is_some_and(|until| until <= Instant::now());
                    let silent = self.silences.is_some_and(|most| running.quiet_times >= most);
                    running.wake(self.ask)? || over || silent
                }
                _ = interrupts.recv() => {
                    interrupted_by_user = true;
                    true
                }
            };
            if done {
                running.end_press()?;
                break;
            }
        }
        Ok(Outcome {
            interview: running.interview,
            found_with: running.found_with,
            interrupted: interrupted_by_user,
        })
    }
}

impl Running<'_, '_> {
    fn wakes_at(&self) -> Instant {
        if self.press.is_empty() {
            self.quiet_since + QUIET
        } else {
            self.last_byte + OVER
        }
    }

    /// Takes a read. Returns `true` if the port is gone.
    fn take(&mut self, read: Read) -> Result<bool, Failure> {
        let (bytes, spoiled) = match read {
            Read::Run(ByteRun::Sound(bytes)) => (bytes, false),
            Read::Run(ByteRun::Spoiled(bytes)) => (bytes, true),
            Read::HungUp(reason) => {
                self.tell.gone(&reason)?;
                return Ok(true);
            }
        };
        let now = Instant::now();
        if let Some((request, at)) = self.asked.take()
            && now.duration_since(at) <= ANSWER
        {
            self.found_with.request = Some(request);
        }
        let since = now.duration_since(self.start);
        self.tell
            .bytes(since, self.interview.line(), &bytes, spoiled)?;
        let at = MonoMicros(0).plus(since);
        let first_at = self.press.first().map(|first| first.at);
        self.press.push(Chunk { at, bytes, spoiled });
        self.last_byte = now;
        match first_at {
            Some(first) if at.since(first) >= LONGEST => self.end_press(),
            Some(_) | None => Ok(false),
        }
    }

    fn wake(&mut self, ask: bool) -> Result<bool, Failure> {
        if self.press.is_empty() {
            if self.quiet_since + QUIET <= Instant::now() {
                self.quiet(ask)?;
            }
            return Ok(false);
        }
        if self.last_byte + OVER <= Instant::now() {
            return self.end_press();
        }
        Ok(false)
    }

    /// Ends a press. Returns `true` if enough is known.
    fn end_press(&mut self) -> Result<bool, Failure> {
        if self.press.is_empty() {
            return Ok(false);
        }
        let line = self.interview.line();
        let chunks = std::mem::take(&mut self.press);
        let step = self.interview.press(Heard { line, chunks });
        self.tell.heard(&self.interview)?;
        self.quiet_since = Instant::now();
        self.quiet_times = 0;
        match step {
            Step::Done => Ok(true),
            Step::Press(next) => {
                if next.baud != line.baud {
                    self.port.set_speed(next.baud).map_err(|error| {
                        Failure::io(format!("the port does not take {} baud", next.baud))
                            .because(&error)
                    })?;
                }
                self.tell
                    .press(self.interview.presses().saturating_add(1), next)?;
                if let Some(request) = self.found_with.request {
                    self.send(request)?;
                }
                Ok(false)
            }
        }
    }

    /// After a silence: changes the power lines and, if allowed, sends a request.
    fn quiet(&mut self, ask: bool) -> Result<(), Failure> {
        self.quiet_since = Instant::now();
        self.quiet_times = self.quiet_times.saturating_add(1);
        let lines = POWER.iter().cycle().nth(self.quiet_times).copied();
        // Once bytes have come, the power is right.
        let lines = lines.filter(|_| self.interview.presses() == 0);
        if let Some((dtr, rts)) = lines {
            self.found_with.lines = self.port.set_lines(dtr, rts).then_some((dtr, rts));
        }
        let tried = lines.and(self.found_with.lines);
        let mut requests = REQUESTS.iter().cycle().copied();
        let request = requests
            .nth(self.quiet_times.saturating_sub(1))
            .filter(|_| ask);
        self.tell
            .quiet(tried, self.quiet_times == 1, request, ask)?;
        match request {
            Some(request) => self.send(request),
            None => Ok(()),
        }
    }

    fn send(&mut self, request: &'static str) -> Result<(), Failure> {
        self.port
            .send(request.as_bytes())
            .map_err(|error| Failure::io(error.to_string()).with_remedy_of(error.remedy()))?;
        self.asked = Some((request, Instant::now()));
        Ok(())
    }
}

fn cannot_open(error: &SerialError) -> Failure {
    Failure::io(error.to_string()).with_remedy_of(error.remedy())
}
