//! Makes the index of closed segments, on a thread of its own that pauses more than it works. Nothing at the bench
//! waits for it.
//!
//! In: the news that a segment was closed. Out: `state_dir/index`. Nobody is shown the index; without one, commands
//! read the whole journal.

use crate::entry::Seq;
use crate::index::Lacking;
use crate::journal::DurableLine;
use crossbeam_channel::{Receiver, Sender};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

/// The lowest priority of nice(2).
const LOWEST_PRIORITY: i32 = 19;

/// After this number of lines, a millisecond of work, the thread pauses for this time.
const LINES: u32 = 64;
const PAUSE: Duration = Duration::from_millis(10);

/// The thread. It ends when this is dropped, even in the middle of a segment.
#[derive(Debug)]
pub(super) struct Indexing {
    tell: Tell,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

/// Tells the thread what has become durable.
#[derive(Debug, Clone)]
pub(super) struct Tell(Sender<Seq>);

impl Tell {
    /// Tells the thread that a segment begins, so that the one before is closed. This never waits.
    pub(super) fn durable(&self, lines: &[DurableLine]) {
        let mut begun = lines.iter().rev();
        let begun = begun.find(|line| line.stamped.entry.opens().is_some());
        if let Some(line) = begun {
            let _ = self.0.send(line.seq);
        }
    }
}

impl Indexing {
    /// Starts the thread, which first makes missing indexes up to the `durable` entry.
    pub(super) fn start(state_dir: &Path, durable: Seq) -> Self {
        let (sender, told) = crossbeam_channel::unbounded();
        let _ = sender.send(durable);
        let stop = Arc::new(AtomicBool::new(false));
        let (state_dir, stopped) = (state_dir.to_owned(), Arc::clone(&stop));
        let run = move || run(&state_dir, &told, &stopped);
        let thread = std::thread::Builder::new().name("index".to_owned());
        let thread = thread.spawn(run);
        if let Err(error) = &thread {
            tracing::warn!("the journal is not indexed: {error}");
        }
        Self {
            tell: Tell(sender),
            stop,
            thread: thread.ok(),
        }
    }

    pub(super) fn tell(&self) -> Tell {
        self.tell.clone()
    }
}

impl Drop for Indexing {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        let _ = self.tell.0.send(Seq(0));
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn run(state_dir: &Path, told: &Receiver<Seq>, stop: &AtomicBool) {
    let _ = rustix::process::nice(LOWEST_PRIORITY); // A service may not be allowed to do this; the pauses are enough.
    let lines = AtomicU32::new(0);
    let go_on = || {
        if lines.fetch_add(1, Ordering::Relaxed) % LINES == LINES - 1 {
            std::thread::sleep(PAUSE);
        }
        !stop.load(Ordering::Relaxed)
    };
    while let Ok(durable) = told.recv() {
        let durable = told.try_iter().last().unwrap_or(durable);
        if stop.load(Ordering::Relaxed) {
            return;
        }
        match Lacking::find(state_dir, durable) {
            Ok(None) => {}
            Ok(Some(mut lacking)) => while lacking.make_one(&go_on).is_some() {},
            Err(error) => tracing::warn!("the journal is not indexed: {error}"),
        }
    }
}
