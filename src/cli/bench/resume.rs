//! `tallyjaw resume`: exit 0 once it is durable, 2 if there is nothing to resume, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Resume the series that the last start stopped early
///
/// This is possible until something is measured at the station, or a zero is off.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  tallyjaw resume")]
pub(in crate::cli) struct Resume {
    /// The station; needed only where there are several
    #[arg(long)]
    station: Option<String>,
}

impl Resume {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([("station", self.station.map(Into::into))]);
        client::enter(context, out, "resume", &params, "resumed")
    }
}
