//! One line on standard error that says how far long work is; nothing where that is no terminal, or where the
//! work is done before anybody looks.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: how often progress is shown is a matter of time"
)]

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::time::{Duration, Instant};

/// Between two tellings, and before the first.
const PAUSE: Duration = Duration::from_millis(200);
/// Fewer bytes are not worth a look at the time.
const STEP_BYTES: u64 = 64 * 1024;
const OF_BYTES: &str = "{msg} [{bar:30}] {percent} % of {total_bytes}, {eta} left";
const OF_WORDS: &str = "{msg}";

/// A line that is written over itself, and wiped at the end.
#[derive(Debug)]
pub(super) struct Progress {
    bar: ProgressBar,
    next: Instant,
    /// Work that is done and not yet shown.
    untold_bytes: u64,
}

impl Progress {
    /// Of work that ends nobody knows when; says what [`Progress::show`] gives.
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
            untold_bytes: 0,
        }
    }

    /// That number of bytes more is done.
    pub(super) fn advance(&mut self, bytes: u64) {
        self.untold_bytes += bytes;
        if self.untold_bytes >= STEP_BYTES && self.is_due() {
            self.bar.inc(std::mem::take(&mut self.untold_bytes));
        }
    }

    /// Shows what `text` gives, if it is time to.
    pub(super) fn show(&mut self, text: impl FnOnce() -> String) {
        if self.is_due() {
            self.bar.set_message(text());
        }
    }

    /// Something else is said meanwhile.
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
            self.bar.set_draw_target(ProgressDrawTarget::stderr()); // still hidden where that is no terminal
        }
        true
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
