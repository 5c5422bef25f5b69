//! Serves a client of the feed: hello, state, then every entry byte for byte as stored; on request also the state after
//! each change.
//!
//! - A client that is behind is served from the files of the journal in chunks. It delays nobody.
//! - Its buffer is one chunk. While the client reads nothing, nothing more is read from it.

use super::at_end::Left;
use super::lines::{Lines, Sent};
use super::live::{Live, Standing};
use super::socket::{Ear, Socket};
use super::{Heard, LONGEST_LINE, Listener, MOST_CLIENTS};
use crate::entry::Seq;
use crate::journal::JournalError;
use crate::message::{FeedRequest, Notice, StateSent, line};
use rustix::event::{PollFd, PollFlags, Timespec};
use std::io;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::UnixStream;
use tokio::sync::Notify;

/// Interval of the check whether a client that has closed its sending side still reads.
const HALF_CLOSED_CHECK: Duration = Duration::from_secs(10);

/// A client of the feed.
pub(super) struct Client {
    live: Arc<Live>,
    listener: Listener,
    lines: Lines<Ear>,
    socket: Arc<Socket>,
    /// Set while it waits with nothing to send, so that new entries are written to it directly.
    standing: Option<Standing>,
    /// Notified when direct writing has stopped.
    behind: Arc<Notify>,
    outgoing: Outgoing,
    /// The last state that was sent, once the client has requested each. Such a client is never written to directly,
    /// because a state follows its lines.
    state_sent: Option<Arc<[u8]>>,
    ears: Listening,
    /// It has sent a request and has not read any of the answer.
    has_unread_answer: bool,
    /// It is disconnected once `outgoing` was sent.
    leaving: bool,
}

/// Whether the client's requests are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Listening {
    /// Not before hello and state were sent.
    NotYet,
    /// Requests are read.
    Open,
    /// The client has closed its sending side; it may still read.
    HalfClosed,
}

/// Bytes that are being sent to the client.
#[derive(Default)]
struct Outgoing {
    bytes: Vec<u8>,
    written: usize,
    /// Only entries, which the client can request again.
    only_entries: bool,
}

impl Outgoing {
    fn rest(&self) -> &[u8] {
        self.bytes.get(self.written..).unwrap_or_default()
    }

    fn is_empty(&self) -> bool {
        self.rest().is_empty()
    }

    fn add(&mut self, bytes: &[u8], entries: bool) {
        if self.is_empty() {
            self.bytes.clear();
            self.written = 0;
            self.only_entries = true;
        }
        self.only_entries &= entries;
        self.bytes.extend_from_slice(bytes);
    }

    /// Continues with lines that were sent in part.
    fn go_on_with(&mut self, left: Left) {
        if !left.bytes.is_empty() {
            self.bytes = left.bytes;
            self.written = left.written;
            self.only_entries = true;
        }
    }

    /// Drops entries whose sending has not begun: everything except the rest of the current line.
    fn drop_entries(&mut self) {
        if !self.only_entries {
            return;
        }
        let before = self.written.checked_sub(1);
        let at_a_beginning = before.is_none_or(|at| self.bytes.get(at) == Some(&b'\n'));
        let keep = if at_a_beginning {
            0
        } else {
            let end = self.rest().iter().position(|byte| *byte == b'\n');
            end.map_or(self.rest().len(), |end| end + 1)
        };
        self.bytes.truncate(self.written + keep);
    }
}

/// Refuses a client because all places are taken, without waiting.
pub(super) fn refuse(stream: &UnixStream) {
    let notice = Notice::new(
        "error",
        format!("{MOST_CLIENTS} clients are connected, no more are served"),
        Some("close some of them, then connect again"),
    )
    .ending();
    // The answer is lost if the client does not wait for it.
    let _ = stream.try_write(&line(&notice));
}

impl Client {
    pub(super) fn new(stream: UnixStream, live: Arc<Live>) -> io::Result<Self> {
        let socket = Arc::new(Socket::new(stream)?);
        let greeting = live.greeting();
        let mut outgoing = Outgoing::default();
        outgoing.add(&greeting.lines, false);
        Ok(Self {
            listener: Listener::new(Arc::clone(&live), greeting.last, greeting.notices_seen),
            live,
            lines: Lines::new(Ear(Arc::clone(&socket))),
            socket,
            standing: None,
            behind: Arc::default(),
            outgoing,
            state_sent: None,
            ears: Listening::NotYet,
            has_unread_answer: false,
            leaving: false,
        })
    }

    /// Serves the client until it leaves or is disconnected.
    pub(super) async fn run(mut self) {
        // An error ends only this client.
        let _ = self.serve().await;
    }

    async fn serve(&mut self) -> io::Result<()> {
        loop {
            self.stop_standing();
            if self.outgoing.is_empty() && !self.refill().await {
                return Ok(());
            }
            let writes = !self.outgoing.is_empty();
            let idle = !writes;
            let busy = self.leaving || (self.has_unread_answer && writes);
            let listens = self.ears == Listening::Open && !busy;
            let speechless = self.ears == Listening::HalfClosed;
            if idle && self.state_sent.is_none() {
                let after = self.listener.after();
                self.standing = Standing::take(&self.live, after, &self.socket, &self.behind);
            }
            let stands = self.standing.is_some();
            tokio::select! {
                biased;
                written = self.socket.write(self.outgoing.rest()), if writes => {
                    match written? {
                        0 => return Ok(()),
                        written => self.outgoing.written += written,
                    }
                    self.has_unread_answer = false;
                }
                sent = self.lines.next(), if listens => {
                    self.stop_standing();
                    self.take(sent);
                    if self.ears == Listening::HalfClosed && self.has_hung_up() {
                        return Ok(());
                    }
                }
                () = news(&mut self.listener, stands.then_some(&*self.behind)), if idle => {}
                () = tokio::time::sleep(HALF_CLOSED_CHECK), if idle && speechless => {
                    if self.has_hung_up() {
                        return Ok(());
                    }
                }
            }
        }
    }

    /// From here on only this task writes to the client, from where direct writing stopped.
    fn stop_standing(&mut self) {
        if let Some(left) = self.standing.take().and_then(Standing::leave) {
            self.listener.go_to(left.after);
            self.outgoing.go_on_with(left);
        }
    }

    /// Puts the next data into `outgoing`. Returns whether the client stays.
    async fn refill(&mut self) -> bool {
        if self.ears == Listening::NotYet {
            self.ears = Listening::Open;
        }
        if self.leaving {
            return false;
        }
        let before = self.listener.after();
        match self.listener.next().await {
            Ok(Heard::Lines(lines)) => {
                let mut after = before;
                for line in lines {
                    if let Some(notice) = missing(after, line.seq) {
                        self.outgoing.add(&crate::message::line(&notice), true);
                    }
                    after = line.seq;
                    self.outgoing.add(&line.bytes, true);
                    self.outgoing.add(b"\n", true);
                }
            }
            Ok(Heard::Notices(notices)) => self.outgoing.add(&notices, false),
            Ok(Heard::Nothing) => self.add_state(),
            Ok(Heard::LetGo) => return false,
            Err(error) => self.tell(&unreadable(&error)),
        }
        true
    }

    fn take(&mut self, sent: Sent) {
        match sent {
            Sent::Line(text) => {
                self.has_unread_answer = true;
                match FeedRequest::parse(&text) {
                    Ok(FeedRequest { after, state }) => {
                        match state {
                            Some(StateSent::Each) => {
                                self.state_sent.get_or_insert_default();
                            }
                            Some(StateSent::First) => self.state_sent = None,
                            None => {}
                        }
                        if let Some(after) = after {
                            self.go_to(Seq(after));
                        }
                    }
                    Err(notice) => self.outgoing.add(&line(&notice), false),
                }
            }
            Sent::TooLong => self.tell_error(
                &format!("a line of more than {LONGEST_LINE} bytes, the connection is closed"),
                "send a request such as {\"after\":N} and a newline",
            ),
            Sent::End => self.ears = Listening::HalfClosed,
        }
    }

    fn go_to(&mut self, after: Seq) {
        let last = self.live.last();
        if after > last {
            self.outgoing
                .add(&line(&Notice::beyond(after, last)), false);
            return;
        }
        self.outgoing.drop_entries();
        self.listener.go_to(after);
    }

    /// Sends the state, if it has changed and the client has every entry that it includes.
    fn add_state(&mut self) {
        let Some(sent) = &self.state_sent else {
            return;
        };
        let state = self.live.state_line();
        if state.last <= self.listener.after() && state.line != *sent {
            self.outgoing.add(&state.line, false);
            self.state_sent = Some(state.line);
        }
    }

    /// Sends an error, after which the client is disconnected.
    fn tell_error(&mut self, message: &str, remedy: &str) {
        self.tell(&Notice::new("error", message, Some(remedy)).ending());
    }

    /// Sends the last notice of the connection.
    fn tell(&mut self, ending: &Notice) {
        self.outgoing.add(&line(ending), false);
        self.leaving = true;
    }

    /// Whether the client has closed both directions, and not only its sending side.
    fn has_hung_up(&self) -> bool {
        let mut polled = [PollFd::new(self.socket.stream(), PollFlags::empty())];
        let asked = rustix::event::poll(&mut polled, Some(&Timespec::default()));
        asked.is_err()
            || polled
                .iter()
                .any(|polled| polled.revents().intersects(PollFlags::HUP | PollFlags::ERR))
    }
}

/// Says that the journal cannot be read back, which ends the connection.
pub(crate) fn unreadable(error: &JournalError) -> Notice {
    let remedy = error.remedy();
    let remedy = remedy.as_deref();
    let remedy = remedy.unwrap_or("look at the journal: tallyjaw verify");
    Notice::new("error", error.to_string(), Some(remedy)).ending()
}

/// Says that entries between `after` and the next line are gone; `None` if none are.
pub(crate) fn missing(after: Seq, next: Seq) -> Option<Notice> {
    let want = after.following();
    (want < next).then(|| Notice::missing(want, Seq(next.0.saturating_sub(1))))
}

/// Waits until the client's own task has something to do. While lines are written directly, they are not among it,
/// until the client is `behind`.
async fn news(listener: &mut Listener, behind: Option<&Notify>) {
    match behind {
        Some(behind) => tokio::select! {
            () = behind.notified() => {}
            () = listener.told() => {}
        },
        None => listener.changed().await,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outgoing(bytes: &[u8], written: usize, entries: bool) -> Outgoing {
        let mut outgoing = Outgoing::default();
        outgoing.add(bytes, entries);
        outgoing.written = written;
        outgoing
    }

    #[test]
    fn entries_in_waiting_are_dropped_but_never_half_a_line() {
        for (written, rest) in [(0, ""), (2, ""), (3, "bc\n"), (5, "\n"), (6, "")] {
            let mut outgoing = outgoing(b"a\nabc\nd\n", written, true);
            outgoing.drop_entries();
            assert_eq!(outgoing.rest(), rest.as_bytes(), "{written} written");
        }
    }

    #[test]
    fn hello_and_notices_are_never_dropped() {
        let mut outgoing = outgoing(b"hello\nstate\n", 0, false);
        outgoing.drop_entries();
        assert_eq!(outgoing.rest(), b"hello\nstate\n");
    }
}
