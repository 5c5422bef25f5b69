//! `tallyjaw look`: exit 0 once it is durable, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Answer a visual check of the plan
///
/// The checks are those of the plan (looks). Each is due after the measurements of its piece. A bad answer rejects the
/// series. An answer can be given again while the series is open.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw look 1 good             of the piece that waits for it\n  tallyjaw look 2 bad --piece 3    of piece 3"
)]
pub(in crate::cli) struct Look {
    /// The number of the check in the plan, from 1
    #[arg(value_name = "NUMBER")]
    number: u32,
    /// good or bad
    #[arg(value_parser = ["good", "bad"])]
    answer: String,
    /// The piece; needed only if it is not the one for which the check is due
    #[arg(long, value_name = "NUMBER")]
    piece: Option<u32>,
    /// The station; needed only where there are several
    #[arg(long)]
    station: Option<String>,
}

impl Look {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([
            ("station", self.station.map(Into::into)),
            ("look", Some(self.number.into())),
            ("piece", self.piece.map(Into::into)),
            ("answer", Some(self.answer.into())),
        ]);
        client::enter(context, out, "look", &params, "answered")
    }
}
