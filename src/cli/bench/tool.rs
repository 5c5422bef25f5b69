//! `tallyjaw tool`: exit 0 once it is durable, 2 if it is not the right tool, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Set which crimp tool is in hand, as the tool's card does
///
/// While a series is open, a tool or nest that differs from that of the series is refused. Otherwise the
/// station remembers it: a plan that names another tool is refused then, and a plan for your own crimps that
/// names no tool takes it.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw tool T-07\n  tallyjaw tool T-07 --nest 2.0\n\nThe text of the card is tj/tool/T-07 or tj/tool/T-07/2.0; `tallyjaw tools` lists the tools."
)]
pub(in crate::cli) struct Tool {
    /// The tool's id
    #[arg(value_name = "TOOL")]
    id: String,
    /// The nest in use
    #[arg(long)]
    nest: Option<String>,
    /// The station; needed only where there are several
    #[arg(long)]
    station: Option<String>,
}

impl Tool {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([
            ("station", self.station.map(Into::into)),
            ("tool", Some(self.id.into())),
            ("nest", self.nest.map(Into::into)),
        ]);
        client::enter(context, out, "tool", &params, "tool set")
    }
}
