//! `tallyjaw resume`: exit 0 once it is durable, 2 if there is nothing to resume, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Open the series again that the last arming stopped early
///
/// Possible until something is measured at the station, or a zero is off.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  tallyjaw resume")]
pub(super) struct Resume {
    /// The station; may be left out where there is one
    #[arg(long)]
    station: Option<String>,
}

impl Resume {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([("station", self.station.map(Into::into))]);
        client::enter(context, out, "resume", &params, "resumed")
    }
}
