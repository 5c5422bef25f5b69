//! `tallyjaw settle`: exit 0 once it is durable, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Decide what becomes of held crimps
///
/// A bad sample holds the crimps since the last good one. A person decides whether they are released, reworked or
/// scrapped, all of them or a number of them, and gives a reason. tallyjaw runs shows what is held.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw settle scrap --reason \"die was worn\"                      all that are held\n  tallyjaw settle release 812 --crimps 97 --reason \"each measured\"    97 of those held by entry 812"
)]
pub(in crate::cli) struct Settle {
    /// release, rework or scrap
    #[arg(value_name = "HOW", value_parser = ["release", "rework", "scrap"])]
    settlement: String,
    /// The entry that holds the crimps; needed only where there are several
    #[arg(value_name = "ENTRY")]
    held: Option<u64>,
    /// The number of crimps [default: all that are left]
    #[arg(long, value_name = "NUMBER")]
    crimps: Option<u64>,
    /// The reason
    #[arg(long, value_name = "WORDS")]
    reason: String,
    /// The station; needed only where there are several
    #[arg(long)]
    station: Option<String>,
}

impl Settle {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([
            ("station", self.station.map(Into::into)),
            ("held", self.held.map(Into::into)),
            ("crimps", self.crimps.map(Into::into)),
            ("settlement", Some(self.settlement.into())),
            ("reason", Some(self.reason.into())),
        ]);
        client::enter(context, out, "settle", &params, "settled")
    }
}
