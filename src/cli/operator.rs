//! `tallyjaw operator`: exit 0 once it is durable, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Say who measures from here on, as the operator's card would
///
/// It is kept at the station, also over a restart, and goes into every series that is armed from
/// then on. In an open series the readings after it are theirs.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw operator mara\n  tallyjaw operator mara --station bench-1\n\nThe card says tj/operator/mara."
)]
pub(super) struct Operator {
    /// A name or initials
    operator: String,
    /// The station; may be left out where there is one
    #[arg(long)]
    station: Option<String>,
}

impl Operator {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([
            ("station", self.station.map(Into::into)),
            ("operator", Some(self.operator.into())),
        ]);
        client::enter(context, out, "operator", &params, "kept")
    }
}
