//! Reads an instrument that sends one frame for each press. Repeats of one press (a bouncing key) fold into one.

use crate::quantity::{Measured, MonoMicros};
use std::time::Duration;

/// Folds repeats of the same value that come within `bounce` of each other.
#[derive(Debug)]
pub(in crate::station) struct Press {
    bounce: Duration,
    last: Option<(MonoMicros, Measured)>,
}

impl Press {
    pub(super) fn new(bounce: Duration) -> Self {
        Self { bounce, last: None }
    }

    pub(super) fn take(&mut self, now: MonoMicros, value: Measured) -> Option<Measured> {
        let repeated = self
            .last
            .is_some_and(|(at, before)| before == value && now.since(at) < self.bounce);
        self.last = Some((now, value));
        (!repeated).then_some(value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Decimal, Unit};

    fn value(hundredths: i64) -> Measured {
        Measured::new(Decimal::new(hundredths, 2), Unit::Millimetre).unwrap()
    }

    #[test]
    fn repeats_of_one_press_fold_and_two_presses_do_not() {
        let mut press = Press::new(Duration::from_millis(150));
        let millis = |millis: u64| MonoMicros(millis * 1_000);
        assert_eq!(press.take(millis(0), value(163)), Some(value(163)));
        assert_eq!(press.take(millis(20), value(163)), None);
        assert_eq!(
            press.take(millis(160), value(163)),
            None,
            "140 ms after the one before"
        );
        assert_eq!(press.take(millis(310), value(163)), Some(value(163)));
        let other = Some(value(164));
        assert_eq!(
            press.take(millis(320), value(164)),
            other,
            "another value is no bounce"
        );
    }
}
