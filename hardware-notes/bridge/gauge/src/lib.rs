//! The logic of the bridge: levels of a clock-and-data gauge port in, lines for a serial port out.
//!
//! In: the levels of clock and data with their times, the passing of time, and what the computer does with the port. Out:
//! bytes for the port, and whether the request line is pulled.
//!
//! - It checks and corrects no value: what the gauge sent is judged in one place, by tallyjaw.
//! - A line is sent whole or not at all. Bits that are no whole frame give a line of `?` and their number, and lines
//!   that found no room are reported by [`LOST`].
//! - No clock, no pin, no allocation, no floating point, and nothing that can panic. Times are microseconds that wrap
//!   around.
//!
//! The forms of frames are common practice, from memory: `hardware-notes/gauge-port.md` and `formats.md` describe them.

#![no_std]

mod gauge;
mod line;
mod outbox;
mod request;

pub use gauge::{GLITCH, Gauge, Kind, Levels, SILENCE};
pub use line::Line;
pub use outbox::{LOST, Outbox};
pub use request::{BOUNCE, PATIENCE, Request};

/// What the computer does with the port.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Host {
    /// A program has it open (the line DTR is set).
    pub open: bool,
    /// It has sent something since the last time.
    pub sent: bool,
}

/// All that the bridge knows.
#[derive(Debug)]
pub struct Bridge {
    gauge: Gauge,
    outbox: Outbox,
    request: Request,
    open: bool,
}

impl Bridge {
    /// A bridge for gauges of this kind, before it has seen anything.
    pub const fn new(kind: Kind) -> Self {
        Self {
            gauge: Gauge::new(kind),
            outbox: Outbox::new(),
            request: Request::new(),
            open: false,
        }
    }

    /// Clock or data has changed, or may have: call it as soon as possible, from the interrupt of the pin.
    pub fn levels(&mut self, now: u32, levels: Levels) {
        let line = self.gauge.sample(now, levels);
        self.take(line);
    }

    /// A turn of the main loop, each millisecond at least. Copies what is to be sent next into the packet. The answer: whether
    /// to pull the request line to ground, and how many bytes the packet has.
    pub fn turn(&mut self, now: u32, host: Host, button: bool, packet: &mut [u8]) -> (bool, usize) {
        self.port(host.open);
        if host.sent {
            self.asked(now);
        }
        (self.tick(now, button), self.fill(packet))
    }

    /// Time has passed: call it each millisecond at least. The answer: whether to pull the request line to ground.
    pub fn tick(&mut self, now: u32, button: bool) -> bool {
        let line = self.gauge.idle(now);
        self.take(line);
        self.request.tick(now, button)
    }

    /// The computer has sent something, whatever it is: it requests a value.
    pub fn asked(&mut self, now: u32) {
        self.request.ask(now);
    }

    /// Whether a program holds the port open. What waits when it is closed is dropped, since a value of some time ago
    /// must not be the first that the next program reads.
    pub fn port(&mut self, open: bool) {
        self.open = open;
        if !open {
            self.outbox.clear();
        }
    }

    /// What is to be sent next.
    pub fn outgoing(&self) -> &[u8] {
        self.outbox.next()
    }

    /// Copies as much of that as fits into the packet, and says how much.
    fn fill(&self, packet: &mut [u8]) -> usize {
        let places = packet.iter_mut().zip(self.outgoing());
        places.map(|(place, byte)| *place = *byte).count()
    }

    /// This number of bytes of [`Bridge::outgoing`] have been taken.
    pub fn sent(&mut self, count: usize) {
        self.outbox.sent(count);
    }

    fn take(&mut self, line: Option<Line>) {
        let Some(line) = line else { return };
        self.request.answered();
        if self.open {
            self.outbox.put(&line);
        }
    }
}
