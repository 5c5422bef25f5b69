//! The ports of a daemon: a task for each, events in turn, and requests to instruments.

use super::hub::until;
use crate::config::PortConfig;
use crate::serial::{self, Event};
use std::collections::VecDeque;
use std::future::poll_fn;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::{Duration, Instant};
use tokio::sync::mpsc::{self, Receiver, Sender};
use tokio::task::JoinHandle;

/// Number of events of a port that may wait. Meanwhile the port is not read.
const WAITING_MOST: usize = 4;

/// Maximum number of bytes a second from a port, or four times what its line can carry if that is less. So a terminal
/// without a speed of its own waits like a slower line, and other ports get their turn.
const BYTES_A_SECOND: u32 = 128 * 1024;

/// How far a port may be ahead of that rate, in time.
const AHEAD: Duration = Duration::from_millis(50);

/// Maximum number of requests to an instrument that wait.
const REQUESTS_MOST: usize = 8;

/// The open ports and those that are waited for. The port served last is at the end, so that a port that floods delays
/// others by one event at most.
#[derive(Debug, Default)]
pub(super) struct Ports(VecDeque<Port>);

#[derive(Debug)]
struct Port {
    config: PortConfig,
    instrument: Arc<str>,
    requests: Sender<Vec<u8>>,
    events: Receiver<Event>,
    task: JoinHandle<()>,
    bytes_a_second: u32,
    /// Time at which the bytes taken so far are within the rate.
    taken_until: Instant,
}

impl Drop for Port {
    fn drop(&mut self) {
        self.task.abort();
    }
}

impl Ports {
    /// Closes ports whose settings are not in `wanted`, and drops their waiting events. Returns their instruments.
    pub(super) fn close_all_but(&mut self, wanted: &[PortConfig]) -> Vec<String> {
        let stays = |port: &Port| wanted.contains(&port.config);
        let closed = self.0.iter().filter(|port| !stays(port));
        let closed = closed.map(|port| port.config.instrument.clone()).collect();
        self.0.retain(stays);
        closed
    }

    /// Opens the ports of `wanted` that are not open or waited for yet.
    pub(super) fn open(&mut self, wanted: &[PortConfig]) {
        for config in wanted {
            if self.of(&config.instrument).is_none() {
                self.0.push_back(Port::start(config.clone()));
            }
        }
    }

    fn of(&self, instrument: &str) -> Option<&Port> {
        let mut ports = self.0.iter();
        ports.find(|port| *port.instrument == *instrument)
    }

    /// Sends bytes to the port of `instrument`. `false` if it has no port, or if too many of its
    /// requests wait.
    pub(super) fn send(&self, instrument: &str, bytes: Vec<u8>) -> bool {
        self.of(instrument)
            .is_some_and(|port| port.requests.try_send(bytes).is_ok())
    }

    /// The next event of any port, with its instrument.
    pub(super) async fn next(&mut self) -> (Arc<str>, Event) {
        loop {
            let now = Instant::now();
            let ahead = self.0.iter().map(Port::goes_on_at);
            let held_back = ahead.filter(|moment| *moment > now).min();
            tokio::select! {
                biased;
                event = poll_fn(|context| self.poll(now, context)) => return event,
                () = until(held_back) => {}
            }
        }
    }

    fn poll(&mut self, now: Instant, context: &mut Context<'_>) -> Poll<(Arc<str>, Event)> {
        for at in 0..self.0.len() {
            let Some(port) = self.0.get_mut(at).filter(|port| port.goes_on_at() <= now) else {
                continue;
            };
            if let Poll::Ready(Some(event)) = port.events.poll_recv(context) {
                port.weigh(&event, now);
                let instrument = Arc::clone(&port.instrument);
                let served = self.0.remove(at);
                self.0.extend(served);
                return Poll::Ready((instrument, event));
            }
        }
        Poll::Pending
    }

    /// Events that are waiting now.
    pub(super) fn waiting(&mut self) -> Vec<(Arc<str>, Event)> {
        let mut waiting = Vec::new();
        for port in &mut self.0 {
            while let Ok(event) = port.events.try_recv() {
                waiting.push((Arc::clone(&port.instrument), event));
            }
        }
        waiting
    }
}

impl Port {
    fn start(config: PortConfig) -> Self {
        let (sender, events) = mpsc::channel(WAITING_MOST);
        let (requests, asked) = mpsc::channel(REQUESTS_MOST);
        Self {
            instrument: config.instrument.as_str().into(),
            bytes_a_second: BYTES_A_SECOND.max(config.line.baud.saturating_mul(2) / 5),
            task: tokio::spawn(serial::run(config.clone(), sender, asked)),
            config,
            requests,
            events,
            taken_until: Instant::now(),
        }
    }

    /// When the next event may be taken.
    fn goes_on_at(&self) -> Instant {
        self.taken_until
            .checked_sub(AHEAD)
            .unwrap_or(self.taken_until)
    }

    fn weigh(&mut self, event: &Event, now: Instant) {
        let bytes = u32::try_from(bytes_of(event)).unwrap_or(u32::MAX);
        let takes = Duration::from_secs(1) * bytes / self.bytes_a_second;
        self.taken_until = self.taken_until.max(now) + takes;
    }
}

/// Number of bytes that an event counts as.
fn bytes_of(event: &Event) -> usize {
    match event {
        Event::Stale(bytes) | Event::Bytes(bytes) | Event::Spoiled(bytes) => bytes.len(),
        Event::Opened(_)
        | Event::Disturbed { .. }
        | Event::Contact { .. }
        | Event::Closed { .. }
        | Event::OutOfStep { .. }
        | Event::Quiet { .. }
        | Event::Trouble { .. } => 1,
    }
}
