//! `tallyjaw pulled`: exit 0 once it is durable, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Say how a pull test failed
///
/// The answer belongs to the pull force that was measured last, or to that of the named piece.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw pulled broke_in_wire            of the last pull\n  tallyjaw pulled pulled_out --piece 2     of piece 2"
)]
pub(in crate::cli) struct Pulled {
    /// How it failed
    #[arg(value_parser = ["pulled_out", "broke_at_crimp", "broke_in_wire", "other"])]
    mode: String,
    /// The piece; needed only if it is not the last one
    #[arg(long, value_name = "NUMBER")]
    piece: Option<u32>,
    /// The station; needed only where there are several
    #[arg(long)]
    station: Option<String>,
}

impl Pulled {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([
            ("station", self.station.map(Into::into)),
            ("mode", Some(self.mode.into())),
            ("piece", self.piece.map(Into::into)),
        ]);
        client::enter(context, out, "pulled", &params, "answered")
    }
}
