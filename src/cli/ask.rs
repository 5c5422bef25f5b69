//! `tallyjaw ask`: exit 0 once the request is on its way, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Ask an instrument for a value, as its pedal would
///
/// Only for an instrument with capture = "ask". What it answers, or that it does not, is an entry
/// like any other: see `tallyjaw watch`.
#[derive(Debug, clap::Args)]
pub(super) struct Ask {
    /// The instrument; may be left out where one alone can be asked
    #[arg(long)]
    instrument: Option<String>,
    /// The station; may be left out where there is one
    #[arg(long)]
    station: Option<String>,
}

impl Ask {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([
            ("station", self.station.map(Into::into)),
            ("instrument", self.instrument.map(Into::into)),
        ]);
        let answer = client::call(context, "ask", &params)?;
        if context.json {
            writeln!(out, "{}", answer.get())?;
        } else {
            writeln!(out, "asked; the value comes as an entry")?;
        }
        Ok(Exit::Yes)
    }
}
