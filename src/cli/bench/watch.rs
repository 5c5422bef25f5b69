//! `tallyjaw watch`: runs until it is stopped; exit 3 when the daemon is gone.

use super::card::{HEADING, ODD};
use super::columns::count;
use super::entries::EntryStyle;
use super::{Context, Exit, Failure, client, configured};
use crate::entry::words::safe;
use crate::entry::{Entry, Seq, SeriesEntry, Stamped, line};
use crate::message::reply::Status;
use crate::message::{Hello, LONGEST_FEED_LINE, Notice};
use anstyle::Style;
use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, BufRead, BufReader, Write};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};

/// Show each verdict and every other entry as it becomes durable, and what to do next
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw watch                   each new entry, then what to do next
  tallyjaw watch --after 0         everything since the journal began
  tallyjaw watch --json | jq .     the lines of the feed, for programs")]
pub(in crate::cli) struct Watch {
    /// Start after this entry, not now
    #[arg(long, value_name = "SEQ")]
    after: Option<u64>,
}

impl Watch {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let daemon = configured::daemon_of(context)?;
        let mut feed = client::connect(&daemon.runtime_dir.join("feed.sock"))?;
        if let Some(after) = self.after {
            let request = format!("{{\"after\":{after}}}\n");
            feed.get_mut()
                .write_all(request.as_bytes())
                .map_err(|error| gone(Some(&error)))?;
        }
        // An entry that became durable before the request was read is sent again after it.
        let mut screen = Screen::of(&daemon.runtime_dir);
        let mut skip_until = self.after.map(|after| Seq(after).following());
        while let Some(text) = next_line(&mut feed)? {
            if let Some(seq) = line::peek_seq(text.as_bytes()) {
                match skip_until {
                    Some(first) if seq != first => continue,
                    Some(_) | None => skip_until = None,
                }
            }
            if context.json {
                writeln!(out, "{text}")?;
            } else {
                screen.show(out, &text)?;
                // Prompts are shown once all waiting lines are, and not between entries of the same moment.
                if feed.buffer().is_empty() {
                    screen.prompts(out)?;
                }
            }
            out.flush()?;
        }
        Err(gone(None))
    }
}

/// Shows entries to a person, each followed by the next action of its station.
struct Screen {
    socket: PathBuf,
    form: EntryStyle,
    /// Stations with entries since the prompts were last shown.
    stations: BTreeSet<String>,
    /// The warnings of the last series at each station; the hint to them is written once, and not again with the same
    /// plan.
    warned: BTreeMap<String, Vec<String>>,
}

impl Screen {
    fn of(runtime_dir: &Path) -> Self {
        Self {
            socket: runtime_dir.join("control.sock"),
            form: EntryStyle::of_system(),
            stations: BTreeSet::new(),
            warned: BTreeMap::new(),
        }
    }

    /// Shows a line of the feed. The state is not shown; `status` does that.
    fn show(&mut self, out: &mut dyn Write, text: &str) -> io::Result<()> {
        if let Ok((stamped, _)) = line::decode(text.as_bytes()) {
            return self.entry(out, &stamped);
        }
        if let Ok(hello) = serde_json::from_str::<Hello>(text)
            && hello.kind == "hello"
        {
            let (first, last) = (hello.first, hello.last);
            let journal = safe(&hello.journal);
            return writeln!(out, "watching journal {journal}, entries {first} to {last}");
        }
        let Ok(notice) = serde_json::from_str::<Notice>(text) else {
            return Ok(());
        };
        let kind = format!("! {}", safe(&notice.kind.replace('_', " ")));
        self.form.beneath(out, ODD, &kind, &safe(&notice.message))?;
        if let Some(remedy) = &notice.remedy {
            self.form
                .beneath(out, Style::new(), "  help", &safe(remedy))?;
        }
        Ok(())
    }

    fn entry(&mut self, out: &mut dyn Write, stamped: &Stamped) -> io::Result<()> {
        self.form.write(out, stamped, "")?;
        if let Entry::Series(SeriesEntry::Armed(spec)) = &stamped.entry {
            let before = self
                .warned
                .insert(spec.station.clone(), spec.warnings.clone());
            if before.as_ref() != Some(&spec.warnings) {
                let number = spec.warnings.len();
                if number > 0 {
                    let shown = count(number, "warning");
                    let text = format!("{shown}; tallyjaw series {} shows them", stamped.seq);
                    self.form.beneath(out, ODD, "! warning", &text)?;
                }
            }
        }
        self.stations
            .extend(stamped.entry.station().map(str::to_owned));
        Ok(())
    }

    /// Asks the daemon for the next action of the stations with new entries, and shows it.
    fn prompts(&mut self, out: &mut dyn Write) -> io::Result<()> {
        if self.stations.is_empty() {
            return Ok(());
        }
        let stations = std::mem::take(&mut self.stations);
        // A user may read the feed without access to the control socket. Then only entries are shown.
        let status = client::call_at(&self.socket, "status", &client::params([]))
            .and_then(|answer| client::read::<Status>(&answer));
        let Ok(status) = status else { return Ok(()) };
        for station in status.state.stations {
            if stations.contains(&station.station) {
                let text = format!("{}: {}", safe(&station.station), safe(&station.prompt));
                self.form.beneath(out, HEADING, "→ next", &text)?;
            }
        }
        Ok(())
    }
}

fn next_line(feed: &mut BufReader<UnixStream>) -> Result<Option<String>, Failure> {
    let mut bytes = Vec::new();
    let mut limited = io::Read::take(feed, LONGEST_FEED_LINE);
    match limited.read_until(b'\n', &mut bytes) {
        Ok(0) => Ok(None),
        Ok(_) => {
            let text = String::from_utf8_lossy(&bytes);
            Ok(Some(text.trim_end_matches('\n').to_owned()))
        }
        Err(error) => Err(gone(Some(&error))),
    }
}

fn gone(error: Option<&io::Error>) -> Failure {
    let failure = Failure::no_daemon("the daemon has closed the feed")
        .with_remedy("start it again: tallyjaw serve");
    match error {
        Some(error) => failure.because(error),
        None => failure,
    }
}
