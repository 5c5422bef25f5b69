//! `tallyjaw retract`: exit 0 once it is durable, 2 if there is nothing to retract, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Retract the last reading because it was a slip; it is measured again next
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw retract             the last reading that counts\n  tallyjaw retract --seq 42    the reading of entry 42; `tallyjaw series N` shows the numbers\n  tallyjaw retract --reason 'wire slipped in the jaws'   a pull test: the piece is spent"
)]
pub(in crate::cli) struct Retract {
    /// The entry of the reading, where it is not the last one
    #[arg(long)]
    seq: Option<u64>,
    /// The reason; required where measuring destroyed the piece
    #[arg(long, value_name = "WORDS")]
    reason: Option<String>,
    /// The station; needed only where there are several
    #[arg(long)]
    station: Option<String>,
}

impl Retract {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([
            ("station", self.station.map(Into::into)),
            ("seq", self.seq.map(Into::into)),
            ("reason", self.reason.map(Into::into)),
        ]);
        client::enter(context, out, "retract", &params, "retracted")
    }
}
