#!/usr/bin/env python3
"""Verify a tallyjaw journal with nothing of tallyjaw: Python's standard library, and the journal's own lines.

Usage: verify.py JOURNAL_FOLDER [--digest SHA256]       (the folder of the .jsonl files, state/journal)
Exit:  0 every check passed, 1 a fault was found, 2 the folder cannot be read

Checked, line by line: the chain of SHA-256 digests and the numbers of the entries; each verdict, from the limits of its
series, by comparing integers; that a counted reading fills an empty place of its series; that a zero that is off leaves no
reading since the last good zero counted, and no series with an outcome lacks the zeros that its plan requires; tally and
outcome of each series.

Not checked: whether a value is what its bytes say, alerts, reservations, pictures, production runs, the state at the head
of a segment. No later line protects the last one: keep the digest that is printed elsewhere, and give it to a later run.
"""

import collections
import hashlib
import json
import pathlib
import sys

COUNTS = ("passed", "failed", "unsure", "doubted", "retracted", "not_counted", "measured")
COUNT_OF = {"pass": "passed", "fail_low": "failed", "fail_high": "failed", "unsure_low": "unsure", "unsure_high": "unsure",
            "measured": "measured"}


def base(fields, name):
    """A quantity in nanometres or millinewtons; `None` if it is not there."""
    return fields.get(f"{name}_nm", fields.get(f"{name}_mn"))


def judge(value, axis, guard):
    """The verdict on a value: integers alone."""
    lower, upper = base(axis, "lower"), base(axis, "upper")
    if lower is None and upper is None:
        return "measured"
    below = lower - value if lower is not None else None
    above = value - upper if upper is not None else None
    low = above is None or (below is not None and below > above)
    worst, side = (below, "low") if low else (above, "high")
    if worst > guard:
        return f"fail_{side}"
    return f"unsure_{side}" if guard and worst > -guard else "pass"


class Zero:
    """The zeros of an instrument in a series: the last good one, whether the last is off, whether it was closing."""

    def __init__(self, good=0):
        self.good, self.off, self.closed = good, False, False


class Series:
    """A series that is open, or was stopped early."""

    def __init__(self, seq, spec):
        self.id, self.spec = seq, spec
        self.counted = {}  # seq of the reading -> (piece, axis, instrument, verdict)
        self.zeros = collections.defaultdict(Zero)
        for zero in spec.get("opening_zeros", []):
            self.zeros[zero["instrument"]] = Zero(zero["zeroed"])
        self.tally = dict.fromkeys(COUNTS, 0)
        self.retracted = None  # the last one: (seq, what it was)
        self.looks, self.spent = {}, set()

    def axis(self, name):
        return next((axis for axis in self.spec["axes"] if axis["axis"] == name), None)

    def unvouched(self):
        """The counted readings that no good zero vouches for, and that an off one puts in doubt."""
        return [seq for seq, (_, _, by, _) in self.counted.items() if self.zeros[by].off and seq > self.zeros[by].good]

    def take_out(self, seq, becomes):
        known = self.counted.pop(seq, None)
        if known:
            self.tally[COUNT_OF[known[3]]] -= 1
            self.tally[becomes] += 1
        return known

    def look_tally(self):
        said = [answer for (piece, _), answer in self.looks.items() if piece not in self.spent]
        return {"good": said.count("good"), "bad": said.count("bad")} if self.spec.get("looks") else None

    def outcome(self):
        if self.tally["failed"] or (self.look_tally() or {}).get("bad"):
            return "rejected"
        return "undecided" if self.tally["unsure"] else "measured" if self.tally["measured"] else "accepted"


class Verifier:
    """One journal from its first line to its last."""

    def __init__(self):
        self.prev, self.seq, self.faults, self.readings, self.closed = "0" * 64, 0, [], 0, 0
        self.digests = {self.prev}
        self.open, self.stopped = {}, {}  # by station

    def fault(self, what):
        self.faults.append(f"entry {self.seq}: {what}")

    def expect(self, what, got, want):
        if got != want:
            self.fault(f"{what}: got {got}, want {want}")

    def file(self, number, name, text):
        self.expect("name of the segment", name, f"{number:08}.jsonl")
        *lines, unfinished = text.split(b"\n")
        for at, line in enumerate(lines):
            first = ("begun" if number == 1 else "segment") if at == 0 else None
            self.line(line, first)
        return len(unfinished)

    def line(self, line, first=None):
        before, self.prev = self.prev, hashlib.sha256(line).hexdigest()
        self.digests.add(self.prev)
        try:
            entry = json.loads(line)
            seq, kind, station = entry["seq"], entry["kind"], entry.get("station")
            jumps = kind in ("damage_accepted", "rolled_back") and seq > self.seq
            if seq != self.seq + 1 and not jumps:
                self.fault(f"followed by entry {seq}")
            self.seq = seq
            if not jumps:
                self.expect("digest of the line before", entry["prev"], before)
            if first or kind in ("begun", "segment"):
                self.expect("first entry of a segment", kind, first)
            getattr(self, f"take_{kind}", lambda entry: None)(entry)
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            self.fault(f"it, or the line behind it, is no entry that this can read: {error!r}")

    def of(self, entry):
        """The open series that an entry names."""
        series = self.open.get(entry["station"])
        self.expect("series", entry.get("series"), series.id if series else None)
        return series if series and series.id == entry.get("series") else None

    def vouched(self, series):
        for seq in series.unvouched():
            self.fault(f"reading {seq} counts, and a zero that was off puts it in doubt")

    def take_armed(self, entry):
        self.expect("series open while the next is armed", entry["station"] in self.open, False)
        self.open[entry["station"]] = Series(entry["seq"], entry)

    def take_adapter_said(self, entry):
        if entry["station"] in self.open:
            self.open[entry["station"]].zeros.pop(entry["instrument"], None)

    def take_zeroed(self, entry):
        if series := self.of(entry):
            self.vouched(series)
            zero = series.zeros[entry["instrument"]]
            zero.off, zero.closed = not entry["ok"], entry["ok"] and entry["role"] == "closing"
            by = [known for known in series.spec["instruments"] if known["name"] == entry["instrument"]]
            most = base(by[0], "resolution") * series.spec["zero"]["limit_counts"] if by else None
            if entry["ok"]:
                zero.good = entry["seq"]
                if most is not None and abs(base(entry, "value")) > most:
                    self.fault("a good zero that shows more than its limit")

    def take_reading(self, entry):
        counts, place = entry["standing"] == "counted", (entry.get("piece"), entry.get("axis"))
        self.readings += 1
        if not counts and entry["station"] in self.open:
            self.open[entry["station"]].tally["not_counted"] += 1
        if entry.get("series") is None:
            return self.expect("a counted reading of no series", counts, False)
        series = self.of(entry)
        axis = series.axis(place[1]) if series else None
        if not axis:
            return self.fault(f"no such axis in an open series: {place[1]}")
        for name in ("nominal", "lower", "upper"):
            self.expect(name, base(entry, name), base(axis, name))
        value, unit = base(entry, "value"), "nm" if "value_nm" in entry else "mn"
        nominal = axis.get(f"nominal_{unit}")
        self.expect("deviation", base(entry, "deviation"), None if nominal is None else value - nominal)
        if not counts:
            return self.expect("verdict of a reading that does not count", entry.get("verdict"), None)
        by = entry["instrument"]
        guards = {guard["instrument"]: guard.get(f"width_{unit}") for guard in axis["guards"]}
        if guards.get(by) is None:
            return self.fault(f"{by} does not measure {place[1]}")
        self.expect("verdict", entry.get("verdict"), judge(value, axis, guards[by]))
        if not 1 <= place[0] <= series.spec["pieces"] + len(series.spent) or place[0] in series.spent:
            self.fault(f"no piece {place[0]} is to be measured")
        if any(known[:2] == place for known in series.counted.values()):
            self.fault(f"piece {place[0]} has a {place[1]} already")
        if series.zeros[by].off or (series.spec["zero"]["before_first"] and not series.zeros[by].good):
            self.fault(f"a counted reading, and the last zero of {by} is not good")
        self.vouched(series)
        series.counted[entry["seq"]] = (*place, by, entry["verdict"])
        series.tally[COUNT_OF[entry["verdict"]]] += 1
        series.zeros[by].closed = False

    def take_doubted(self, entry):
        series = self.of(entry)
        for reading in entry["readings"] if series else []:
            if not series.take_out(reading, "doubted"):
                self.fault(f"reading {reading} does not count, so it cannot be put in doubt")

    def take_retracted(self, entry):
        if series := self.of(entry):
            known = series.take_out(entry["reading"], "retracted")
            if not known:
                return self.fault(f"reading {entry['reading']} does not count, so it cannot be retracted")
            self.expect("piece", entry.get("piece", known[0]), known[0])
            series.retracted = (entry["reading"], known)
            if entry.get("spent"):
                series.spent.add(known[0])

    def take_restored(self, entry):
        if series := self.of(entry):
            seq, known = series.retracted or (None, None)
            self.expect("restored reading", entry["reading"], seq)
            if known:
                series.counted[seq] = known
                series.tally["retracted"] -= 1
                series.tally[COUNT_OF[known[3]]] += 1
                series.spent.discard(known[0])
            series.retracted = None

    def take_looked(self, entry):
        if series := self.of(entry):
            series.looks[(entry.get("piece"), entry["look"])] = entry["answer"]

    def take_resumed(self, entry):
        self.expect("series open while another is resumed", entry["station"] in self.open, False)
        series = self.stopped.pop(entry["station"], None)
        self.expect("resumed series", entry["series"], series.id if series else None)
        if series:
            self.open[entry["station"]] = series

    def take_completed(self, entry):
        series = self.of(entry)
        if not series:
            return
        self.closed += 1
        self.vouched(series)
        del self.open[entry["station"]]
        if entry.get("resumable"):
            self.stopped[entry["station"]] = series
        self.expect("tally", {"measured": 0, **entry["tally"]}, series.tally)
        self.expect("visual checks", entry.get("looks"), series.look_tally())
        if entry["outcome"] != "cut_short":
            self.expect("outcome", entry["outcome"], series.outcome())
            places = series.spec["pieces"] * len(series.spec["axes"])
            self.expect("counted readings of a full series", len(series.counted), places)
            for by in {known[2] for known in series.counted.values()} if series.spec["zero"]["closing"] else ():
                self.expect(f"a good closing zero of {by}", series.zeros[by].closed, True)


def verify(folder, kept=None):
    """The verifier after the last line, and the bytes behind it that are no line yet; `None` without a journal."""
    files, verifier, unfinished = sorted(pathlib.Path(folder).glob("*.jsonl")), Verifier(), 0
    for number, file in enumerate(files, 1):
        if unfinished:
            verifier.fault("a segment ends in the middle of a line")
        unfinished = verifier.file(number, file.name, file.read_bytes())
    if kept and kept not in verifier.digests:
        verifier.fault(f"no line has the digest {kept}: the journal was cut or rewritten")
    return (verifier, unfinished) if files else None


def main():
    digest = sys.argv[3].lower() if sys.argv[2:3] == ["--digest"] and len(sys.argv) == 4 else None
    if len(sys.argv) != (4 if digest else 2):
        sys.exit(__doc__)
    if not (found := verify(sys.argv[1], digest)):
        print(f"verify: no journal in {sys.argv[1]}: want .jsonl files", file=sys.stderr)
        sys.exit(2)
    verifier, unfinished = found
    print(*verifier.faults, sep="\n", end="\n" if verifier.faults else "")
    if unfinished:
        print(f"{unfinished} bytes of a line that is being written, or was broken off by a crash")
    said = "sound" if not verifier.faults else f"{len(verifier.faults)} faults"
    print(f"{said}: {verifier.seq} entries, {verifier.readings} readings, {verifier.closed} outcomes; last {verifier.prev}")
    sys.exit(bool(verifier.faults))


if __name__ == "__main__":
    main()
