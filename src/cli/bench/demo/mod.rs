//! `tallyjaw demo`: a made-up shop from the first zero to the last verdict, with virtual calipers and the real daemon.
//! Exit 0 if everything went as expected, 1 if an entry was wrong, 4 if files or processes failed.

mod shop;
mod stage;
mod story;

use super::{Context, Exit, Failure};
use std::io::Write;
use std::path::PathBuf;

/// Show a whole job in a made-up shop: two stations, two calipers, six series
///
/// Virtual calipers on pseudo-terminals, the real daemon, and played operators. Each line is shown after its entry is
/// on disk. All files go to a new folder, whose name is shown at the end; nothing else is changed.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw demo
  tallyjaw demo --fast --dir shop")]
pub(in crate::cli) struct Demo {
    /// Run it in seconds, not at a pace to watch
    #[arg(long)]
    fast: bool,
    /// The folder for the files; new or empty [default: a new temporary folder]
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
