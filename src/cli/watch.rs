//! `tallyjaw watch`: runs until it is stopped; exit 3 when the daemon is gone.

use super::card::HEADING;
use super::{Context, Exit, Failure, client};
use crate::entry::words::safe;
use crate::entry::{Seq, line, words};
use crate::message::reply::Status;
use crate::message::{Hello, Notice};
use std::collections::BTreeSet;
use std::io::{self, BufRead, BufReader, Write};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};

/// Show every entry as it becomes durable, and what to do next
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw watch                   from now on, a line an entry, then what to do next
  tallyjaw watch --after 0         everything since the journal began
  tallyjaw watch --json | jq .     the feed as it is, for programs")]
pub(super) struct Watch {
    /// Begin after this entry instead of now
    #[arg(long, value_name = "SEQ")]
    after: Option<u64>,
}

/// The longest line that is waited for: a `segment` holds the whole state.
const LONGEST_LINE: usize = 64 * 1024 * 1024;

impl Watch {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let daemon = client::daemon_of(context)?;
        let mut feed = client::connect(&daemon.runtime_dir.join("feed.sock"))?;
        if let Some(after) = self.after {
            let request = format!("{{\"after\":{after}}}\n");
            feed.get_mut()
                .write_all(request.as_bytes())
                .map_err(|error| gone(Some(&error)))?;
        }
        // What became durable before the request was read comes again after it.
        let mut prompts = Prompts::of(&daemon.runtime_dir);
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
            } else if let Some(shown) = shown(&text) {
                writeln!(out, "{shown}")?;
                prompts.touched(&text);
                // Once everything that has come is shown, and not between entries of one moment.
                if feed.buffer().is_empty() {
                    prompts.show(out)?;
                }
            }
            out.flush()?;
        }
        Err(gone(None))
    }
}

/// What to do next at the stations that something has happened at, asked of the daemon.
struct Prompts {
    socket: PathBuf,
    stations: BTreeSet<String>,
}

impl Prompts {
    fn of(runtime_dir: &Path) -> Self {
        Self {
            socket: runtime_dir.join("control.sock"),
            stations: BTreeSet::new(),
        }
    }

    /// Something has happened at the station of this entry, if it is one.
    fn touched(&mut self, text: &str) {
        let station = line::decode(text.as_bytes()).ok();
        let station = station.and_then(|(stamped, _)| Some(stamped.entry.station()?.into()));
        self.stations.extend(station);
    }

    fn show(&mut self, out: &mut dyn Write) -> io::Result<()> {
        if self.stations.is_empty() {
            return Ok(());
        }
        let stations = std::mem::take(&mut self.stations);
        // Who may read the feed may not be let in there: then entries alone are shown.
        let status = client::call_at(&self.socket, "status", &client::params([]))
            .and_then(|answer| client::read::<Status>(&answer));
        let Ok(status) = status else { return Ok(()) };
        for station in status.state.stations {
            if stations.contains(&station.station) {
                let (name, prompt) = (safe(&station.station), safe(&station.prompt));
                writeln!(out, "  next at {name}: {HEADING}{prompt}{HEADING:#}")?;
            }
        }
        Ok(())
    }
}

fn next_line(feed: &mut BufReader<UnixStream>) -> Result<Option<String>, Failure> {
    let mut bytes = Vec::new();
    let most = u64::try_from(LONGEST_LINE).unwrap_or(u64::MAX);
    let mut limited = io::Read::take(feed, most);
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

/// A line of the feed for people; the state is left to `status`.
fn shown(text: &str) -> Option<String> {
    if let Ok((stamped, _)) = line::decode(text.as_bytes()) {
        return Some(words::line(&stamped));
    }
    if let Ok(hello) = serde_json::from_str::<Hello>(text)
        && hello.kind == "hello"
    {
        return Some(format!(
            "watching journal {}, entries {} to {}",
            safe(&hello.journal),
            hello.first,
            hello.last
        ));
    }
    let notice: Notice = serde_json::from_str(text).ok()?;
    let remedy = notice.remedy.map(|remedy| format!("; {}", safe(&remedy)));
    Some(format!(
        "{}: {}{}",
        safe(&notice.kind.replace('_', " ")),
        safe(&notice.message),
        remedy.unwrap_or_default()
    ))
}
