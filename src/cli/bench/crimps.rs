//! `tallyjaw crimps`: exit 0 once it is durable, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Count crimps of the production run
///
/// The number is that of the crimps since the last count. A counter at a port counts by itself. Crimps that are counted
/// while no run is open are entered too, but no sample vouches for them.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  tallyjaw crimps 50     fifty more since the last count")]
pub(in crate::cli) struct Crimps {
    /// The number of crimps since the last count
    #[arg(value_name = "NUMBER")]
    crimps: u32,
    /// The station; needed only where there are several
    #[arg(long)]
    station: Option<String>,
}

impl Crimps {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([
            ("station", self.station.map(Into::into)),
            ("crimps", Some(self.crimps.into())),
        ]);
        client::enter(context, out, "crimps", &params, "counted")
    }
}
