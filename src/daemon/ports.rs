//! The ports of a daemon: a task each, all events in one channel, and what is sent to instruments.

use crate::config::PortConfig;
use crate::serial::{self, Event};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc::{self, Receiver, Sender};
use tokio::task::JoinHandle;
use tokio::time::Instant;

/// How many events of one port may wait; a port whose events wait is not read.
const WAITING_MOST: usize = 4;

/// How many events of all ports may wait. The channel lets senders in by turns, so a port that
/// floods it holds up another by no more than this.
const WAITING_OF_ALL: usize = 1;

/// A port hands on no more bytes a second than this, or than four times what its line can carry: a terminal that has no
/// speed of its own waits, as a slower line would have it, and others have their turn.
const BYTES_A_SECOND: u32 = 128 * 1024;

/// So far ahead of that it may be, in time.
const AHEAD: Duration = Duration::from_millis(50);

/// Requests to one instrument that may wait to be sent.
const REQUESTS_MOST: usize = 8;

/// What happened at the port of this instrument.
pub(super) type PortEvent = (Arc<str>, Event);

/// The open ports and those waited for.
#[derive(Debug)]
pub(super) struct Ports {
    tasks: BTreeMap<String, Task>,
    sender: Sender<PortEvent>,
    /// What happens at any of them.
    pub(super) events: Receiver<PortEvent>,
}

#[derive(Debug)]
struct Task {
    config: PortConfig,
    instrument: Arc<str>,
    requests: Sender<Vec<u8>>,
    handles: [JoinHandle<()>; 2],
}

impl Drop for Task {
    fn drop(&mut self) {
        for handle in &self.handles {
            handle.abort();
        }
    }
}

impl Ports {
    pub(super) fn new() -> Self {
        let (sender, events) = mpsc::channel(WAITING_OF_ALL);
        Self {
            tasks: BTreeMap::new(),
            sender,
            events,
        }
    }

    /// Lets go of ports that are not in `wanted` as they are now; their instruments.
    pub(super) fn close_all_but(&mut self, wanted: &[PortConfig]) -> Vec<String> {
        let stays = |task: &Task| wanted.contains(&task.config);
        let closed: Vec<String> = self
            .tasks
            .iter()
            .filter(|(_, task)| !stays(task))
            .map(|(instrument, _)| instrument.clone())
            .collect();
        self.tasks.retain(|_, task| stays(task));
        closed
    }

    /// Opens those of `wanted` that are not open or waited for yet.
    pub(super) fn open(&mut self, wanted: &[PortConfig]) {
        for config in wanted {
            if !self.tasks.contains_key(&config.instrument) {
                let task = start(config.clone(), self.sender.clone());
                self.tasks.insert(config.instrument.clone(), task);
            }
        }
    }

    /// Hands bytes to the port of `instrument` to be sent; `false` if it has none, or has so many
    /// requests waiting that it must be stuck.
    pub(super) fn send(&self, instrument: &str, bytes: Vec<u8>) -> bool {
        self.tasks
            .get(instrument)
            .is_some_and(|task| task.requests.try_send(bytes).is_ok())
    }

    /// Whether an event is still wanted: a port that was let go may have left some, even where the
    /// instrument has another port since.
    pub(super) fn wants(&self, instrument: &Arc<str>) -> bool {
        self.tasks
            .get(&**instrument)
            .is_some_and(|task| Arc::ptr_eq(&task.instrument, instrument))
    }
}

fn start(config: PortConfig, all: Sender<PortEvent>) -> Task {
    let instrument: Arc<str> = config.instrument.as_str().into();
    let named = Arc::clone(&instrument);
    let (sender, mut events) = mpsc::channel(WAITING_MOST);
    let (requests, asked) = mpsc::channel(REQUESTS_MOST);
    let rate = BYTES_A_SECOND.max(config.line.baud.saturating_mul(2) / 5);
    let port = tokio::spawn(serial::run(config.clone(), sender, asked));
    let forward = tokio::spawn(async move {
        let mut pace = Pace::new(rate);
        while let Some(event) = events.recv().await {
            pace.keep(bytes_of(&event)).await;
            if all.send((Arc::clone(&named), event)).await.is_err() {
                return;
            }
        }
    });
    Task {
        config,
        instrument,
        requests,
        handles: [port, forward],
    }
}

/// Lets bytes through at a rate.
struct Pace {
    bytes_a_second: u32,
    /// What went through takes until then at that rate.
    until: Instant,
}

impl Pace {
    fn new(bytes_a_second: u32) -> Self {
        Self {
            bytes_a_second,
            until: Instant::now(),
        }
    }

    /// Waits until so many bytes more may go through.
    async fn keep(&mut self, bytes: usize) {
        let now = Instant::now();
        let bytes = u32::try_from(bytes).unwrap_or(u32::MAX);
        self.until = self.until.max(now) + Duration::from_secs(1) * bytes / self.bytes_a_second;
        if self.until > now + AHEAD {
            tokio::time::sleep_until(self.until - AHEAD).await;
        }
    }
}

/// How much an event weighs.
fn bytes_of(event: &Event) -> usize {
    match event {
        Event::Stale(bytes) | Event::Bytes(bytes) | Event::Spoiled(bytes) => bytes.len(),
        Event::Opened(_)
        | Event::Disturbed { .. }
        | Event::Contact { .. }
        | Event::Closed { .. }
        | Event::Adrift { .. }
        | Event::Quiet { .. }
        | Event::Trouble { .. } => 1,
    }
}
