//! `tallyjaw operator`: exit 0 once it is durable, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Set who measures from now on, as the operator's card does
///
/// The station remembers it, also over a restart, and enters it into each series that starts after it. In an
/// open series the readings that follow belong to the new operator.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw operator mara\n  tallyjaw operator mara --station bench-1\n\nThe text of the card is tj/operator/mara."
)]
pub(in crate::cli) struct Operator {
    /// A name or initials
    operator: String,
    /// The station; needed only where there are several
    #[arg(long)]
    station: Option<String>,
}

impl Operator {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([
            ("station", self.station.map(Into::into)),
            ("operator", Some(self.operator.into())),
        ]);
        client::enter(context, out, "operator", &params, "operator set")
    }
}
