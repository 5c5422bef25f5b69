//! `tallyjaw zero`: exit 0 once it is durable, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Say that the next frame is a zero
///
/// Needed only where an armed axis can itself read close to zero, so that the daemon cannot tell.
#[derive(Debug, clap::Args)]
pub(super) struct Zero {
    /// The instrument; may be left out where the station has one
    #[arg(long)]
    instrument: Option<String>,
    /// The station; may be left out where there is one
    #[arg(long)]
    station: Option<String>,
}

impl Zero {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([
            ("station", self.station.map(Into::into)),
            ("instrument", self.instrument.map(Into::into)),
        ]);
        client::enter(
            context,
            out,
            "zero",
            &params,
            "the next frame is taken as a zero: close the jaws and press",
        )
    }
}
