//! `tallyjaw restore`: exit 0 once it is durable, 2 if there is nothing to restore, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Undo the last retraction: the reading counts again
///
/// This is possible until the piece is measured again on that axis, or a zero of the instrument is off.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  tallyjaw restore")]
pub(in crate::cli) struct Restore {
    /// The station; needed only where there are several
    #[arg(long)]
    station: Option<String>,
}

impl Restore {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([("station", self.station.map(Into::into))]);
        client::enter(context, out, "restore", &params, "restored")
    }
}
