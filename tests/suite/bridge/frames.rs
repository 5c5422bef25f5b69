//! Whole frames: each value, sign and unit comes through, whatever the timing within its bounds.

use super::*;
use proptest::prelude::*;

/// The display of a common caliper, from 0 to 150 mm or 6 in, in its smallest steps.
fn displays() -> impl Iterator<Item = (Decimal, Unit)> {
    let millimetres = (-15_000..=15_000).map(|steps| (Decimal::new(steps, 2), Unit::Millimetre));
    let inches = (-12_000..=12_000).map(|steps| (Decimal::new(steps * 5, 4), Unit::Inch));
    millimetres.chain(inches)
}

#[test]
fn every_value_of_a_caliper_comes_through_with_its_sign_and_unit() {
    for (kind, format, sends) in KINDS {
        for (digits, unit) in displays() {
            let line = line_of(sends, digits, unit);
            let mut signal = Signal::new();
            signal.frame(bits_of(kind, &line));
            let heard = signal.heard(kind);
            assert_eq!(heard, line, "{kind:?}");
            assert_eq!(read(format, unit, &heard), [format!("{digits} {unit}")]);
        }
    }
}

#[test]
fn the_extremes_of_each_form_come_through_as_they_were_sent() {
    // Minus zero and all ones are among them: the bridge corrects nothing.
    for (kind, lines) in [
        (
            Kind::Bcd13,
            &[
                "FFFF899999951\r",
                "FFFF800000020\r",
                "0000000000000\r",
                "FFFFFFFFFFFFF\r",
            ][..],
        ),
        (
            Kind::Word24,
            &["9FFFFF\r", "100000\r", "000000\r", "FFFFFF\r"],
        ),
        (
            Kind::Word48,
            &[
                "7FFFFF800000\r",
                "800000FFFFFF\r",
                "000000000000\r",
                "FFFFFFFFFFFF\r",
            ],
        ),
    ] {
        let mut signal = Signal::new();
        for line in lines {
            signal.frame(bits_of(kind, line));
        }
        assert_eq!(signal.heard(kind), lines.concat(), "{kind:?}");
    }
}

#[test]
fn a_gauge_that_is_there_before_the_bridge_or_rests_at_a_low_clock_adds_no_bit() {
    for (kind, _, sends) in KINDS {
        let line = line_of(sends, Decimal::new(163, 2), Unit::Millimetre);
        let mut signal = Signal::new();
        let low = |data| Levels { clock: false, data };
        signal.changes = vec![(0, low(false)), (10_000, low(true)), (20_000, low(false))];
        signal.frame(bits_of(kind, &line));
        assert_eq!(signal.heard(kind), line, "{kind:?}");
    }
}

#[test]
fn frames_are_parted_by_silence_also_where_the_bridge_had_no_time_for_its_tick() {
    for (kind, _, _) in KINDS {
        let (lines, mut signal) = super::faults::three(kind);
        // An edge after the last, by which its silence is noticed.
        signal.pulse(signal.now, 40, |levels| Levels {
            clock: !levels.clock,
            ..levels
        });
        let mut gauge = Gauge::new(kind);
        let sample =
            |(at, levels): &(u64, Levels)| gauge.sample(u32::try_from(*at).unwrap(), *levels);
        let sent: Vec<_> = signal.changes.iter().filter_map(sample).collect();
        assert_eq!(text_of(&sent), lines.concat(), "{kind:?}");
    }
}

/// Any bits of a frame, as a line.
fn any_line() -> impl Strategy<Value = (Kind, String)> {
    (0..KINDS.len(), any::<u64>()).prop_map(|(at, bits)| {
        let kind = KINDS[at].0;
        let digits = usize::from(kind.bits() / 4);
        (
            kind,
            format!("{bits:016X}")[16 - digits..].to_owned() + "\r",
        )
    })
}

proptest! {
    #[test]
    fn any_bits_come_through_at_any_speed_and_at_any_time_of_the_clock(
        frames in prop::collection::vec(any_line(), 1..4),
        low in 25_u64..900,
        high in 50_u64..900,
        start: u32,
        rest in 6_000_u64..400_000,
    ) {
        let kind = frames[0].0;
        let lines: Vec<String> = frames.into_iter().filter(|(of, _)| *of == kind).map(|(_, line)| line).collect();
        let mut signal = Signal { low, high, ..Signal::new() };
        for line in &lines {
            signal.bits(bits_of(kind, line));
            signal.now += rest;
        }
        prop_assert_eq!(signal.heard_from(kind, start), lines.concat());
    }

    /// An interrupt may come without a change, and the tick at any time.
    #[test]
    fn looking_more_often_changes_nothing((kind, line) in any_line(), looks in prop::collection::vec(0_u64..120_000, 0..200)) {
        let mut signal = Signal::new();
        signal.frame(bits_of(kind, &line));
        for at in looks {
            let levels = signal.levels_at(at);
            signal.changes.push((at, levels));
            signal.changes.sort_by_key(|(time, _)| *time);
        }
        prop_assert_eq!(signal.heard(kind), line);
    }
}
