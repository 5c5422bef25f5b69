//! Waits before a port is opened again. The pauses grow, and an event in the folder of the device file ends one early.
//! Also decides which failures are reported.

use super::SerialError;
use crate::config::PortSelector;
use rustix::fs::inotify::{CreateFlags, ReadFlags, Reader, WatchFlags, add_watch};
use std::collections::BTreeSet;
use std::mem::MaybeUninit;
use std::os::fd::OwnedFd;
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::time::{Duration, Instant};
use tokio::io::unix::AsyncFd;
use tokio::time::sleep;

const FIRST: Duration = Duration::from_millis(50);
const LONGEST: Duration = Duration::from_secs(2);

/// A device file appears first and gets its group and mode a little later. It is also the shortest time between two
/// attempts, whatever happens in the folder.
const SETTLE: Duration = Duration::from_millis(20);

/// Pauses between attempts. Each is twice the one before, up to two seconds.
#[derive(Debug)]
pub(super) struct Pauses {
    next: Duration,
}

impl Pauses {
    pub(super) fn new() -> Self {
        Self { next: FIRST }
    }

    pub(super) fn next(&mut self) -> Duration {
        let pause = self.next;
        self.next = (pause * 2).min(LONGEST);
        pause
    }
}

/// A new device file belongs to root until the system's rules give it its group. A refusal is reported only if it lasts
/// longer than this.
const RULES_RUN: Duration = Duration::from_secs(1);

/// Decides which failures of opening are reported: each message once, and no short refusal.
#[derive(Debug, Default)]
pub(super) struct FailureFilter {
    last_message: String,
    refused_since: Option<Instant>,
}

impl FailureFilter {
    /// Whether this failure to open the port must be reported.
    pub(super) fn is_news(&mut self, error: &SerialError, now: Instant) -> bool {
        if matches!(error, SerialError::NotAllowed { .. }) {
            let since = *self.refused_since.get_or_insert(now);
            if now.saturating_duration_since(since) < RULES_RUN {
                return false;
            }
        } else {
            self.refused_since = None;
        }
        let message = error.to_string();
        let is_news = message != self.last_message;
        self.last_message = message;
        is_news
    }
}

/// Notices that a port appears or may be opened. If the system cannot notify, only the pauses apply.
///
/// A folder such as `/dev/serial/by-id` is removed with its last link, and its watch with it. So the nearest existing
/// folder above is watched for what leads to the port.
#[derive(Debug)]
pub(super) struct Watch {
    events: Option<AsyncFd<OwnedFd>>,
    wanted: Wanted,
    /// Watched folders, by kernel number; some may no longer exist.
    watched: Mutex<BTreeSet<i32>>,
}

/// Which events in the folders matter.
#[derive(Debug)]
enum Wanted {
    /// Those on the way to this path.
    Path(PathBuf),
    /// `/dev/ttyUSB…`, `/dev/ttyACM…`
    ATerminal,
}

impl Watch {
    pub(super) fn on(selector: &PortSelector) -> Self {
        let wanted = match selector {
            PortSelector::Path(path) => Wanted::Path(path.clone()),
            PortSelector::UsbSerial(_) | PortSelector::UsbId { .. } => Wanted::ATerminal,
        };
        let watch = Self {
            events: events(),
            wanted,
            watched: Mutex::default(),
        };
        watch.look_on();
        watch
    }

    /// Returns after `pause`, or shortly after an event.
    pub(super) async fn wait(&self, pause: Duration) {
        if self.look_on() {
            // An event may have come before the watch began.
            return sleep(SETTLE.min(pause)).await;
        }
        tokio::select! {
            () = sleep(pause) => {}
            () = self.something_happened() => {}
        }
    }

    async fn something_happened(&self) {
        let Some(events) = &self.events else {
            return std::future::pending().await;
        };
        loop {
            let Ok(mut ready) = events.readable().await else {
                return std::future::pending().await;
            };
            let matters = self.read(events.get_ref());
            ready.clear_ready();
            drop(ready);
            sleep(SETTLE).await;
            if matters {
                return;
            }
        }
    }

    /// Reads all events. Returns whether one of them is about our port.
    fn read(&self, events: &OwnedFd) -> bool {
        let mut buffer = [MaybeUninit::uninit(); 4096];
        let mut reader = Reader::new(events, &mut buffer);
        let mut matters = false;
        // Ends with an error when no more events are waiting.
        while let Ok(event) = reader.next() {
            if event.events().contains(ReadFlags::IGNORED) {
                // The folder is gone, and may come back as a new one.
                self.forget(event.wd());
                matters = true;
            }
            matters |= event
                .file_name()
                .is_some_and(|name| self.is_about(name.to_bytes()));
        }
        matters
    }

    fn is_about(&self, file: &[u8]) -> bool {
        match &self.wanted {
            Wanted::Path(path) => path.iter().any(|name| name.as_bytes() == file),
            Wanted::ATerminal => file.starts_with(b"tty"),
        }
    }

    fn forget(&self, folder: i32) {
        if let Ok(mut watched) = self.watched.lock() {
            watched.remove(&folder);
        }
    }

    /// Watches the folder of the port, or the nearest existing one above. Returns whether that is new.
    fn look_on(&self) -> bool {
        let folder = match &self.wanted {
            Wanted::Path(path) => path.parent().unwrap_or(Path::new("/")),
            Wanted::ATerminal => Path::new("/dev"),
        };
        let Some(events) = &self.events else {
            return false;
        };
        // Without CLOSE: our own attempts close the file and would wake us for ever.
        let what = WatchFlags::CREATE | WatchFlags::MOVED_TO | WatchFlags::ATTRIB;
        let here = Path::new(".");
        let added = folder.ancestors().find_map(|folder| {
            let folder = if folder.as_os_str().is_empty() {
                here
            } else {
                folder
            };
            add_watch(events, folder, what).ok()
        });
        let watched = self.watched.lock();
        added
            .zip(watched.ok())
            .is_some_and(|(added, mut watched)| watched.insert(added))
    }
}

fn events() -> Option<AsyncFd<OwnedFd>> {
    let events = rustix::fs::inotify::init(CreateFlags::NONBLOCK | CreateFlags::CLOEXEC).ok()?;
    #[expect(
        deprecated,
        reason = "unsound only for a type that lies about its descriptor, as OwnedFd cannot; what replaces it needs unsafe code"
    )]
    AsyncFd::new(events).ok()
}

#[cfg(test)]
mod tests {
    use super::super::access::Access;
    use super::*;

    #[test]
    fn pauses_grow_to_two_seconds() {
        let mut pauses = Pauses::new();
        let millis: Vec<_> = (0..8).map(|_| pauses.next().as_millis()).collect();
        assert_eq!(millis, [50, 100, 200, 400, 800, 1600, 2000, 2000]);
    }

    fn missing() -> SerialError {
        SerialError::NotFound {
            path: "/dev/ttyUSB0".into(),
        }
    }

    fn refusal() -> SerialError {
        let port = std::fs::metadata("/dev/null").unwrap();
        SerialError::NotAllowed {
            path: "/dev/ttyUSB0".into(),
            access: Box::new(Access::of(&port)),
        }
    }

    #[test]
    fn a_short_refusal_is_not_reported_and_a_lasting_one_is_reported_once() {
        let start = Instant::now();
        let mut telling = FailureFilter::default();
        let mut is_news = |error: SerialError, millis| {
            telling.is_news(&error, start + Duration::from_millis(millis))
        };
        assert!(is_news(missing(), 0));
        assert!(!is_news(missing(), 50));
        assert!(!is_news(refusal(), 100), "the rules may still run");
        // Gone and back, so the system's rules run again.
        assert!(
            !is_news(missing(), 1_000),
            "reported before, and nothing since"
        );
        assert!(!is_news(refusal(), 1_100));
        assert!(!is_news(refusal(), 2_099));
        assert!(is_news(refusal(), 2_100));
        assert!(!is_news(refusal(), 9_000));
    }

    #[tokio::test]
    async fn a_pause_is_cut_short_when_the_file_appears() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("caliper");
        let watch = Watch::on(&PortSelector::Path(path.clone()));
        std::fs::write(folder.path().join("other"), "").unwrap();
        let start = Instant::now();
        let appears = async {
            sleep(Duration::from_millis(100)).await;
            std::fs::write(&path, "").unwrap();
        };
        tokio::join!(watch.wait(Duration::from_secs(60)), appears);
        assert!(start.elapsed() >= Duration::from_millis(100));
        assert!(start.elapsed() < Duration::from_secs(30));
    }

    #[tokio::test]
    async fn a_link_whose_folder_went_with_it_is_seen_when_both_come_back() {
        let folder = tempfile::tempdir().unwrap();
        let by_id = folder.path().join("serial/by-id");
        let path = by_id.join("usb-A");
        std::fs::create_dir_all(&by_id).unwrap();
        std::fs::write(&path, "").unwrap();
        let watch = Watch::on(&PortSelector::Path(path.clone()));
        std::fs::remove_dir_all(folder.path().join("serial")).unwrap();
        let comes_back = async {
            // After the waiting task has seen the folder go.
            sleep(Duration::from_millis(200)).await;
            std::fs::create_dir_all(&by_id).unwrap();
            sleep(Duration::from_millis(200)).await;
            std::fs::write(&path, "").unwrap();
        };
        let is_seen = async {
            let start = Instant::now();
            while !path.exists() {
                watch.wait(Duration::from_secs(60)).await;
            }
            assert!(
                start.elapsed() < Duration::from_secs(30),
                "only the pause is news"
            );
        };
        tokio::join!(is_seen, comes_back);
    }
}
