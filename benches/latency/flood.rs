//! A second port of the same daemon, which sends two values in turn without pause.

use super::Result;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread::JoinHandle;
use std::time::Instant;
use tallyjaw::virtual_caliper::VirtualCaliper;

/// The sender in words, for the heading.
pub(super) const WHO: &str = "a port of another station that sends two values in turn without end";

/// The other station and its instrument.
pub(super) fn configuration(port: &Path) -> String {
    format!(
        r#"
[[station]]
name = "bench-2"

[[instrument]]
name = "caliper-2"
station = "bench-2"
kind = "caliper"
port = "{}"
line = "9600 8N1"
format = "decimal-line"
unit = "mm"
resolution = "0.01 mm"
max_error = "0.02 mm"
range = "0..150 mm"
capture = "press"
"#,
        port.display()
    )
}

/// Sends until it is dropped.
pub(super) struct Flood {
    ends: Arc<AtomicBool>,
    sent: Arc<AtomicU64>,
    began: Instant,
    thread: Option<JoinHandle<()>>,
}

impl Flood {
    pub(super) fn of(caliper: VirtualCaliper) -> Self {
        let (ends, sent) = (
            Arc::new(AtomicBool::new(false)),
            Arc::new(AtomicU64::new(0)),
        );
        let piece = "+1.60\r+1.61\r".repeat(64).into_bytes();
        let (until, count) = (Arc::clone(&ends), Arc::clone(&sent));
        let thread = std::thread::spawn(move || {
            while !until.load(Ordering::Relaxed) {
                // Waits while the terminal is full, as it has no speed of its own.
                if caliper.send(&piece).is_ok() {
                    count.fetch_add(u64::try_from(piece.len()).unwrap_or(0), Ordering::Relaxed);
                }
            }
        });
        Self {
            ends,
            sent,
            began: Instant::now(),
            thread: Some(thread),
        }
    }

    /// Bytes a second that were accepted so far.
    pub(super) fn rate(&self) -> u128 {
        let sent = u128::from(self.sent.load(Ordering::Relaxed));
        sent * 1_000 / self.began.elapsed().as_millis().max(1)
    }
}

impl Drop for Flood {
    fn drop(&mut self) {
        self.ends.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// Size of a journal in bytes.
pub(super) fn journal_bytes(folder: &Path) -> Result<u64> {
    let mut bytes = 0;
    for item in std::fs::read_dir(folder.join("state/journal"))? {
        bytes += item?.metadata()?.len();
    }
    Ok(bytes)
}

/// Growth of a journal between two moments.
pub(super) struct Growth {
    folder: PathBuf,
    from: (u64, Instant),
}

impl Growth {
    pub(super) fn from_now(folder: &Path) -> Result<Self> {
        Ok(Self {
            folder: folder.to_owned(),
            from: (journal_bytes(folder)?, Instant::now()),
        })
    }

    /// Growth in bytes a second.
    pub(super) fn rate(&self) -> Result<u128> {
        let grown = u128::from(journal_bytes(&self.folder)?.saturating_sub(self.from.0));
        Ok(grown * 1_000 / self.from.1.elapsed().as_millis().max(1))
    }
}
