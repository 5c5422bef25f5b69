//! Reads an instrument that sends a value only on request.

use crate::quantity::MonoMicros;
use std::time::Duration;

/// Sends requests and waits for their answers.
#[derive(Debug)]
pub(in crate::station) struct Ask {
    request: Vec<u8>,
    timeout: Duration,
    every: Option<Duration>,
    /// The answer must come by this time; `None` while no request is open.
    answer_by: Option<MonoMicros>,
    /// Time of the timer's next request.
    next_at: Option<MonoMicros>,
    /// A missing answer was entered already, and no answer has come since.
    reported: bool,
    asked_by: Asker,
}

/// Who sent the open request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Asker {
    Person,
    Timer,
}

/// A request that got no answer in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::station) struct Silence {
    /// Time that passed before the request was given up.
    pub(in crate::station) waited: Duration,
}

impl Ask {
    pub(super) fn new(request: Vec<u8>, timeout: Duration, every: Option<Duration>) -> Self {
        Self {
            request,
            timeout,
            every,
            answer_by: None,
            next_at: None,
            reported: false,
            asked_by: Asker::Person,
        }
    }

    /// Starts the timer: the port is open.
    pub(in crate::station) fn port_opened(&mut self, now: MonoMicros) {
        self.answer_by = None;
        self.reported = false;
        self.next_at = self.every.map(|every| now.plus(every));
    }

    /// Drops the open request: the port is gone.
    pub(in crate::station) fn port_closed(&mut self) {
        self.answer_by = None;
        self.next_at = None;
    }

    /// Opens a request for a person and returns the bytes to send.
    pub(in crate::station) fn ask(&mut self, now: MonoMicros) -> Vec<u8> {
        self.answer_by = Some(now.plus(self.timeout));
        self.asked_by = Asker::Person;
        self.request.clone()
    }

    pub(super) fn answered(&mut self) {
        self.answer_by = None;
        self.reported = false;
    }

    /// The bytes of the timer's request, if it is due and no other request is open.
    pub(in crate::station) fn timer(&mut self, now: MonoMicros) -> Option<Vec<u8>> {
        if self.next_at? > now {
            return None;
        }
        self.next_at = self.every.map(|every| now.plus(every));
        if self.answer_by.is_some() {
            return None;
        }
        self.answer_by = Some(now.plus(self.timeout));
        self.asked_by = Asker::Timer;
        Some(self.request.clone())
    }

    /// Reports a request that got no answer in time. Of consecutive requests by the timer only the first is reported.
    pub(in crate::station) fn silence(&mut self, now: MonoMicros) -> Option<Silence> {
        if self.answer_by? > now {
            return None;
        }
        self.answer_by = None;
        let known = self.reported && self.asked_by == Asker::Timer;
        self.reported = true;
        (!known).then_some(Silence {
            waited: self.timeout,
        })
    }

    pub(super) fn waits_until(&self) -> Option<MonoMicros> {
        [self.answer_by, self.next_at].into_iter().flatten().min()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_answer_is_reported_and_a_timers_only_once() {
        let second = Duration::from_secs(1);
        let at = |millis: u64| MonoMicros(millis * 1_000);
        let mut ask = Ask::new(b"?".to_vec(), second, Some(second * 2));
        assert_eq!(ask.ask(at(0)), b"?");
        assert_eq!(ask.silence(at(999)), None);
        assert_eq!(ask.silence(at(1_000)), Some(Silence { waited: second }));
        ask.port_opened(at(5_000));
        assert_eq!(ask.timer(at(6_999)), None);
        assert_eq!(ask.timer(at(7_000)), Some(b"?".to_vec()));
        assert!(ask.silence(at(8_000)).is_some());
        assert!(ask.timer(at(9_000)).is_some());
        assert_eq!(ask.silence(at(10_000)), None, "reported already");
        assert!(ask.timer(at(11_000)).is_some());
        ask.answered();
        assert_eq!(ask.waits_until(), Some(at(13_000)));
    }
}
