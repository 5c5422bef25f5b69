//! Sends a stream in real time, and answers requests.

use super::VirtualCaliper;
use super::motion::Frame;
use crate::quantity::{Decimal, Unit};
use std::io;
use std::thread;
use std::time::{Duration, Instant};

/// The answer to a request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    /// The value, at once.
    Value(Decimal, Unit),
    /// The value after a delay.
    Late(Decimal, Unit, Duration),
    /// No answer.
    Never,
    /// This number of arbitrary bytes.
    Garbage(usize),
}

impl VirtualCaliper {
    /// Sends frames at their times, counted from now. Fails as [`VirtualCaliper::send`] does.
    pub fn play(&mut self, frames: impl IntoIterator<Item = Frame>) -> io::Result<()> {
        let start = Instant::now();
        for frame in frames {
            let due = Duration::from_micros(frame.micros);
            thread::sleep(due.saturating_sub(start.elapsed()));
            self.send(&frame.bytes)?;
        }
        Ok(())
    }

    /// Waits until `request` was sent to the instrument, and answers. `false` if it does not come within `patience`.
    /// Other bytes before it are ignored.
    pub fn answer(
        &mut self,
        request: &[u8],
        answer: Answer,
        patience: Duration,
    ) -> io::Result<bool> {
        let until = Instant::now() + patience;
        let mut all = Vec::new();
        while !all.ends_with(request) {
            let left = until.saturating_duration_since(Instant::now());
            let came = self.received(left)?;
            if came.is_empty() {
                return Ok(false);
            }
            all.extend(came);
        }
        match answer {
            Answer::Value(digits, unit) => self.press(digits, unit)?,
            Answer::Late(digits, unit, after) => {
                thread::sleep(after);
                self.press(digits, unit)?;
            }
            Answer::Never => {}
            Answer::Garbage(count) => self.noise(count)?,
        }
        Ok(true)
    }
}
