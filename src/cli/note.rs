//! `tallyjaw note`: exit 0 once it is durable, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Keep a remark beside the readings
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  tallyjaw note strands outside the barrel, stripping length corrected"
)]
pub(super) struct Note {
    /// The words
    #[arg(required = true, num_args = 1..)]
    text: Vec<String>,
    /// The station; may be left out where there is one
    #[arg(long)]
    station: Option<String>,
}

impl Note {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([
            ("station", self.station.map(Into::into)),
            ("text", Some(self.text.join(" ").into())),
        ]);
        client::enter(context, out, "note", &params, "noted")
    }
}
