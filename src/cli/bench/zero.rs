//! `tallyjaw zero`: exit 0 once it is durable, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Take the next value as a zero check
///
/// Needed only where readings of the plan can lie near zero, such as a burr, so that a zero cannot be recognised
/// by its value.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw zero
  tallyjaw zero --instrument caliper-2")]
pub(in crate::cli) struct Zero {
    /// The instrument; needed only where the station has several
    #[arg(long)]
    instrument: Option<String>,
    /// The station; needed only where there are several
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
            "the next value is taken as a zero: close the jaws and press the data key",
        )
    }
}
