//! `tallyjaw adapter`: exit 0 once it is durable, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Confirm that the new USB adapter at an instrument's port is the right one
///
/// When the adapter at a port is not the one from before, its readings do not count, since they may be of another
/// instrument. Check which instrument is plugged into it, then confirm it. Readings that no good zero vouches for
/// yet are doubted then, and a zero is due.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw adapter
  tallyjaw adapter --instrument caliper-1")]
pub(in crate::cli) struct Adapter {
    /// The instrument; needed only where several have a new adapter
    #[arg(long)]
    instrument: Option<String>,
    /// The station; needed only where there are several
    #[arg(long)]
    station: Option<String>,
}

impl Adapter {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([
            ("station", self.station.map(Into::into)),
            ("instrument", self.instrument.map(Into::into)),
        ]);
        client::enter(
            context,
            out,
            "adapter",
            &params,
            "adapter confirmed, its readings count from now on",
        )
    }
}
