//! Shows the progress of long work on one line of standard error. Nothing is shown if that is not a terminal, or if the
//! work takes less than an instant.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: how often progress is shown is a matter of time"
)]

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::time::{Duration, Instant};

/// Time between two updates, and before the first.
const PAUSE: Duration = Duration::from_millis(200);
/// Number of bytes between two looks at the clock.
const STEP_BYTES: u64 = 64 * 1024;
const OF_BYTES: &str = "{msg} [{bar:30}] {percent} % of {total_bytes}, {eta} left";
const OF_WORDS: &str = "{msg}";

/// A line that is overwritten, and erased at the end.
#[derive(Debug)]
pub(super) struct Progress {
    bar: ProgressBar,
    next: Instant,
    /// Bytes that are done and not shown yet.
    undisplayed_bytes: u64,
}

impl Progress {
    /// Progress of work of unknown length; [`Progress::show`] gives the text.
    pub(super) fn new() -> Self {
        Self::with(ProgressBar::no_length(), OF_WORDS)
    }

    /// A bar for work on this number of bytes.
    pub(super) fn of_bytes(what: &'static str, bytes: u64) -> Self {
        Self::with(ProgressBar::new(bytes).with_message(what), OF_BYTES)
    }

    fn with(bar: ProgressBar, form: &str) -> Self {
        bar.set_draw_target(ProgressDrawTarget::hidden());
        if let Ok(style) = ProgressStyle::with_template(form) {
            bar.set_style(style.progress_chars("=> "));
        }
        Self {
            bar,
            next: Instant::now() + PAUSE,
            undisplayed_bytes: 0,
        }
    }

    /// Adds bytes that are done.
    pub(super) fn advance(&mut self, bytes: u64) {
        self.undisplayed_bytes += bytes;
        if self.undisplayed_bytes >= STEP_BYTES && self.is_due() {
            self.bar.inc(std::mem::take(&mut self.undisplayed_bytes));
        }
    }

    /// Shows the text of `text`, if an update is due.
    pub(super) fn show(&mut self, text: impl FnOnce() -> String) {
        if self.is_due() {
            self.bar.set_message(text());
        }
    }

    /// Hides the line while `say` writes something else.
    pub(super) fn aside(&self, say: impl FnOnce()) {
        self.bar.suspend(say);
    }

    fn is_due(&mut self) -> bool {
        let now = Instant::now();
        if now < self.next {
            return false;
        }
        self.next = now + PAUSE;
        if self.bar.is_hidden() {
            self.bar.set_draw_target(ProgressDrawTarget::stderr()); // It stays hidden where standard error is not a terminal.
        }
        true
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
