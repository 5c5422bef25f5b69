//! `tallyjaw demo`: a made-up shop from the first zero to the last verdict, on virtual calipers and
//! the real daemon. Exit 0 if the story went as told, 1 if an entry was not as it should be, 4 on
//! trouble with files or processes.

mod shop;
mod stage;
mod story;

use super::{Context, Exit, Failure};
use std::io::Write;
use std::path::PathBuf;

/// Watch a whole job in a made-up shop: two stations, two calipers, six series
///
/// Opens virtual calipers on pseudo-terminals, starts the real daemon on them and plays the
/// operators. Every line shown is an entry that was on the disk first. Nothing of yours is touched:
/// all files go to a new folder, which is named at the end.
#[derive(Debug, clap::Args)]
pub(crate) struct Demo {
    /// Play it in seconds instead of at a pace to watch
    #[arg(long)]
    fast: bool,
    /// Put the shop's files here; must be new or empty [default: a new folder for temporary files]
    #[arg(long, value_name = "DIR")]
    dir: Option<PathBuf>,
}

impl Demo {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let pace = if self.fast {
            stage::Pace::Fast
        } else {
            stage::Pace::Watchable
        };
        let shop = shop::Shop::open(self.dir)?;
        let mut stage = stage::Stage::open(shop, pace, context.json, out)?;
        let answer = story::play(&mut stage);
        let closed = stage.close();
        answer.and_then(|exit| closed.map(|()| exit))
    }
}
