//! `tallyjaw status`: exit 0, 3 without a daemon, 4 if the journal has failed, has no room, or its disk does not answer.

use super::entries::EntryStyle;
use super::{Context, Exit, Failure, card, client};
use crate::entry::words::safe;
use crate::message::reply::{SinkStatus, Status as Answer, TabletStatus};
use crate::quantity::WallMicros;
use std::io::Write;

/// Show what to do next, the open series, and which instruments are connected
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw status
  tallyjaw status --station bench-1
  tallyjaw status --json | jq .state")]
pub(in crate::cli) struct Status {
    /// Only this station
    #[arg(long)]
    station: Option<String>,
}

impl Status {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let answer = client::call(context, "status", &client::params([]))?;
        let status: Answer = client::read(&answer)?;
        let wanted = |name: &str| self.station.as_deref().is_none_or(|only| only == name);
        if let Some(only) = &self.station
            && status.state.station(only).is_none()
        {
            return Err(unknown(only, &status));
        }
        if context.json {
            writeln!(out, "{}", answer.get())?;
        } else {
            let form = EntryStyle::of_system();
            for station in &status.state.stations {
                if wanted(&station.station) {
                    card::station(out, &form, station)?;
                }
            }
            writeln!(
                out,
                "{HEADING}instruments{HEADING:#}",
                HEADING = card::HEADING
            )?;
            for instrument in &status.state.instruments {
                if wanted(&instrument.station) {
                    card::instrument(out, instrument)?;
                }
            }
            if status.state.instruments.is_empty() {
                writeln!(
                    out,
                    "  none, so nothing can be measured; find the caliper: tallyjaw listen PORT --write"
                )?;
            }
            for trouble in &status.troubles {
                let (name, message) = (safe(&trouble.instrument), safe(&trouble.message));
                let instruments = &status.state.instruments;
                let is_open = instruments
                    .iter()
                    .any(|known| known.instrument == trouble.instrument && known.attached);
                let what = if is_open { "" } else { " cannot be opened" };
                writeln!(out, "  {name}{what}: {message}")?;
                if let Some(remedy) = &trouble.remedy {
                    writeln!(out, "    help: {}", safe(remedy))?;
                }
            }
            for trouble in status.folders.iter().filter(|one| wanted(&one.station)) {
                let (station, message) = (safe(&trouble.station), safe(&trouble.message));
                writeln!(out, "  pictures of {station}: {message}")?;
                writeln!(out, "    help: {}", safe(&trouble.remedy))?;
            }
            if let Some(tablet) = status.tablet.as_ref().filter(|_| self.station.is_none()) {
                tablets(out, tablet)?;
            }
            if let Some(trouble) = &status.key_trouble {
                writeln!(
                    out,
                    "{HEADING}signing key{HEADING:#}",
                    HEADING = card::HEADING
                )?;
                let (message, remedy) = (safe(&trouble.message), safe(&trouble.remedy));
                writeln!(out, "  outcomes are not sealed: {message}")?;
                writeln!(out, "    help: {remedy}")?;
            }
            if self.station.is_none() {
                sinks(out, &form, &status.sinks)?;
            }
        }
        match status.journal_health.as_str() {
            "ok" => Ok(Exit::Yes),
            "stalled" => Err(Failure::io(format!(
                "the disk has not answered for {} s: no reading counts until it does",
                status.stalled_seconds.unwrap_or_default()
            ))
            .with_remedy(
                "check the disk of state_dir; what is measured now is kept in memory until then",
            )),
            health => Err(
                Failure::io(format!("the journal is {health}: nothing counts"))
                    .with_remedy("check the disk of state_dir and read the daemon's messages"),
            ),
        }
    }
}

/// Writes where tablets connect, and how many are paired.
fn tablets(out: &mut dyn Write, tablet: &TabletStatus) -> std::io::Result<()> {
    writeln!(out, "{HEADING}tablets{HEADING:#}", HEADING = card::HEADING)?;
    let (listen, paired) = (safe(&tablet.listen), tablet.paired);
    writeln!(
        out,
        "  connect to {listen}, {paired} paired; see them: tallyjaw page --tablets"
    )?;
    writeln!(out, "  certificate SHA-256 {}", safe(&tablet.sha256))
}

/// Writes the state of each sink, with a remedy if it fails.
fn sinks(out: &mut dyn Write, form: &EntryStyle, sinks: &[SinkStatus]) -> std::io::Result<()> {
    if sinks.is_empty() {
        return Ok(());
    }
    writeln!(out, "{HEADING}sinks{HEADING:#}", HEADING = card::HEADING)?;
    let local = |time: &str| {
        let at = time.parse::<WallMicros>();
        at.map_or_else(|_| safe(time), |at| at.local(&form.zone))
    };
    for sink in sinks {
        let (name, after) = (safe(&sink.sink), sink.after);
        let kind = &sink.kind;
        let behind = match sink.behind {
            0 => "up to date".to_owned(),
            1 => "1 entry behind".to_owned(),
            behind => format!("{behind} entries behind"),
        };
        let Some(failing) = &sink.failing else {
            // Entries since the last time stamp are not a fault, because the next one covers them.
            let so_far = match (kind.as_str(), after, sink.behind) {
                ("timestamp", 0, _) => "no time stamp yet".to_owned(),
                ("timestamp", _, since) => format!("stamped up to entry {after}, {since} since"),
                _ => format!("entry {after}, {behind}"),
            };
            let over = sink.recovered.as_ref().map_or_else(String::new, |over| {
                let (until, error) = (local(&over.until), safe(&over.error));
                format!("; failed until {until} ({} tries): {error}", over.tries)
            });
            writeln!(out, "  {name} ({kind}): {so_far}{over}")?;
            continue;
        };
        let (error, since) = (safe(&failing.error), local(&failing.since));
        let tries = failing.tries;
        writeln!(
            out,
            "  {name} ({kind}): has failed since {since} ({tries} tries), {behind}: {error}"
        )?;
        writeln!(out, "    help: {}", safe(&failing.remedy))?;
    }
    Ok(())
}

fn unknown(only: &str, status: &Answer) -> Failure {
    let known: Vec<&str> = status
        .state
        .stations
        .iter()
        .map(|station| station.station.as_str())
        .collect();
    Failure::usage(format!(
        "no station {only:?}, want one of {}",
        known.join(", ")
    ))
}
