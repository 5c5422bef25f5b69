//! Plays the operators: presses keys, waits for entries, explains to the spectator.
#![expect(
    clippy::disallowed_methods,
    reason = "edge: the demo waits between presses"
)]

use super::super::Failure;
use super::shop::{Shop, next_line};
use crate::entry::{Entry, PortEntry, Seq, Stamped, line, words};
use crate::quantity::{Decimal, Length, Quantity};
use crate::virtual_caliper::{CrimpTool, Hand, ToolOnBench, VirtualCaliper};
use anstyle::{AnsiColor, Style};
use std::collections::VecDeque;
use std::io::{BufReader, Write};
use std::os::unix::net::UnixStream;
use std::time::Duration;

const NARRATOR: Style = AnsiColor::Cyan.on_default();
const GOOD: Style = AnsiColor::Green.on_default().bold();
const BAD: Style = AnsiColor::Red.on_default().bold();
const ODD: Style = AnsiColor::Yellow.on_default().bold();

/// An entry that takes longer than this means that something went wrong.
const PATIENCE: Duration = Duration::from_secs(15);

/// Speed of the operators.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pace {
    /// Slow enough to follow.
    Watchable,
    /// As fast as the data key may be pressed without counting as a bounce.
    Fast,
}

impl Pace {
    fn between_presses(self) -> Duration {
        match self {
            Self::Watchable => Duration::from_millis(1_300),
            Self::Fast => Duration::from_millis(170),
        }
    }

    fn to_read(self) -> Duration {
        match self {
            Self::Watchable => Duration::from_millis(2_500),
            Self::Fast => Duration::ZERO,
        }
    }
}

/// The running demo.
pub(super) struct Stage<'a> {
    shop: Shop,
    pace: Pace,
    json: bool,
    out: &'a mut dyn Write,
    feed: BufReader<UnixStream>,
    heard: VecDeque<Stamped>,
    hands: [Hand; 2],
    tool: ToolOnBench,
}

impl<'a> Stage<'a> {
    pub(super) fn open(
        mut shop: Shop,
        pace: Pace,
        json: bool,
        out: &'a mut dyn Write,
    ) -> Result<Self, Failure> {
        let feed = shop.start_daemon()?;
        feed.get_ref()
            .set_read_timeout(Some(PATIENCE))
            .map_err(|error| Failure::io("the feed cannot be waited for").because(&error))?;
        Ok(Self {
            shop,
            pace,
            json,
            out,
            feed,
            heard: VecDeque::new(),
            hands: [Hand::new(3_000, 11), Hand::new(3_000, 12)],
            tool: CrimpTool {
                bias_nm: 0,
                spread_nm: 8_000,
                seed: 1,
            }
            .shop(),
        })
    }

    /// Stops the daemon, and names the folder with all files.
    pub(super) fn close(mut self) -> Result<(), Failure> {
        self.shop.stop_daemon()
    }

    pub(super) fn config(&self) -> String {
        self.shop.config().display().to_string()
    }

    pub(super) fn folder(&self) -> String {
        self.shop.folder.display().to_string()
    }

    /// Prints an explanation for the spectator.
    pub(super) fn say(&mut self, text: &str) -> Result<(), Failure> {
        if !self.json {
            writeln!(self.out, "\n{NARRATOR}{text}{NARRATOR:#}")?;
            self.out.flush()?;
            std::thread::sleep(self.pace.to_read());
        }
        Ok(())
    }

    pub(super) fn print(&mut self, text: &str) -> Result<(), Failure> {
        if !self.json {
            writeln!(self.out, "{text}")?;
            self.out.flush()?;
        }
        Ok(())
    }

    /// Changes the crimp tool of the pieces.
    pub(super) fn take_tool(&mut self, tool: CrimpTool) {
        self.tool = tool.shop();
    }

    /// Runs this program as the spectator could, and shows the command.
    pub(super) fn command(&mut self, arguments: &[&str]) -> Result<(), Failure> {
        let shown: Vec<_> = arguments.iter().map(|argument| quoted(argument)).collect();
        self.print(&format!("  $ tallyjaw {}", shown.join(" ")))?;
        let output = self
            .shop
            .tallyjaw(arguments)?
            .output()
            .map_err(|error| Failure::io("a command cannot be started").because(&error))?;
        if output.status.success() {
            return self.print_warnings(&String::from_utf8_lossy(&output.stdout));
        }
        let said = String::from_utf8_lossy(&output.stderr);
        Err(Failure::io(format!(
            "`tallyjaw {}` failed: {}",
            shown.join(" "),
            said.trim()
        )))
    }

    /// Prints warnings and next action from the output of `arm`.
    fn print_warnings(&mut self, answer: &str) -> Result<(), Failure> {
        let is_warning = |line: &&str| {
            let line = line.trim_start();
            line.starts_with("warning") || line.starts_with("next")
        };
        for line in answer.lines().filter(is_warning) {
            self.print(&format!("    {NARRATOR}{}{NARRATOR:#}", line.trim_start()))?;
        }
        Ok(())
    }

    /// The output of a command, such as the list of series.
    pub(super) fn answer(&mut self, arguments: &[&str]) -> Result<String, Failure> {
        let output = self
            .shop
            .tallyjaw(arguments)?
            .output()
            .map_err(|error| Failure::io("a command cannot be started").because(&error))?;
        Ok(String::from_utf8_lossy(&output.stdout).into_owned())
    }

    /// Closes the jaws and presses the data key.
    pub(super) fn zero(&mut self, bench: usize) -> Result<Stamped, Failure> {
        self.press(bench, VirtualCaliper::zero)
    }

    /// Measures a crimp of this nominal size, with the scatter of the tool in use.
    pub(super) fn measure(&mut self, bench: usize, nominal: &str) -> Result<Stamped, Failure> {
        let crimp = self.tool.crimp(length(nominal)?);
        self.measure_size(bench, crimp)
    }

    /// Measures exactly this size.
    pub(super) fn measure_exactly(&mut self, bench: usize, size: &str) -> Result<Stamped, Failure> {
        self.press(bench, |caliper| {
            caliper.measure(Quantity::Length(length_io(size)?))
        })
    }

    fn measure_size(&mut self, bench: usize, size: Length) -> Result<Stamped, Failure> {
        let jaws = self
            .hands
            .get_mut(bench)
            .map_or(size, |hand| hand.set_jaws(size));
        self.press(bench, |caliper| caliper.measure(Quantity::Length(jaws)))
    }

    /// Acts on a caliper without sending anything.
    pub(super) fn handle(&mut self, bench: usize, act: impl FnOnce(&mut VirtualCaliper)) {
        if let Some(caliper) = self.shop.calipers.get_mut(bench) {
            act(caliper);
        }
    }

    /// Gives the daemon time to read bytes before the cable is pulled.
    pub(super) fn wait_a_moment(&self) {
        std::thread::sleep(self.pace.between_presses());
    }

    /// Presses the data key and waits for the zero or reading.
    fn press(
        &mut self,
        bench: usize,
        press: impl FnOnce(&mut VirtualCaliper) -> std::io::Result<Decimal>,
    ) -> Result<Stamped, Failure> {
        std::thread::sleep(self.pace.between_presses());
        if let Some(caliper) = self.shop.calipers.get_mut(bench) {
            press(caliper)
                .map_err(|error| Failure::io("the virtual caliper cannot send").because(&error))?;
        }
        let station = format!("bench-{}", bench + 1);
        self.wait_for(&station, &["zeroed", "reading"])
    }

    /// Shows entries until one of these kinds comes from this station.
    pub(super) fn wait_for(&mut self, station: &str, kinds: &[&str]) -> Result<Stamped, Failure> {
        loop {
            let stamped = self.next()?;
            let here = stamped.entry.station() == Some(station);
            if here && kinds.contains(&stamped.entry.kind()) {
                return Ok(stamped);
            }
        }
    }

    /// Requests all entries, and waits until both calipers are connected.
    pub(super) fn wait_for_calipers(&mut self) -> Result<(), Failure> {
        let mut feed = self.feed.get_ref();
        feed.write_all(b"{\"after\":0}\n")
            .map_err(|error| Failure::io("the feed cannot be asked").because(&error))?;
        let mut missing = self.shop.calipers.len();
        while missing > 0 {
            if matches!(self.next()?.entry, Entry::Port(PortEntry::Attached(_))) {
                missing -= 1;
            }
        }
        Ok(())
    }

    fn next(&mut self) -> Result<Stamped, Failure> {
        loop {
            if let Some(stamped) = self.heard.pop_front() {
                return Ok(stamped);
            }
            let text = next_line(&mut self.feed)
                .map_err(|error| Failure::io("the feed fell silent").because(&error))?;
            if text.is_empty() {
                return Err(Failure::io("the daemon closed the feed"));
            }
            // Hello and state are not entries.
            if let Ok((stamped, _)) = line::decode(text.trim_end().as_bytes()) {
                self.show(&stamped, &text)?;
                self.heard.push_back(stamped);
            }
        }
    }

    fn show(&mut self, stamped: &Stamped, text: &str) -> Result<(), Failure> {
        if self.json {
            self.out.write_all(text.as_bytes())?;
        } else {
            let style = style_of(&stamped.entry);
            let station = stamped.entry.station().unwrap_or("");
            let words = words::words(&stamped.entry);
            writeln!(
                self.out,
                "  #{:<4}{station:<8} {style}{words}{style:#}",
                stamped.seq.0
            )?;
        }
        self.out.flush()?;
        Ok(())
    }

    /// Fails unless `is_so`, and says what was expected.
    pub(super) fn expect(&mut self, what: &str, is_so: bool, at: Seq) -> Result<(), Failure> {
        if is_so {
            return Ok(());
        }
        Err(
            Failure::io(format!("the story went wrong at entry {at}: want {what}"))
                .with_remedy(format!("look at the journal in {}", self.folder())),
        )
    }
}

fn style_of(entry: &Entry) -> Style {
    let words = words::words(entry);
    if words.contains("FAIL") || words.contains("REJECTED") || words.contains(" OFF") {
        BAD
    } else if words.contains("PASS") || words.contains("ACCEPTED") || words.contains(", good") {
        GOOD
    } else if ["UNSURE", "UNDECIDED", "not counted", "doubted", "retracted"]
        .iter()
        .any(|word| words.contains(word))
    {
        ODD
    } else {
        Style::new()
    }
}

fn quoted(argument: &str) -> String {
    if argument.contains(' ') {
        format!("\"{argument}\"")
    } else {
        argument.to_owned()
    }
}

fn length(text: &str) -> Result<Length, Failure> {
    length_io(text).map_err(|error| Failure::io("the story has a faulty size").because(&error))
}

fn length_io(text: &str) -> std::io::Result<Length> {
    let invalid = |error| std::io::Error::new(std::io::ErrorKind::InvalidInput, error);
    let value = text.parse::<crate::quantity::Measured>().map_err(invalid)?;
    value.length().map_err(invalid)
}
