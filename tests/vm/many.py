"""What is seldom, often enough to be seen: one adapter plugged and pulled a hundred times, the power cut twenty times.

    many.py ARCHITECTURE CACHE KERNEL_VERSION BINARY LOGS

TALLYJAW_VM_PLUGS and TALLYJAW_VM_CUTS are other numbers, TALLYJAW_VM_SEED other moments. Nothing that was sent whole and
shown may be missing from the journal, whose chain must hold.
"""

import json
import os
import pathlib
import random
import statistics
import sys

import initramfs
from machine import Failed
from scenarios import booted, equal, make_disk, plug
from shop import PLANS, Shop, by_serial

ONE_SERIES = PLANS.replace("pieces = 20", "pieces = 10000")
MOST_KB = 24 * 1024  # of memory, on the smallest computer that a bench has
SEED = int(os.environ.get("TALLYJAW_VM_SEED", 1))


def number(name, usual):
    return int(os.environ.get(f"TALLYJAW_VM_{name}", usual))


def frame(count):
    """A line of its own for each reading, within the limits; and the value that is in it."""
    return b"+1.6%04d\r" % count, 1_600_000 + count * 10


def entries_of(lines, kind):
    return [entry for entry in map(json.loads, lines) if entry["kind"] == kind]


def plugged_and_pulled(machine, times):
    """In any socket, pulled in mid-frame every other time. Returns the number of readings."""
    chance = random.Random(SEED)
    shop = Shop(machine, "many", by_serial("CAL-A"))
    machine.write(f"{shop.folder}/plans.toml", ONE_SERIES)
    shop.start()
    sent, halves = [], []
    for turn in range(times):
        caliper = machine.plug("a", "CAL-A", chance.randint(1, 15))
        shop.wait_for("attached")
        if turn == 0:
            series = shop.arm()
        half = chance.choice([b"", b"+1.6"])
        for last in [False] * chance.randint(0, 2) + [True]:
            text, value = frame(len(sent))
            sent.append(value)
            caliper.send(text + (half if last else b""))  # one transfer: with the reading, the half frame has come too
            shop.wait_for("reading", value_nm=value)
        halves += [half] if half else []
        machine.unplug("a")
        shop.wait_for("detached")
    most_kb = int(machine.must(f"sed -n 's/^VmHWM:[^0-9]*\\([0-9]*\\) kB/\\1/p' /proc/$(cat {shop.folder}/pid)/status"))
    assert most_kb <= MOST_KB, f"the daemon had {most_kb} kB of memory, want at most {MOST_KB}"
    shop.stop()
    kept = shop.journal()
    readings = entries_of(kept, "reading")
    equal([entry["value_nm"] for entry in readings], sent)
    equal({(entry["series"], entry["standing"]) for entry in readings}, {(series, "counted")})
    equal([bytes.fromhex(entry["raw"]) for entry in entries_of(kept, "unread")], halves)
    equal([len(entries_of(kept, kind)) for kind in ["attached", "detached"]], [times, times])
    equal(shop.tallyjaw("verify")[0], 0)
    print(f"vm: plugged and pulled {times} times, {len(halves)} times in mid-frame: {len(sent)} readings sent and kept; "
          f"the daemon had {most_kb} kB of memory at most", flush=True)


class Cuts:
    """A series that goes on over cuts of the power at any moment."""

    def __init__(self):
        self.chance = random.Random(SEED)
        self.announced = []
        self.sent = 0
        self.cuts = 0
        self.witnesses_lost = 0
        self.ready_after_s = []  # each with nothing of the program in memory yet

    def go_on(self, machine, until_cut):
        """Looks at what the last cut left and measures on. Leaves the machine to be cut, if so, in the midst of it."""
        first = self.cuts == 0
        shop = Shop(machine, "cuts", by_serial("CAL-A"), made=not first)
        if first:
            shop.configure(by_serial("CAL-A"))
            machine.write(f"{shop.folder}/plans.toml", ONE_SERIES)
            machine.must("sync")  # the shop's files; nothing is synced from here on but by the daemon
        else:
            kept = shop.journal()
            equal(kept[: len(self.announced)], self.announced)
            self.witnesses_lost += machine.run(f"[ -s {shop.folder}/witness-{self.cuts} ]")[0]
        caliper = plug(machine, "a", "CAL-A", self.chance.randint(1, 15), "ttyUSB0")
        shop.start()
        self.ready_after_s.append(shop.ready_after_s)
        shop.starts = len(entries_of(shop.journal(), "started"))
        shop.wait_for_new("attached")
        if first:
            shop.arm()
        if until_cut:
            self.cuts += 1
            machine.must(f"echo not synced >{shop.folder}/witness-{self.cuts}")
        for _ in range(self.chance.randint(1, 12)):
            self.press(caliper)
            while self.came(shop) == "unread":
                self.press(caliper)  # as the remedy says: measure that piece again
        if not until_cut:
            shop.stop()
            self.look_at_all(shop)
            return
        burst = self.chance.randint(1, 40)
        caliper.send(b"".join(self.next_frame() for _ in range(burst)))
        for _ in range(self.chance.randint(0, burst)):  # the others are on their way when the power goes
            if self.came(shop) == "unread":
                break
        machine.process.kill()
        machine.process.wait()
        late = [line.decode() for line in machine.feed.now().split(b"\n")[:-1]]
        self.announced = shop.lines + [line for line in late if "prev" in json.loads(line)]

    def press(self, caliper):
        caliper.send(self.next_frame())

    @staticmethod
    def came(shop):
        """The kind of what a press became. A busy host stops the whole machine for seconds, and what comes then is `unread`."""
        while True:
            entry = shop.next()
            if entry["kind"] == "reading":
                return "reading"
            if entry["kind"] == "unread":
                if "stood still" not in entry["reason"]:
                    raise Failed(f"a whole frame was not read: {entry}")
                return "unread"

    def next_frame(self):
        self.sent += 1
        return frame(self.sent)[0]

    def look_at_all(self, shop):
        kept = shop.journal()
        readings = entries_of(kept, "reading")
        equal({entry["series"] for entry in readings}, {readings[0]["series"]})
        counted = [entry["piece"] for entry in readings if entry["standing"] == "counted"]
        equal(counted, list(range(1, len(counted) + 1)))
        values = [entry["value_nm"] for entry in readings]
        equal(values, sorted(set(values)))  # each frame is another one: none twice, none of another's bytes
        equal(shop.tallyjaw("verify")[0], 0)
        if self.witnesses_lost == 0:
            raise Failed("no file that was not synced was lost by any cut, so nothing was shown")
        print(f"vm: {self.cuts} power cuts, {len(self.announced)} entries announced before the last, {len(kept)} in the journal after it; "
              f"{self.sent} readings sent, {len(counted)} counted; {self.witnesses_lost} files that were not synced were lost; "
              f"the daemon was ready after {statistics.median(self.ready_after_s):.1f} s in the median, {max(self.ready_after_s):.1f} s at most", flush=True)


def main():
    architecture, cache, version, binary, logs = sys.argv[1:]
    archive = initramfs.build(cache, version, binary)
    kernel = initramfs.kernel_image(cache, version)
    pathlib.Path(logs).mkdir(parents=True, exist_ok=True)
    disk = pathlib.Path(logs) / "disk"
    make_disk(disk)
    cuts = Cuts()
    with booted(kernel, archive, disk, f"{logs}/plugs", architecture) as machine:
        plugged_and_pulled(machine, number("PLUGS", 100))
    times = number("CUTS", 20)
    for turn in range(times + 1):
        with booted(kernel, archive, disk, f"{logs}/cut-{turn}", architecture) as machine:
            cuts.go_on(machine, until_cut=turn < times)


if __name__ == "__main__":
    main()
