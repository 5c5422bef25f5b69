//! `tallyjaw lot`: exit 0 once it is durable, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use crate::spec::Material;
use clap::builder::PossibleValuesParser;
use std::io::Write;

/// Set which reel of terminals or spool of wire is in use, as its card does
///
/// The station remembers it, also over a restart, and enters it into each series that starts after it. In an open
/// series the readings that follow are of the new lot.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw lot terminal R-2031\n  tallyjaw lot wire 88-1407\n  tallyjaw lot wire --none\n\nThe text of the card is tj/lot/terminal/R-2031 or tj/lot/wire/88-1407."
)]
pub(in crate::cli) struct Lot {
    /// The material of the lot
    #[arg(value_parser = PossibleValuesParser::new(Material::ALL.map(Material::name)))]
    material: String,
    /// The number of the reel or the spool
    #[arg(value_name = "LOT", required_unless_present = "none")]
    id: Option<String>,
    /// The lot in use is not known
    #[arg(long, conflicts_with = "id")]
    none: bool,
    /// The station; needed only where there are several
    #[arg(long)]
    station: Option<String>,
}

impl Lot {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let done = if self.none {
            format!("no {} lot set", self.material)
        } else {
            format!("{} lot set", self.material)
        };
        let params = client::params([
            ("station", self.station.map(Into::into)),
            ("material", Some(self.material.into())),
            ("lot", self.id.map(Into::into)),
        ]);
        client::enter(context, out, "lot", &params, &done)
    }
}
