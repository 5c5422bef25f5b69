//! The request line, which is pulled to ground for a value: by a button, or because the computer sent something.

/// A button must be down, or up, for this long before it counts, in microseconds.
pub const BOUNCE: u32 = 20_000;

/// A gauge that has not answered after this time does not, in microseconds.
pub const PATIENCE: u32 = 500_000;

/// Whether a value is requested.
#[derive(Debug)]
pub struct Request {
    since: Option<u32>,
    /// The state of the button that counts, and since when it has been the other one.
    down: bool,
    other: Option<u32>,
}

impl Request {
    /// Nothing is requested.
    pub const fn new() -> Self {
        Self {
            since: None,
            down: false,
            other: None,
        }
    }

    /// Requests a value. A request that is under way goes on as it is.
    pub fn ask(&mut self, now: u32) {
        self.since.get_or_insert(now);
    }

    /// The gauge has sent something: the request is done.
    pub fn answered(&mut self) {
        self.since = None;
    }

    /// Time has passed; the answer is whether to pull the line.
    pub fn tick(&mut self, now: u32, button: bool) -> bool {
        let waited = |since: u32, time| now.wrapping_sub(since) >= time;
        if self.since.is_some_and(|since| waited(since, PATIENCE)) {
            self.since = None;
        }
        if button == self.down {
            self.other = None;
        } else if waited(*self.other.get_or_insert(now), BOUNCE) {
            self.down = button;
            self.other = None;
            if button {
                self.ask(now);
            }
        }
        self.since.is_some()
    }
}

impl Default for Request {
    fn default() -> Self {
        Self::new()
    }
}
