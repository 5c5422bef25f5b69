//! `tallyjaw disarm`: exit 0 once the series is closed and durable, 2 if none is open, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Stop the open series early
///
/// It is closed as it stands. What was measured stays in the journal.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw disarm
  tallyjaw disarm --station bench-2")]
pub(in crate::cli) struct Disarm {
    /// The station; needed only where there are several
    #[arg(long)]
    station: Option<String>,
}

impl Disarm {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([("station", self.station.map(Into::into))]);
        client::enter(context, out, "disarm", &params, "stopped early")
    }
}
