//! `tallyjaw disarm`: exit 0 once the series is closed and durable, 2 if none is open, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Close the open series before it is full
#[derive(Debug, clap::Args)]
pub(super) struct Disarm {
    /// The station; may be left out where there is one
    #[arg(long)]
    station: Option<String>,
}

impl Disarm {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([("station", self.station.map(Into::into))]);
        client::enter(context, out, "disarm", &params, "disarmed")
    }
}
