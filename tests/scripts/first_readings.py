"""The first readings at a new bench, seen from outside: every verdict, and what does not count.

Usage: first_readings.py TALLYJAW

The limits are 1.62 ±0.05 mm. Under the guarded rule they are drawn in by 1.645 u, where
u² = 0.02²/3 + 2·0.01²/12 mm² (the instrument's largest error, and its resolution twice): 0.02015 mm.
So 1.60 passes, 1.55 to 1.59 is unsure, 1.54 fails; likewise 1.64, 1.65 to 1.69, 1.70.
"""

import sys

from bench import Bench, Feed, assert_chained

HEIGHT = ("core_crimp_height", 1_620_000, 50_000)  # nominal and tolerance in nm
WIDTH = ("core_crimp_width", 2_400_000, 100_000)

SIMPLE = [  # both limits belong to the good side
    (HEIGHT, 1, b"+1.63\r", 1_630_000, "pass"),
    (HEIGHT, 2, b"+1.57\r", 1_570_000, "pass"),
    (HEIGHT, 3, b"+1.67\r", 1_670_000, "pass"),
    (HEIGHT, 4, b"+1.56\r", 1_560_000, "fail_low"),
    (HEIGHT, 5, b"+1.68\r", 1_680_000, "fail_high"),
    (WIDTH, 1, b"+2.40\r", 2_400_000, "pass"),
    (WIDTH, 2, b"+2.30\r", 2_300_000, "pass"),
    (WIDTH, 3, b"+2.50\r", 2_500_000, "pass"),
    (WIDTH, 4, b"+2.29\r", 2_290_000, "fail_low"),
    (WIDTH, 5, b"+2.51\r", 2_510_000, "fail_high"),
]
GUARDED = [
    (HEIGHT, 1, b"+1.60\r", 1_600_000, "pass"),
    (HEIGHT, 2, b"+1.59\r", 1_590_000, "unsure_low"),  # inside of the limit
    (HEIGHT, 3, b"+1.55\r", 1_550_000, "unsure_low"),  # outside of it
    (HEIGHT, 4, b"+1.65\r", 1_650_000, "unsure_high"),
    (HEIGHT, 5, b"+1.69\r", 1_690_000, "unsure_high"),
    (HEIGHT, 6, b"+1.54\r", 1_540_000, "fail_low"),
    (HEIGHT, 7, b"+1.70\r", 1_700_000, "fail_high"),
]
# The pieces after which two of the last three lie near the same limit, or beyond.
SIMPLE_ALERTS = {("core_crimp_height", 4), ("core_crimp_width", 4)}
GUARDED_ALERTS = {("core_crimp_height", 7)}
PLANS = [
    {"name": "pump-own", "decision": "simple", "pieces": 5, "axes": '["core_crimp_height", "core_crimp_width"]'},
    {"name": "pump-ref", "decision": "guarded", "pieces": 7, "axes": '["core_crimp_height"]'},
]


def arm(bench, feed, plan):
    seq = bench.call("arm", station="bench-1", plan=plan)["seq"]
    feed.expect("armed", seq=seq, station="bench-1", plan=plan)
    return seq


def zero(bench, feed, series, role, frame=b"+0.00\r", value_nm=0):
    bench.press(frame)
    feed.expect(
        "zeroed", station="bench-1", instrument="caliper-1", series=series, value_nm=value_nm, role=role, ok=True,
        raw=frame.hex(),
    )


def measure(bench, feed, series, readings, alerts):
    for (axis, nominal_nm, tolerance_nm), piece, frame, value_nm, verdict in readings:
        bench.press(frame)
        feed.expect(
            "reading", station="bench-1", instrument="caliper-1", series=series, piece=piece, axis=axis,
            terminal="QF-250-F", wire_mm2=2.0, purpose="first_off", value_nm=value_nm, value=value_nm / 1e6,
            unit="mm", nominal_nm=nominal_nm, lower_nm=nominal_nm - tolerance_nm,
            upper_nm=nominal_nm + tolerance_nm, deviation_nm=value_nm - nominal_nm, verdict=verdict,
            standing="counted", raw=frame.hex(),
        )
        if (axis, piece) in alerts:
            feed.expect("alerted", station="bench-1", series=series, rule="two_of_three_near_a_limit")


def does_not_count(bench, feed, frame, reason, hint=None):
    bench.press(frame)
    entry = feed.expect("reading", standing="not_counted", reason=reason, verdict=None, raw=frame.hex())
    assert hint is None or hint in entry["hint"], f"want a hint with {hint!r}, got {entry}"


def main(binary):
    with Bench(binary, PLANS) as bench:
        feed = Feed(bench)
        feed.until("attached")
        does_not_count(bench, feed, b"+1.61\r", "not_armed")

        series = arm(bench, feed, "pump-own")
        does_not_count(bench, feed, b"+1.62\r", "zero_due")
        zero(bench, feed, series, "opening")
        does_not_count(bench, feed, b"+2.41\r", "implausible", "width")
        does_not_count(bench, feed, b"+0.0640\r", "implausible", "inch")
        measure(bench, feed, series, SIMPLE, SIMPLE_ALERTS)
        zero(bench, feed, series, "closing")
        feed.expect("completed", station="bench-1", series=series, outcome="rejected")

        series = arm(bench, feed, "pump-ref")
        # The same value within 150 ms is the bounce of one press, so this zero is one count off.
        zero(bench, feed, series, "opening", b"+0.01\r", 10_000)
        measure(bench, feed, series, GUARDED, GUARDED_ALERTS)
        zero(bench, feed, series, "closing")
        feed.expect("completed", station="bench-1", series=series, outcome="rejected")

        status = bench.stop()
        assert status == 0, f"the daemon ended with {status}"
        feed.until("stopped")
        lines = bench.journal_lines()
        assert feed.seen == lines, "the feed is not, byte for byte, what the journal holds"
        assert_chained(lines)
        print(f"{len(lines)} entries on the feed, all as expected and as in the journal")


if __name__ == "__main__":
    main(sys.argv[1])
