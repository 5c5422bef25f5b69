//! `tallyjaw note`: exit 0 once it is durable, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Enter a remark into the journal
///
/// It belongs to the open series of the station, if there is one.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  tallyjaw note strands outside the barrel, stripping length corrected"
)]
pub(in crate::cli) struct Note {
    /// The text
    #[arg(required = true, num_args = 1..)]
    text: Vec<String>,
    /// The station; needed only where there are several
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
