"""The bridge from the gauge's pins to the journal: simulated gauge, emulated firmware, pseudo-terminal, tallyjaw.

Usage: bridge.py TALLYJAW COMMAND…

COMMAND runs a scenario on the emulated board, see hardware-notes/bridge/emulator.mjs. Timing and layouts of frames are
those of hardware-notes, written down here once more and on their own: common practice, from memory.
"""

import csv
import io
import json
import os
import random
import subprocess
import sys
from decimal import Decimal

from bench import SHEET, Bench, Feed, assert_chained

FRAMES = 1_000

CONFIG = """
[daemon]
state_dir = "state"
runtime_dir = "run"
sheets = ["sheets/*.toml"]
plans = ["plans/*.toml"]

[[station]]
name = "bench-1"

[[instrument]]
name = "caliper-1"
station = "bench-1"
kind = "caliper"
port = "{port}"
format = "word24-hex"
resolution = "0.01 mm"
max_error = "0.02 mm"
range = "0..150 mm"
capture = "press"
bounce = "0 ms"
"""

PLAN = """
[[plan]]
id = "pump-own"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = {pieces}
purpose = "in_process"
decision = "simple"
zero = {{ before_first = false, closing = false }}
"""


def low_first(number, count):
    return "".join(str(number >> bit & 1) for bit in range(count))


def word24(steps, inch=False, minus=False):
    """The word of this many steps, as a number."""
    return abs(steps) | (minus or steps < 0) << 20 | inch << 23


def bcd13(steps, decimals, inch=False):
    """The thirteen digits, as text."""
    return f"FFFF{8 if steps < 0 else 0}{abs(steps):06}{decimals}{int(inch)}"


class Gauge:
    """What is to happen on the pins, and the lines that must come of it."""

    def __init__(self, *straps):
        self.steps = [f"strap {pin}" for pin in straps]
        self.lines = []

    def says(self, bits, line, low=120, high=280):
        """A frame at some speed, and silence."""
        self.steps += [f"bits {low} {high} {bits}", "wait 40000"]
        if line is not None:
            self.lines.append(line)

    def word(self, word, **speed):
        self.says(low_first(word, 24), f"{word:06X}", **speed)

    def run(self, emulator):
        return subprocess.Popen(emulator, stdin=subprocess.PIPE, stdout=subprocess.PIPE)

    def send_to(self, process):
        process.stdin.write("\n".join(self.steps).encode() + b"\n")
        process.stdin.close()

    def heard(self, emulator):
        """All that comes out of the board's port."""
        process = self.run(emulator)
        self.send_to(process)
        output = process.stdout.read()
        assert process.wait() == 0, f"the emulator ended with {process.returncode}"
        return output.decode().split("\r")[:-1]


def requests(emulator):
    """A gauge that sends when it is requested to: by the button, and by the computer."""
    gauge = Gauge()
    for number, (ask, steps) in enumerate([("button 1", 163), ("type ?", -163), ("button 1", 99_999)]):
        gauge.steps += ["request 0", "button 0", "wait 30000", ask, "wait 30000", "request 1"]
        digits = bcd13(steps, number + 2)
        gauge.says("".join(low_first(int(digit, 16), 4) for digit in digits), digits, low=200, high=400)
    gauge.steps += ["request 0", "button 0", "wait 30000", "button 1", "wait 3000", "button 0", "wait 30000", "request 0"]
    gauge.steps += ["type ?", "wait 450000", "request 1", "wait 100000", "request 0"]
    heard = gauge.heard(emulator)
    assert heard == gauge.lines, f"want {gauge.lines}, got {heard}"


def two_words(emulator):
    """A gauge of two words, a port that is closed for a while, a cable that goes out and in, and a program that hangs."""
    gauge = Gauge(7)
    for absolute, relative, open_ in [(0xFD7, 0x522, True), (0, 0xFFFFF8, False), (0x7FFFFF, 0x800000, True)]:
        gauge.steps.append(f"port {int(open_)}")
        gauge.says(low_first(absolute, 24) + low_first(relative, 24), f"{absolute:06X}{relative:06X}" if open_ else None)
    gauge.steps += ["pulse 100000", "wait 40000", "hang"]
    gauge.lines.append("?001")
    heard = gauge.heard(emulator)
    assert heard == gauge.lines, f"want {gauge.lines}, got {heard}"


def thousand(seed):
    """The gauge's story, and what the journal must say of it: of each frame its kind, its value in nm and its line."""
    chance = random.Random(seed)
    gauge = Gauge(6)
    want = []
    readings = 0
    for number in range(1, FRAMES + 1):
        speed = {"low": chance.randint(60, 300), "high": 2 * chance.randint(30, 250)}
        what = chance.random() if want else 1
        if number % 100 == 50:  # the key for the unit was pressed: 0.0605 to 0.0660 in
            steps = chance.randint(121, 132)
            gauge.word(word24(steps, inch=True), **speed)
            want.append(("reading", steps * 12_700, gauge.lines[-1]))
        elif number % 100 == 60:  # jaws closed from above
            gauge.word(word24(0, minus=True), **speed)
            want.append(("zeroed", 0, gauge.lines[-1]))
        elif number % 100 == 70:  # or a step too far
            gauge.word(word24(-1), **speed)
            want.append(("zeroed", -10_000, gauge.lines[-1]))
        elif what < 0.02 and want[-1][0] != "unread":  # a contact that is bad for a moment; two in a row would be one entry
            bits = low_first(word24(163), 24)[: chance.randint(1, 23)]
            gauge.says(bits, f"?{len(bits):03}", **speed)
            want.append(("unread", None, gauge.lines[-1]))
        else:
            steps = chance.randint(150, 175)
            bits = low_first(word24(steps), 24)
            if what < 0.1:  # a glitch on the clock, before or within the frame
                at = chance.randint(0, 23)
                bits = bits[:at] + "~" + bits[at:]
            gauge.says(bits, f"{word24(steps):06X}", **speed)
            want.append(("reading", steps * 10_000, gauge.lines[-1]))
        readings += want[-1][0] == "reading"
    return gauge, want, readings


class Port(Bench):
    """A bench at which the emulated board is the instrument."""

    def __init__(self, binary, pieces):
        files = {"sheets/pump.toml": SHEET, "plans/pump.toml": PLAN.format(pieces=pieces)}
        self.set_up(binary, ["caliper-1"], files, lambda ports: CONFIG.format(port=ports["caliper-1"]))


def through_tallyjaw(binary, emulator, seed):
    gauge, want, readings = thousand(seed)
    with Port(binary, readings) as bench:
        feed = Feed(bench)
        feed.until("attached")
        bench.call("arm", station="bench-1", plan="pump-own")
        board = gauge.run(emulator)
        gauge.send_to(board)
        sent = 0
        while packet := os.read(board.stdout.fileno(), 4096):
            sent += len(packet)
            while packet:
                packet = packet[os.write(bench.ends["caliper-1"][0], packet) :]
        assert board.wait() == 0, f"the emulator ended with {board.returncode}"
        completed = feed.until("completed")
        assert bench.stop() == 0
        lines = bench.journal_lines()
        assert_chained(lines)
        got = []
        for entry in map(json.loads, lines):
            if entry["kind"] in ("reading", "zeroed", "unread"):
                got.append((entry["kind"], entry.get("value_nm"), bytes.fromhex(entry["raw"]).decode().rstrip("\r")))
        for number, (expected, found) in enumerate(zip(want, got)):
            assert found == expected, f"seed {seed}: frame {number}: want {expected}, got {found}"
        assert len(got) == len(want), f"seed {seed}: {len(want)} frames, {len(got)} entries"
        subprocess.run(bench.command("verify"), check=True, capture_output=True)
        rows = subprocess.run(bench.command("export", "csv", str(completed["series"])), check=True, capture_output=True).stdout
        exported = [Decimal(row["value_mm"]) * 1_000_000 for row in csv.DictReader(io.StringIO(rows.decode("utf-8-sig")))]
        assert exported == [value for kind, value, _ in want if kind == "reading"], f"seed {seed}: {exported}"
        print(f"bridge: {len(want)} frames, {sent} bytes, {readings} readings of one series: all as shown, none lost, none double")


def main(binary, *emulator):
    requests(emulator)
    two_words(emulator)
    seed = int(os.environ.get("SEED") or random.randrange(1 << 32))
    through_tallyjaw(binary, emulator, seed)


if __name__ == "__main__":
    main(*sys.argv[1:])
