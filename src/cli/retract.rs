//! `tallyjaw retract`: exit 0 once it is durable, 2 if there is nothing to retract, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Retract the last reading: it was a slip, its slot is measured next
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw retract             the last counted reading\n  tallyjaw retract --seq 42    that one; `tallyjaw series N` shows their numbers\n  tallyjaw retract --reason 'wire slipped in the jaws'   a pull test: the piece is spent, another is pulled instead"
)]
pub(super) struct Retract {
    /// The reading's entry, where it is not the last one
    #[arg(long)]
    seq: Option<u64>,
    /// Why; needed where measuring destroyed the piece
    #[arg(long, value_name = "WORDS")]
    reason: Option<String>,
    /// The station; may be left out where there is one
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
