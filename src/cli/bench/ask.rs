//! `tallyjaw ask`: exit 0 once the request is on its way, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Request a value from an instrument, as its pedal does
///
/// Only for an instrument with capture = "ask". Its answer is an entry, and so is a missing answer: see `tallyjaw
/// watch`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw ask
  tallyjaw ask --instrument gauge-1")]
pub(in crate::cli) struct Ask {
    /// The instrument; needed only where several can be asked
    #[arg(long)]
    instrument: Option<String>,
    /// The station; needed only where there are several
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
            writeln!(
                out,
                "requested; the value is entered when it comes: tallyjaw watch"
            )?;
        }
        Ok(Exit::Yes)
    }
}
