//! What goes wrong on the wires: bits that are no frame give `?` and their number, never a value, and the next frame is
//! read again.

use super::*;
use proptest::prelude::*;

/// Three frames of values that differ in every part: sign, digits, unit.
pub(super) fn three(kind: Kind) -> (Vec<String>, Signal) {
    let sends = KINDS.iter().find(|(of, _, _)| *of == kind).unwrap().2;
    let lines = [
        (Decimal::new(-163, 2), Unit::Millimetre),
        (Decimal::new(0, 2), Unit::Millimetre),
        (Decimal::new(640, 4), Unit::Inch),
    ]
    .map(|(digits, unit)| line_of(sends, digits, unit));
    let mut signal = Signal::new();
    for line in &lines {
        signal.frame(bits_of(kind, line));
    }
    (lines.to_vec(), signal)
}

fn no_frame(count: usize) -> String {
    format!("?{count:03}\r")
}

#[test]
fn bits_that_are_no_whole_frame_are_counted_and_give_no_value() {
    for (kind, format, sends) in KINDS {
        let line = line_of(sends, Decimal::new(163, 2), Unit::Millimetre);
        let bits = bits_of(kind, &line);
        for count in [1, bits.len() - 1, bits.len() + 1, 3 * bits.len(), 1_500] {
            let mut signal = Signal::new();
            signal.frame(bits.iter().copied().cycle().take(count));
            signal.frame(bits.iter().copied());
            let heard = signal.heard(kind);
            assert_eq!(heard, no_frame(count.min(999)) + &line, "{kind:?}");
            let found = read(format, Unit::Millimetre, &heard);
            assert_eq!(found, [NO_FRAME, "1.63 mm"]);
        }
    }
}

/// The cable comes in, or the bridge gets its power, at any moment; or the gauge loses its own.
#[test]
fn a_capture_that_begins_or_ends_at_any_edge_gives_whole_frames_and_counts_only() {
    for (kind, _, _) in KINDS {
        let (lines, signal) = three(kind);
        let bits = usize::from(kind.bits());
        // The falling edges before a moment.
        let fallen = |to: usize| {
            let levels = signal.changes[..to].windows(2);
            levels
                .filter(|pair| pair[0].1.clock && !pair[1].1.clock)
                .count()
        };
        let all = signal.changes.len();
        for cut in 1..all {
            let begun = Signal {
                changes: signal.changes[cut..].to_vec(),
                ..signal.clone()
            };
            // The first level that is seen is no edge.
            let missed = fallen(cut + 1);
            let mut want = String::new();
            for (at, line) in lines.iter().enumerate() {
                let lost = missed.saturating_sub(at * bits).min(bits);
                match bits - lost {
                    0 => {}
                    left if left == bits => want += line,
                    left => want += &no_frame(left),
                }
            }
            assert_eq!(begun.heard(kind), want, "{kind:?} from change {cut}");

            let ended = Signal {
                changes: signal.changes[..cut].to_vec(),
                ..signal.clone()
            };
            let come = fallen(cut);
            let mut want = lines[..come / bits].concat();
            if come % bits > 0 {
                want += &no_frame(come % bits);
            }
            assert_eq!(ended.heard(kind), want, "{kind:?} to change {cut}");
        }
    }
}

#[test]
fn a_clock_pulse_that_is_missing_or_too_many_is_counted_wherever_it_is() {
    for (kind, _, sends) in KINDS {
        let line = line_of(sends, Decimal::new(-163, 2), Unit::Millimetre);
        let bits = bits_of(kind, &line);
        for at in 0..bits.len() {
            let mut signal = Signal::new();
            signal.bits(bits[..at].iter().copied());
            signal.now += signal.low + signal.high;
            signal.frame(bits[at + 1..].iter().copied());
            signal.bits(bits[..at].iter().copied());
            signal.bit(false);
            signal.frame(bits[at..].iter().copied());
            signal.frame(bits.iter().copied());
            let want = no_frame(bits.len() - 1) + &no_frame(bits.len() + 1) + &line;
            assert_eq!(signal.heard(kind), want, "{kind:?} at {at}");
        }
    }
}

#[test]
fn a_pause_within_a_frame_parts_it_only_from_five_milliseconds() {
    for (kind, _, sends) in KINDS {
        let line = line_of(sends, Decimal::new(-163, 2), Unit::Millimetre);
        let bits = bits_of(kind, &line);
        for at in 1..bits.len() {
            let paused = |micros| {
                let mut signal = Signal::new();
                signal.bits(bits[..at].iter().copied());
                // From the rising edge of one bit to the falling edge of the next there is `high` already.
                signal.now += micros - signal.high;
                signal.frame(bits[at..].iter().copied());
                signal.frame(bits.iter().copied());
                signal.heard(kind)
            };
            let parted = no_frame(at) + &no_frame(bits.len() - at) + &line;
            assert_eq!(paused(4_999), line.repeat(2), "{kind:?} at {at}");
            assert_eq!(paused(5_000), parted, "{kind:?} at {at}");
        }
    }
}

#[test]
fn a_clock_that_never_stops_gives_one_line_when_it_does() {
    let mut signal = Signal::new();
    signal.bits(std::iter::repeat_n(true, 70_000));
    assert_eq!(signal.heard(Kind::Bcd13), "?999\r");
}

proptest! {
    /// At any moment at which as much of the level is left on both sides as makes it count.
    #[test]
    fn a_short_pulse_on_the_clock_is_no_bit(at in 0..KINDS.len(), bit in 0_u64..24, part in 0_usize..3, from in 0_u64..60, length in 1_u64..20) {
        let (kind, _, sends) = KINDS[at];
        let line = line_of(sends, Decimal::new(-163, 2), Unit::Millimetre);
        let mut signal = Signal::new();
        let begin = signal.now + bit * (signal.low + signal.high);
        signal.frame(bits_of(kind, &line));
        // Before the clock falls, while it is low, after it has risen.
        let phase = [21, signal.high / 2 + 21, signal.high / 2 + signal.low + 21][part];
        signal.pulse(begin + phase + from, length, |levels| Levels { clock: !levels.clock, ..levels });
        prop_assert_eq!(signal.heard(kind), line);
    }

    /// Contacts bounce right at an edge, and the level settles.
    #[test]
    fn an_edge_that_bounces_is_one_edge(at in 0..KINDS.len(), gaps in prop::collection::vec(1_u64..10, 2..6)) {
        let (kind, _, sends) = KINDS[at];
        let line = line_of(sends, Decimal::new(-163, 2), Unit::Millimetre);
        let mut clean = Signal::new();
        clean.frame(bits_of(kind, &line));
        let mut bounced = clean.clone();
        for pair in clean.changes.windows(2) {
            let (time, levels) = pair[1];
            if pair[0].1.clock == levels.clock {
                continue;
            }
            let mut now = time;
            let mut clock = levels.clock;
            for gap in gaps.iter().take(gaps.len() / 2 * 2) {
                now += gap;
                clock = !clock;
                bounced.changes.push((now, Levels { clock, ..levels }));
            }
        }
        bounced.changes.sort_by_key(|(time, _)| *time);
        prop_assert_eq!(bounced.heard(kind), line);
    }

    #[test]
    fn data_matters_only_when_the_clock_falls(at in 0..KINDS.len(), bit in 0_u64..24, from in 0_u64..380, length in 1_u64..300) {
        let (kind, _, sends) = KINDS[at];
        let line = line_of(sends, Decimal::new(-163, 2), Unit::Millimetre);
        let mut signal = Signal::new();
        let fall = signal.now + bit * (signal.low + signal.high) + signal.high / 2;
        signal.frame(bits_of(kind, &line));
        let next = fall + signal.low + signal.high;
        let begin = fall + 1 + from;
        signal.pulse(begin, length.min(next - 1 - begin), |levels| Levels { data: !levels.data, ..levels });
        prop_assert_eq!(signal.heard(kind), line);
    }

    /// Noise of any shape: whole lines of the two forms only, and no more of them than there were falling edges.
    #[test]
    fn whatever_is_on_the_wires_only_whole_lines_come_of_it(
        at in 0..KINDS.len(),
        steps in prop::collection::vec((0_u64..20_000, any::<bool>(), any::<bool>()), 0..400),
        hurry in prop::sample::select(vec![1_u64, 10, 100]),
    ) {
        let kind = KINDS[at].0;
        let mut signal = Signal::new();
        for (wait, clock, data) in &steps {
            signal.now += wait / hurry;
            signal.level(*clock, *data);
        }
        let heard = signal.heard(kind);
        let digits = usize::from(kind.bits() / 4);
        let lines: Vec<&str> = heard.split_terminator('\r').collect();
        prop_assert!(heard.is_empty() || heard.ends_with('\r'));
        for line in &lines {
            let whole = line.len() == digits && line.bytes().all(|byte| byte.is_ascii_digit() || (b'A'..=b'F').contains(&byte));
            let count = line.strip_prefix('?').filter(|count| count.len() == 3).and_then(|count| count.parse().ok());
            prop_assert!(whole || count.is_some_and(|count: u16| count > 0 && count != kind.bits()), "{}", line);
        }
        let falling = signal.changes.windows(2).filter(|pair| pair[0].1.clock && !pair[1].1.clock).count();
        prop_assert!(lines.len() <= falling);
    }
}
