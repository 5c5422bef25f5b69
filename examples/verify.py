#!/usr/bin/env python3
"""Verify a tallyjaw journal with nothing of tallyjaw: Python's standard library, `ssh-keygen`, and the journal's own lines.

Checked, line by line: the chain of SHA-256 digests and the numbers of the entries; each verdict, from the limits of its
series, by comparing integers; that a counted reading fills an empty place of its series; that a zero that is off leaves no
reading since the last good zero counted, and no series with an outcome lacks the zeros that its plan requires; tally and
outcome of each series; each seal. With --key, that the seals are by a key in that file, or by one that such a key has
signed. Exit: 0 every check passed, 1 a fault was found, 2 a file cannot be read.

Not checked: whether a value is what its bytes say, alerts, reservations, pictures, production runs, the state at the head
of a segment, whether a seal is missing or a reading came too late to be restored. Nothing protects the lines after the last
seal, or the last line: keep the digest that is printed elsewhere, and give it to a later run.
"""

import argparse
import base64
import collections
import hashlib
import json
import pathlib
import subprocess
import sys
import tempfile

COUNTS = ("passed", "failed", "unsure", "doubted", "retracted", "not_counted", "measured")
Zero = collections.namedtuple("Zero", ("good", "off", "closed"), defaults=(0, False, False))  # of an instrument in a series
COUNT_OF = {"pass": "passed", "fail": "failed", "unsure": "unsure", "measured": "measured"}


def base(fields, name):
    """A quantity in nanometres or millinewtons; `None` if it is not there."""
    return fields.get(f"{name}_nm", fields.get(f"{name}_mn"))


def judge(value, axis, guard):  # integers alone
    limits = ((base(axis, "upper"), 1, "high"), (base(axis, "lower"), -1, "low"))
    past = [(sign * (value - limit), side) for limit, sign, side in limits if limit is not None]
    if not past:
        return "measured"
    worst, side = max(past, key=lambda known: known[0])
    return f"fail_{side}" if worst > guard else f"unsure_{side}" if guard and worst > -guard else "pass"


def fingerprint(public_key):
    return "SHA256:" + base64.b64encode(hashlib.sha256(base64.b64decode(public_key.split()[1])).digest()).decode()[:-1]


def is_signed(text, public_key, signature):
    with tempfile.TemporaryDirectory() as folder:
        allowed, signed = pathlib.Path(folder, "allowed"), pathlib.Path(folder, "sig")
        allowed.write_text(f"tallyjaw {public_key}\n")
        signed.write_text(f"-----BEGIN SSH SIGNATURE-----\n{signature}\n-----END SSH SIGNATURE-----\n")
        command = ["ssh-keygen", "-Y", "verify", "-n", "tallyjaw", "-I", "tallyjaw", "-f", allowed, "-s", signed]
        return subprocess.run(command, input=text.encode(), capture_output=True).returncode == 0


class Series:
    """A series that is open, or was stopped early."""

    def __init__(self, seq, spec):
        self.id, self.spec = seq, spec
        self.counted = {}  # seq of the reading -> (piece, axis, instrument, verdict)
        self.zeros = collections.defaultdict(Zero)
        self.zeros.update((zero["instrument"], Zero(zero["zeroed"])) for zero in spec.get("opening_zeros", []))
        self.gone = collections.Counter()  # readings that do not count: doubted, retracted, not_counted
        self.looks, self.spent, self.retracted = {}, set(), None  # retracted, the last one: (seq, what it was)

    def tally(self):
        return self.gone + collections.Counter(COUNT_OF[known[3].split("_")[0]] for known in self.counted.values())

    def look_tally(self):
        said = [answer for (piece, _), answer in self.looks.items() if piece not in self.spent]
        return {"good": said.count("good"), "bad": said.count("bad")} if self.spec.get("looks") else None

    def outcome(self):
        tally, looks = self.tally(), self.look_tally()
        if tally["failed"] or (looks and looks["bad"]):
            return "rejected"
        return "undecided" if tally["unsure"] else "measured" if tally["measured"] else "accepted"


class Verifier:
    """One journal from its first line to its last."""

    def __init__(self, trusted=None):
        self.prev, self.seq, self.faults = "0" * 64, 0, []
        self.open, self.stopped, self.trusted, self.vouched_up_to = {}, {}, trusted, 0  # open, stopped: by station
        self.digests, self.journal = {0: self.prev}, None  # by entry
        self.keys, self.key, self.sealed = {}, None, 0  # fingerprint -> (public key, its first entry); the last sealed entry

    def fault(self, what):
        self.faults.append(f"entry {self.seq}: {what}")

    def expect(self, what, got, want):
        if got != want:
            self.fault(f"{what}: got {got}, want {want}")

    def line(self, line, first=None):
        before, self.prev = self.prev, hashlib.sha256(line).hexdigest()
        try:
            entry = json.loads(line)
            seq, kind = entry["seq"], entry["kind"]
            jumps = kind in ("damage_accepted", "rolled_back") and seq > self.seq
            if seq != self.seq + 1 and not jumps:
                self.fault(f"followed by entry {seq}")
            self.seq, self.digests[seq] = seq, self.prev
            if not jumps:
                self.expect("digest of the line before", entry["prev"], before)
            if first or kind in ("begun", "segment"):
                self.expect("first entry of a segment", kind, first)
                self.journal = self.journal or entry["journal"]
            getattr(self, f"take_{kind}", lambda entry: None)(entry)
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            self.fault(f"it, or the line behind it, is no entry that this can read: {error!r}")

    def of(self, entry):
        """The open series that an entry names."""
        series = self.open.get(entry["station"])
        self.expect("series", entry.get("series"), series.id if series else None)
        return series if series and series.id == entry.get("series") else None

    def vouched(self, series):
        for seq, (_, _, by, _) in series.counted.items():
            if series.zeros[by].off and seq > series.zeros[by].good:
                self.fault(f"reading {seq} counts, and a zero that was off puts it in doubt")

    def take_key_begun(self, entry):
        key, before, signature = entry["public_key"], entry.get("key_before"), entry.get("signature")
        self.expect("fingerprint of the key, and key before", (entry["key"], before), (fingerprint(key), self.key))
        if signature:
            signed = before in self.keys and is_signed(f"tallyjaw key 1\n{key}\n", self.keys[before][0], signature)
            self.expect("whether the key before has signed the key", signed, True)
            if signed and self.trusted and before in self.trusted:
                self.trusted.add(entry["key"])
        self.key, self.keys[entry["key"]] = entry["key"], (key, entry["seq"])

    def take_sealed(self, entry):
        up_to, faults = entry["up_to"], len(self.faults)
        self.expect("journal and key of the seal", (entry["journal"], entry["key"]), (self.journal, self.key))
        self.expect("whether the seal covers more than the one before", self.sealed < up_to < entry["seq"], True)
        self.expect("digest of the sealed line", entry["digest"], self.digests.get(up_to))
        text = f"tallyjaw seal 1\njournal {entry['journal']}\nentry {up_to}\nsha256 {entry['digest']}\n"
        signed = is_signed(text, self.keys.get(entry["key"], ("none",))[0], entry["signature"])
        self.expect("whether the key has signed the seal", signed, True)
        if len(self.faults) == faults:
            self.sealed = up_to
            if self.trusted and entry["key"] in self.trusted:
                self.vouched_up_to = up_to

    def end(self):
        """Keys that nobody vouches for, of which no seal by a trusted key covers the beginning."""
        for key, (_, begun) in self.keys.items() if self.vouched_up_to else ():
            if key not in self.trusted and begun > self.vouched_up_to:
                self.fault(f"no trusted key vouches for {key}, which began in entry {begun}")
        self.expect("whether a seal is by a trusted key", bool(self.vouched_up_to), self.trusted is not None)

    def take_armed(self, entry):
        self.expect("series open while the next is armed", entry["station"] in self.open, False)
        self.open[entry["station"]] = Series(entry["seq"], entry)

    def take_adapter_said(self, entry):
        if entry["station"] in self.open:
            self.open[entry["station"]].zeros.pop(entry["instrument"], None)

    def take_zeroed(self, entry):
        self.stopped.pop(None if entry["ok"] else entry["station"], None)  # it cannot be resumed any more
        if series := self.of(entry):
            self.vouched(series)
            for by in series.spec["instruments"] if entry["ok"] else ():
                most = base(by, "resolution") * series.spec["zero"]["limit_counts"]
                if by["name"] == entry["instrument"] and abs(base(entry, "value")) > most:
                    self.fault("a good zero that shows more than its limit")
            good = entry["seq"] if entry["ok"] else series.zeros[entry["instrument"]].good
            is_closed = entry["ok"] and entry["role"] == "closing"
            series.zeros[entry["instrument"]] = Zero(good, not entry["ok"], is_closed)

    def take_reading(self, entry):
        counts, place, by = entry["standing"] == "counted", (entry.get("piece"), entry.get("axis")), entry["instrument"]
        if counts:
            self.stopped.pop(entry["station"], None)
        elif entry["station"] in self.open:
            self.open[entry["station"]].gone["not_counted"] += 1
        if entry.get("series") is None:
            return self.expect("a counted reading of no series", counts, False)
        series = self.of(entry)
        axis = next((axis for axis in series.spec["axes"] if axis["axis"] == place[1]), None) if series else None
        if not axis:
            return self.fault(f"no such axis in an open series: {place[1]}")
        for name in ("nominal", "lower", "upper"):
            self.expect(name, base(entry, name), base(axis, name))
        if not counts:
            return self.expect("verdict of a reading that does not count", entry.get("verdict"), None)
        guards = {known["instrument"]: known.get("width_nm" if "value_nm" in entry else "width_mn") for known in axis["guards"]}
        if guards.get(by) is None:
            return self.fault(f"{by} does not measure {place[1]}")
        self.expect("verdict", entry.get("verdict"), judge(base(entry, "value"), axis, guards[by]))
        if not 1 <= place[0] <= series.spec["pieces"] + len(series.spent) or place[0] in series.spent:
            self.fault(f"no piece {place[0]} is to be measured")
        if any(known[:2] == place for known in series.counted.values()):
            self.fault(f"piece {place[0]} has a {place[1]} already")
        if series.zeros[by].off or (series.spec["zero"]["before_first"] and not series.zeros[by].good):
            self.fault(f"a counted reading, and the last zero of {by} is not good")
        self.vouched(series)
        series.counted[entry["seq"]] = (*place, by, entry["verdict"])
        series.zeros[by] = series.zeros[by]._replace(closed=False)

    def take_out(self, series, reading, becomes):
        series.gone[becomes] += 1
        if reading not in series.counted:
            self.fault(f"reading {reading} does not count, so it cannot be {becomes}")
        return series.counted.pop(reading, None)

    def take_doubted(self, entry):
        for reading in entry["readings"] if (series := self.of(entry)) else ():
            self.take_out(series, reading, "doubted")

    def take_retracted(self, entry):
        if series := self.of(entry):
            known = self.take_out(series, entry["reading"], "retracted")
            series.retracted = (entry["reading"], known)
            self.expect("piece", known and entry.get("piece", known[0]), known and known[0])
            series.spent.update(known[:1] if known and entry.get("spent") else ())

    def take_restored(self, entry):
        if series := self.of(entry):
            seq, known = series.retracted or (None, None)
            self.expect("restored reading", entry["reading"], seq)
            series.retracted = None
            if known:
                series.counted[seq] = known
                series.gone["retracted"] -= 1
                series.spent.discard(known[0])

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
        if series := self.of(entry):
            self.vouched(series)
            del self.open[entry["station"]]
            if entry.get("resumable"):
                self.stopped[entry["station"]] = series
            self.expect("tally", {"measured": 0, **entry["tally"]}, {name: series.tally()[name] for name in COUNTS})
            self.expect("visual checks", entry.get("looks"), series.look_tally())
            if entry["outcome"] != "cut_short":
                self.expect("outcome", entry["outcome"], series.outcome())
                self.expect("counted", len(series.counted), series.spec["pieces"] * len(series.spec["axes"]))
                for by in {known[2] for known in series.counted.values()} if series.spec["zero"]["closing"] else ():
                    self.expect(f"a good closing zero of {by}", series.zeros[by].closed, True)


def verify(folder, digest=None, trusted=None):
    """The verifier after the last line, and the bytes behind it that are no line yet; `None` without a journal."""
    files, verifier, unfinished = sorted(pathlib.Path(folder).glob("*.jsonl")), Verifier(trusted), b""
    for number, file in enumerate(files, 1):
        if unfinished:
            verifier.fault("a segment ends in the middle of a line")
        verifier.expect("name of the segment", file.name, f"{number:08}.jsonl")
        *lines, unfinished = file.read_bytes().split(b"\n")
        for at, line in enumerate(lines):
            verifier.line(line, None if at else "begun" if number == 1 else "segment")
    verifier.end()
    if digest and digest not in verifier.digests.values():
        verifier.fault(f"no line has the digest {digest}: the journal was cut or rewritten")
    return (verifier, unfinished) if files else None


def main():
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("folder")
    options.add_argument("--digest", type=str.lower)
    options.add_argument("--key", type=pathlib.Path)
    given = options.parse_args()
    keys = [line for line in given.key.read_text().splitlines() if "ssh-ed25519 " in line] if given.key else []
    trusted = {fingerprint(line[line.index("ssh-ed25519 "):]) for line in keys} if given.key else None
    found = verify(given.folder, given.digest, trusted)
    if not found or trusted == set():
        print(f"verify: want .jsonl files in {given.folder}, and Ed25519 keys in FILE", file=sys.stderr)
        sys.exit(2)
    verifier, unfinished = found
    print(*verifier.faults, sep="\n", end="\n" if verifier.faults else "")
    if unfinished:
        print(f"{len(unfinished)} bytes of a line that is being written, or was broken off by a crash")
    if verifier.keys:
        print(f"sealed up to entry {verifier.sealed} by {', '.join(verifier.keys)}")
    print(f"{len(verifier.faults)} faults" if verifier.faults else f"sound: {verifier.seq} entries; last {verifier.prev}")
    sys.exit(bool(verifier.faults))


if __name__ == "__main__":
    main()
