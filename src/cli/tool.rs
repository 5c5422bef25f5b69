//! `tallyjaw tool`: exit 0 once it is durable, 2 if it is not the right tool, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Say which crimp tool is in the hand, as the tool's card would
///
/// With a series open it is checked: another tool or nest than the series asks for is refused.
/// Otherwise it is kept at the station: a plan that names another tool is refused, and a plan for
/// crimps of your own that names none takes it.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw tool T-07\n  tallyjaw tool T-07 --nest 2.0\n\nThe card says tj/tool/T-07 or tj/tool/T-07/2.0; `tallyjaw tools` lists the tools."
)]
pub(super) struct Tool {
    /// The tool's id
    #[arg(value_name = "TOOL")]
    id: String,
    /// The nest that is used
    #[arg(long)]
    nest: Option<String>,
    /// The station; may be left out where there is one
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
        client::enter(context, out, "tool", &params, "taken up")
    }
}
