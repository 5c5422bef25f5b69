#!/usr/bin/env python3
"""Verify a tallyjaw journal with nothing of tallyjaw: Python's standard library, `ssh-keygen`, and the journal's own lines.

Checked, line by line: the chain of SHA-256 digests and the numbers of the entries; each verdict, from the limits of its
series, by comparing integers; that a counted reading fills an empty place of its series; that a zero that is off leaves no
reading since the last good zero counted, and no series with an outcome lacks the zeros that its plan requires; tally and
outcome; each seal. With --key, that the seals are by a key in that file, or by one that such a key has signed. Of a journal
whose first segments were removed, the rest, if --digest is what their removal printed. Exit: 0 sound, 1 faults, 2 unread.

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
VERDICTS = ("pass", "fail_low", "fail_high", "unsure_low", "unsure_high", "measured")
Zero = collections.namedtuple("Zero", ("good", "off", "closed"), defaults=(0, False, False))  # of an instrument in a series


def base(fields, name):  # in nanometres or millinewtons; `None` if it is not there
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


def is_signed(text, key, signature):  # by the key with this fingerprint, says `ssh-keygen`
    with tempfile.NamedTemporaryFile("w") as signed:
        signed.write(f"-----BEGIN SSH SIGNATURE-----\n{signature}\n-----END SSH SIGNATURE-----\n")
        signed.flush()
        command = ["ssh-keygen", "-Y", "check-novalidate", "-n", "tallyjaw", "-s", signed.name]
        said = subprocess.run(command, input=text, capture_output=True, text=True).stdout
    return said.startswith("Good ") and said.split()[-1] == key


class Series:
    """A series that is open, or was stopped early: of its `armed` entry, or of the state at the head of a segment."""

    def __init__(self, id, spec, readings=(), tally={}, doubted=(), zeros={}, looks=(), spent=(), retracted=None, **_):
        self.id, self.spec, self.spent = id, spec, set(spent)
        self.counted = {reading["seq"]: reading for reading in readings}
        self.zeros = collections.defaultdict(Zero)
        self.zeros.update((zero["instrument"], Zero(zero["zeroed"])) for zero in spec.get("opening_zeros", ()) if not zeros)
        for by, zero in zeros.items():
            self.zeros[by] = Zero(zero.get("last_good", {}).get("seq", 0), zero["off"], zero["closed"])
        self.gone = collections.Counter({name: tally[name] for name in COUNTS[3:6] if tally})  # those that do not count
        self.doubted = {(known["piece"], known["axis"]) for known in doubted}  # slots
        self.looks = {(look.get("piece"), look["look"]): look["answer"] for look in looks}
        self.retracted = retracted and retracted["reading"]  # the last one

    def tally(self):
        words = (known["verdict"].split("_")[0] for known in self.counted.values())
        return self.gone + collections.Counter({"pass": "passed", "fail": "failed"}.get(word, word) for word in words)

    def counts(self, said):
        """What `completed` has for displays; where it tells no doubt, an older release may not have kept them."""
        words = collections.Counter(known["verdict"] for known in self.counted.values())
        filled = {(known["piece"], known["axis"]) for known in self.counted.values()}
        left = sum(slot not in filled and slot[0] not in self.spent for slot in self.doubted)
        pull = next((axis["axis"] for axis in self.spec["axes"] if "lower_mn" in axis), None)
        forces = [known["value_mn"] for known in self.counted.values() if known["axis"] == pull]
        return {"slots": self.spec["pieces"] * len(self.spec["axes"]), "filled": len(self.counted),
                "doubted_left": said["doubted_left"] and left, "verdicts": {word: words[word] for word in VERDICTS},
                **({"lowest_mn": min(forces)} if forces else {})}

    def look_tally(self):
        said = [answer for (piece, _), answer in self.looks.items() if piece not in self.spent]
        return {"good": said.count("good"), "bad": said.count("bad")} if self.spec.get("looks") else None

    def outcome(self):
        tally, looks = self.tally(), self.look_tally()
        known = "undecided" if tally["unsure"] else "measured" if tally["measured"] else "accepted"
        return "rejected" if tally["failed"] or (looks and looks["bad"]) else known


class Verifier:
    """One journal from its first line to its last."""

    def __init__(self, trusted=None):
        self.prev, self.seq, self.faults = "0" * 64, 0, []
        self.open, self.stopped, self.trusted, self.vouched_up_to = {}, {}, trusted or set(), 0  # open, stopped: by station
        self.digests, self.journal, self.removed = {0: self.prev}, None, 0  # by entry; the last that was removed
        self.keys, self.key, self.sealed = {}, None, 0  # fingerprint -> its first entry; the last sealed entry

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
            if first == "segment" and not self.seq:
                before = self.begin_behind(entry)
            if kind not in ("damage_accepted", "rolled_back") or seq <= self.seq:  # these may jump
                self.expect("number and digest of the line before", (seq - 1, entry["prev"]), (self.seq, before))
            self.seq, self.digests[seq] = seq, self.prev
            if first or kind in ("begun", "segment"):
                self.expect("first entry of a segment", kind, first)
                self.journal = self.journal or entry["journal"]
            getattr(self, f"take_{kind}", lambda entry: None)(entry)
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            self.fault(f"it, or the line behind it, is no entry that this can read: {error!r}")

    def begin_behind(self, entry):
        """Takes what the segments that were removed amounted to. Returns the digest of their last line."""
        self.seq = self.removed = entry["seq"] - 1
        signing, self.digests = entry["state"].get("signing", {}), {self.seq: entry["prev"]}
        self.key, self.sealed = signing.get("key"), signing.get("up_to", 0)
        self.keys = {self.key: float("inf")} if self.key else {}
        for name, known in entry["state"]["stations"].items():
            self.open.update({name: Series(**known["series"])} if "series" in known else {})
            self.stopped.update({name: Series(**known["stopped"]["series"])} if "stopped" in known else {})
        return entry["prev"]

    def of(self, entry):
        series = self.open.get(entry["station"])
        self.expect("series", entry.get("series"), series.id if series else None)
        return series if series and series.id == entry.get("series") else None

    def vouched(self, series):
        for seq, known in series.counted.items():
            zero = series.zeros[known["instrument"]]
            self.expect(f"whether a zero that was off puts reading {seq} in doubt", zero.off and seq > zero.good, False)

    def take_key_begun(self, entry):
        key, before, signature = entry["public_key"], entry.get("key_before"), entry.get("signature")
        self.expect("fingerprint of the key, and key before", (entry["key"], before), (fingerprint(key), self.key))
        if signature:
            signed = is_signed(f"tallyjaw key 1\n{key}\n", before, signature)
            self.expect("whether the key before has signed the key", signed, True)
            self.trusted.update([entry["key"]] if signed and before in self.trusted else ())
        self.key, self.keys[entry["key"]] = entry["key"], entry["seq"]

    def take_sealed(self, entry):
        up_to, faults = entry["up_to"], len(self.faults)
        self.expect("journal and key of the seal", (entry["journal"], entry["key"]), (self.journal, self.key))
        self.expect("whether the seal covers more than the one before", self.sealed < up_to < entry["seq"], True)
        known = self.digests.get(up_to, entry["digest"] if up_to < self.removed else None)
        self.expect("digest of the sealed line", entry["digest"], known)
        text = f"tallyjaw seal 1\njournal {entry['journal']}\nentry {up_to}\nsha256 {entry['digest']}\n"
        self.expect("whether the key has signed the seal", is_signed(text, entry["key"], entry["signature"]), True)
        if len(self.faults) == faults:
            self.sealed = up_to
            self.vouched_up_to = up_to if entry["key"] in self.trusted else self.vouched_up_to

    def end(self):  # no seal by a trusted key covers the beginning of a key that nobody vouches for
        for key, begun in self.keys.items() if self.vouched_up_to else ():
            self.expect(f"whether anyone vouches for {key}", key in self.trusted or begun <= self.vouched_up_to, True)
        self.expect("whether a seal is by a trusted key", bool(self.vouched_up_to), bool(self.trusted))

    def take_armed(self, entry):
        self.expect("series open while the next is armed", entry["station"] in self.open, False)
        self.open[entry["station"]] = Series(entry["seq"], entry)

    def take_adapter_said(self, entry):
        if series := self.open.get(entry["station"]):
            series.zeros.pop(entry["instrument"], None)

    def take_zeroed(self, entry):
        self.stopped.pop(None if entry["ok"] else entry["station"], None)  # it cannot be resumed any more
        if series := self.of(entry):
            self.vouched(series)
            for by in series.spec["instruments"] if entry["ok"] else ():
                most = base(by, "resolution") * series.spec["zero"]["limit_counts"]
                is_past = by["name"] == entry["instrument"] and abs(base(entry, "value")) > most
                self.expect("whether a good zero shows more than its limit", is_past, False)
            good = entry["seq"] if entry["ok"] else series.zeros[entry["instrument"]].good
            series.zeros[entry["instrument"]] = Zero(good, not entry["ok"], entry["ok"] and entry["role"] == "closing")

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
        self.expect("verdict", entry.get("verdict"), judge(base(entry, "value"), axis, guards[by]))
        filled = {known["piece"] for known in series.counted.values() if known["axis"] == place[1]} | series.spent
        is_empty = place[0] in set(range(1, series.spec["pieces"] + len(series.spent) + 1)) - filled
        self.expect(f"whether the {place[1]} of piece {place[0]} is to be measured", is_empty, True)
        is_off = series.zeros[by].off or (series.spec["zero"]["before_first"] and not series.zeros[by].good)
        self.expect(f"whether the last zero of {by} is off", is_off, False)
        self.vouched(series)
        series.counted[entry["seq"]] = entry
        series.zeros[by] = series.zeros[by]._replace(closed=False)

    def take_out(self, series, reading, becomes):
        series.gone[becomes] += 1
        self.expect(f"whether reading {reading}, which is {becomes}, counts", reading in series.counted, True)
        return series.counted.pop(reading, None)

    def take_doubted(self, entry):
        for reading in entry["readings"] if (series := self.of(entry)) else ():
            if known := self.take_out(series, reading, "doubted"):
                series.doubted.add((known["piece"], known["axis"]))

    def take_retracted(self, entry):
        if series := self.of(entry):
            series.retracted = known = self.take_out(series, entry["reading"], "retracted")
            self.expect("piece", known and entry.get("piece", known["piece"]), known and known["piece"])
            series.spent.update([known["piece"]] if known and entry.get("spent") else ())

    def take_restored(self, entry):
        if series := self.of(entry):
            known, series.retracted = series.retracted or {"seq": None}, None
            self.expect("restored reading", entry["reading"], known["seq"])
            if known["seq"]:
                series.counted[known["seq"]] = known
                series.gone["retracted"] -= 1
                series.spent.discard(known["piece"])

    def take_looked(self, entry):
        if series := self.of(entry):
            series.looks[(entry.get("piece"), entry["look"])] = entry["answer"]

    def take_resumed(self, entry):
        self.expect("series open while another is resumed", entry["station"] in self.open, False)
        series = self.stopped.pop(entry["station"], None)
        self.expect("resumed series", entry["series"], series and series.id)
        self.open.update({entry["station"]: series} if series else {})

    def take_completed(self, entry):
        if series := self.of(entry):
            self.vouched(series)
            del self.open[entry["station"]]
            if entry.get("resumable"):
                self.stopped[entry["station"]] = series
            self.expect("tally", {"measured": 0, **entry["tally"]}, {name: series.tally()[name] for name in COUNTS})
            self.expect("visual checks", entry.get("looks"), series.look_tally())
            if said := entry.get("counts"):
                self.expect("counts", said, series.counts(said))
            if entry["outcome"] != "cut_short":
                self.expect("outcome", entry["outcome"], series.outcome())
                self.expect("counted", len(series.counted), series.spec["pieces"] * len(series.spec["axes"]))
                for by in {known["instrument"] for known in series.counted.values()} if series.spec["zero"]["closing"] else ():
                    self.expect(f"a good closing zero of {by}", series.zeros[by].closed, True)


def verify(folder, digest=None, trusted=None):
    """The verifier after the last line, and the bytes behind it that are no line yet; `None` without a journal."""
    files, verifier, unfinished = sorted(pathlib.Path(folder).glob("*.jsonl")), Verifier(trusted), b""
    for number, file in enumerate(files, int(files[0].stem) if files and files[0].stem.isdigit() else 1):
        verifier.expect("bytes behind the last line of a segment", len(unfinished), 0)
        verifier.expect("name of the segment", file.name, f"{number:08}.jsonl")
        *lines, unfinished = file.read_bytes().split(b"\n")
        for at, line in enumerate(lines):
            verifier.line(line, None if at else "begun" if number == 1 else "segment")
    verifier.end()
    if verifier.removed and digest != verifier.digests[verifier.removed]:
        verifier.fault("the segments before are missing, and no --digest says that they were removed")
    elif digest and digest not in verifier.digests.values():
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
        options.error(f"want .jsonl files in {given.folder}, and Ed25519 keys in FILE")
    verifier, unfinished = found
    print(*verifier.faults, sep="\n", end="\n" if verifier.faults else "")
    if unfinished:
        print(f"{len(unfinished)} bytes of a line that is being written, or was broken off by a crash")
    if verifier.removed:
        print(f"checked from entry {verifier.removed + 1} on; only the archive shows what was before")
    if verifier.keys:
        print(f"sealed up to entry {verifier.sealed} by {', '.join(verifier.keys)}")
    print(f"{len(verifier.faults)} faults" if verifier.faults else f"sound: {verifier.seq} entries; last {verifier.prev}")
    sys.exit(bool(verifier.faults))


if __name__ == "__main__":
    main()
