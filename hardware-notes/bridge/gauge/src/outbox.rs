//! Lines that wait for the port, in constant memory.

use crate::Line;

/// Stands where lines are missing, because the computer did not read for a while.
pub const LOST: &[u8] = b"?000\r";

/// Bytes that may wait: nine of the longest lines.
const ROOM: usize = 128;

/// Lines that wait. A line is in it whole or not at all.
#[derive(Debug)]
pub struct Outbox {
    bytes: [u8; ROOM],
    /// Those before are sent, those from `end` are free.
    start: usize,
    end: usize,
    lost: bool,
}

impl Outbox {
    /// An empty one.
    pub const fn new() -> Self {
        Self {
            bytes: [0; ROOM],
            start: 0,
            end: 0,
            lost: false,
        }
    }

    /// Puts a line behind the others. Without room it is dropped, and [`LOST`] stands in its place as soon as there is.
    pub fn put(&mut self, line: &Line) {
        self.say_what_is_lost();
        if self.lost || !self.append(line.bytes()) {
            self.lost = true;
        }
    }

    /// What is to be sent next.
    pub fn next(&self) -> &[u8] {
        self.bytes.get(self.start..self.end).unwrap_or_default()
    }

    /// The first `count` of these bytes are sent.
    pub fn sent(&mut self, count: usize) {
        self.start = self.start.saturating_add(count).min(self.end);
        self.say_what_is_lost();
    }

    /// Drops all that waits.
    pub fn clear(&mut self) {
        *self = Self::new();
    }

    fn say_what_is_lost(&mut self) {
        if self.lost && self.append(LOST) {
            self.lost = false;
        }
    }

    fn append(&mut self, added: &[u8]) -> bool {
        self.bytes.copy_within(self.start..self.end, 0);
        self.end = self.end.saturating_sub(self.start);
        self.start = 0;
        let end = self.end.saturating_add(added.len());
        let Some(place) = self.bytes.get_mut(self.end..end) else {
            return false;
        };
        place.copy_from_slice(added);
        self.end = end;
        true
    }
}

impl Default for Outbox {
    fn default() -> Self {
        Self::new()
    }
}
