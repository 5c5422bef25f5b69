"""A day at a bench without a keyboard: scanner, caliper, force gauge and pedal, two operators, three terminals.

Usage: bench_day.py TALLYJAW

Every entry of the journal is listed here with its main fields. An additional or missing entry fails.
What goes wrong that day: a card that is none, a nest for another wire, a height measured askew and
retracted with the pedal, a power cut in the middle of a series, a width retracted by closing the jaws twice, and jaws with
a chip between them that put four readings in doubt.
"""

import json
import subprocess
import sys
import time

from bench import Bench, Feed, assert_chained

STATION = "bench-1"
INSTRUMENTS = ["caliper-1", "pull-1", "scanner-1", "pedal-1"]
GESTURE_S = 2.1  # two zeros closer than two seconds mean something

CONFIG = """
[daemon]
sheets = ["sheets.toml"]
plans = ["plans.toml"]
tools = "tools.toml"

[[station]]
name = "bench-1"

[[instrument]]
name = "caliper-1"
station = "bench-1"
kind = "caliper"
port = "{caliper-1}"
format = "decimal-line"
resolution = "0.01 mm"
max_error = "0.01 mm"
range = "0..150 mm"

[[instrument]]
name = "pull-1"
station = "bench-1"
kind = "force"
port = "{pull-1}"
format = "decimal-line"
unit = "N"
resolution = "0.5 N"
max_error = "2 N"
range = "0..1000 N"

[[instrument]]
name = "scanner-1"
station = "bench-1"
kind = "scanner"
port = "{scanner-1}"

[[instrument]]
name = "pedal-1"
station = "bench-1"
kind = "pedal"
port = "{pedal-1}"
does = "retract"
"""

SHEETS = """
[[terminal]]
id = "QF-250-F"
source = "maker's sheet, rev C"

[[terminal.row]]
wire = "2.0 mm²"
core_crimp_height = "1.62 ±0.05 mm"
core_crimp_width = "2.40 ±0.10 mm"
pull_force = ">= 180 N"

[[terminal]]
id = "RB-090-M"
source = "drawing 4711, sheet 2"

[[terminal.row]]
wire = "1.0 mm²"
core_crimp_height = "1.18 ±0.03 mm"
core_crimp_width = "1.60 ±0.08 mm"

[[terminal]]
id = "QF-187-F"
source = "maker's sheet, rev A"

[[terminal.row]]
wire = "1.0 mm²"
core_crimp_height = "1.30 ±0.05 mm"
"""

TOOLS = """
[[tool]]
id = "T-07"
class = "production"
terminals = ["QF-250-F", "RB-090-M"]

[[tool.nest]]
id = "1.0"
wires = ["1.0 mm²"]

[[tool.nest]]
id = "2.0"
wires = ["2.0 mm²"]

[[tool]]
id = "R-02"
class = "repair"

[[tool.nest]]
id = "red"
wires = ["1.0 mm²"]
"""

PLANS = """
[[plan]]
id = "pump-ref"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height", "core_crimp_width"]
order = "by_piece"
pieces = 2
purpose = "reference"

[[plan]]
id = "pump-own"
terminal = "QF-250-F"
wire = "14 ga"
sizing = "sae_metric"
axes = ["core_crimp_height", "core_crimp_width"]
order = "by_axis"
pieces = 3
purpose = "first_off"
tool = "T-07"
nest = "2.0"

[[plan]]
id = "valve-own"
terminal = "RB-090-M"
wire = "1.0 mm²"
axes = ["core_crimp_height", "core_crimp_width"]
order = "by_piece"
pieces = 2
purpose = "in_process"
tool = "T-07"
nest = "1.0"

[[plan]]
id = "lamp-repair"
terminal = "QF-187-F"
wire = "1.0 mm²"
axes = ["core_crimp_height"]
pieces = 2
purpose = "last_off"
tool = "R-02"
nest = "red"

[[plan]]
id = "pump-pull"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["pull_force"]
pieces = 5
purpose = "qualification"
tool = "T-07"
nest = "2.0"
"""

HEIGHT, WIDTH, FORCE = "core_crimp_height", "core_crimp_width", "pull_force"
LIMITS = {  # nominal and tolerance in micrometres; a minimum in newtons
    ("QF-250-F", HEIGHT): (1620, 50),
    ("QF-250-F", WIDTH): (2400, 100),
    ("QF-250-F", FORCE): 180,
    ("RB-090-M", HEIGHT): (1180, 30),
    ("RB-090-M", WIDTH): (1600, 80),
    ("QF-187-F", HEIGHT): (1300, 50),
}


class Day(Bench):
    """The bench, and its operators, who have no hand free for a keyboard."""

    def __init__(self, binary):
        files = {"sheets.toml": SHEETS, "tools.toml": TOOLS, "plans.toml": PLANS}
        self.set_up(binary, INSTRUMENTS, files, lambda ports: CONFIG.format(**ports))

    def open_up(self):
        """The daemon starts and opens every port, in any order."""
        self.feed.expect("started")
        attached = [self.feed.expect("attached", station=STATION)["instrument"] for _ in INSTRUMENTS]
        assert sorted(attached) == sorted(INSTRUMENTS), attached

    def scan(self, text):
        self.press(f"{text}\r\n".encode(), "scanner-1")

    def refused(self, text, reason):
        self.scan(text)
        entry = self.feed.expect("refused", station=STATION, instrument="scanner-1", said=text)
        assert reason in entry["reason"], f"want a reason with {reason!r}, got {entry}"
        assert entry["remedy"], entry

    def operator(self, who):
        self.scan(f"tj/operator/{who}")
        self.feed.expect("operator_said", station=STATION, operator=who, series=None)

    def tool(self, card, **fields):
        self.scan(f"tj/tool/{card}")
        self.feed.expect("tool_said", station=STATION, **fields)

    def arm(self, plan, operator, **fields):
        self.scan(f"tj/arm/{plan}")
        armed = self.feed.expect("armed", station=STATION, plan=plan, operator=operator, **fields)
        self.series, self.terminal, self.purpose = armed["seq"], armed["terminal"], armed["purpose"]
        return armed

    def zero(self, role, text="0.00", ok=True, instrument="caliper-1"):
        self.press(f"{text}\r".encode(), instrument)
        return self.feed.expect("zeroed", instrument=instrument, series=self.series, role=role, ok=ok)["seq"]

    def measure(self, piece, axis, text, verdict="pass", instrument="caliper-1"):
        """One reading: its slot, its limits, and its verdict."""
        frame = f"{text}\r".encode()
        self.press(frame, instrument)
        limits = LIMITS[self.terminal, axis]
        if axis == FORCE:
            judged = {"value_mn": round(float(text) * 1e3), "unit": "N", "lower_mn": limits * 1000, "upper_mn": None}
        else:
            nominal, tolerance = limits
            judged = {
                "value_nm": round(float(text) * 1e6), "unit": "mm", "nominal_nm": nominal * 1000,
                "lower_nm": (nominal - tolerance) * 1000, "upper_nm": (nominal + tolerance) * 1000,
                "deviation_nm": round(float(text) * 1e6) - nominal * 1000,
            }
        return self.feed.expect(
            "reading", station=STATION, instrument=instrument, series=self.series, terminal=self.terminal,
            purpose=self.purpose, piece=piece, axis=axis, verdict=verdict, standing="counted", raw=frame.hex(), **judged,
        )["seq"]

    def completed(self, outcome, passed, **others):
        tally = {"passed": passed, "failed": 0, "unsure": 0, "doubted": 0, "retracted": 0, "not_counted": 0, **others}
        self.feed.expect("completed", station=STATION, series=self.series, outcome=outcome, tally=tally)

    def prompt(self):
        return self.call("status")["state"]["stations"][0]["prompt"]


def reference_pieces(day):
    """Two pieces out of a known-good harness, without a tool."""
    day.operator("Ada")
    day.arm("pump-ref", operator="Ada", purpose="reference", terminal="QF-250-F", tool=None)
    day.zero("opening")
    for piece, height, width in [(1, "1.61", "2.41"), (2, "1.63", "2.38")]:
        day.measure(piece, HEIGHT, height)
        day.measure(piece, WIDTH, width)
    day.zero("closing")
    day.completed("accepted", passed=4)


def own_pieces(day):
    """A wrong nest, a slip and the pedal, a power cut, a wrong width and the jaws closed twice."""
    day.tool("T-07/2.0", tool="T-07", nest="2.0", as_planned=False, series=None)
    tool = {"id": "T-07", "class": "production", "nest": "2.0", "crimps": 0}
    day.arm("pump-own", operator="Ada", wire_mm2=2.0, tool=tool)
    day.zero("opening", "0.01")
    reason = f"wrong nest 1.0 of T-07: series {day.series} requires nest 2.0"
    day.refused("tj/tool/T-07/1.0", reason)
    day.measure(1, HEIGHT, "1.62")
    slip = day.measure(2, HEIGHT, "1.75", "fail_high")
    day.press(b"\0", "pedal-1")
    day.feed.expect("retracted", station=STATION, series=day.series, reading=slip, by="pedal")
    day.measure(2, HEIGHT, "1.64")

    day.kill()
    day.start()
    day.feed.connect(day)
    day.open_up()
    assert day.prompt() == "measure piece 3 of 3: core crimp height", day.prompt()

    day.measure(3, HEIGHT, "1.60")
    day.measure(1, WIDTH, "2.40")
    askew = day.measure(2, WIDTH, "2.44")
    day.zero("unasked")
    day.zero("unasked")
    day.feed.expect("retracted", station=STATION, series=day.series, reading=askew, by="double_zero")
    for piece, width in [(2, "2.42"), (3, "2.37")]:
        day.measure(piece, WIDTH, width)
    day.zero("closing")
    day.completed("accepted", passed=6, retracted=2)


def moved_zero(day):
    """A chip between the jaws: the closing zero is off, and puts the readings in doubt."""
    day.operator("Ben")
    day.tool("T-07/1.0", tool="T-07", nest="1.0", as_planned=False, series=None)
    armed = day.arm("valve-own", operator="Ben")
    assert armed["tool"]["crimps"] == 3, "each piece once, over slips and the power cut"
    day.zero("opening")
    pieces = [(1, "1.19", "1.61"), (2, "1.20", "1.62")]
    readings = [
        day.measure(piece, axis, text)
        for piece, height, width in pieces
        for axis, text in [(HEIGHT, height), (WIDTH, width)]
    ]
    day.zero("closing", "0.02", ok=False)
    doubted = day.feed.expect("doubted", station=STATION, series=day.series, readings=readings)
    assert "was 0.02 mm" in doubted["reason"], doubted
    time.sleep(GESTURE_S)
    day.zero("periodic")
    for piece, height, width in [(1, "1.17", "1.59"), (2, "1.18", "1.60")]:
        day.measure(piece, HEIGHT, height)
        day.measure(piece, WIDTH, width)
    day.zero("closing")
    day.completed("accepted", passed=4, doubted=4)


def repair(day):
    """A warning about a repair-class tool; one of its crimps is too high."""
    day.refused("tj/arm/lamp-repair", "T-07")  # it is still in the hand
    day.tool("R-02", tool="R-02", **{"class": "repair"}, as_planned=False, series=None)
    armed = day.arm("lamp-repair", operator="Ben", terminal="QF-187-F")
    assert any("R-02 is a repair-class tool" in warning for warning in armed["warnings"]), armed
    day.zero("opening")
    day.measure(1, HEIGHT, "1.34")
    day.measure(2, HEIGHT, "1.36", "fail_high")
    day.zero("closing")
    day.completed("rejected", passed=1, failed=1)


def pull_force(day):
    day.tool("T-07", tool="T-07", nest=None, as_planned=False, series=None)
    day.operator("Ada")
    armed = day.arm("pump-pull", operator="Ada")
    assert armed["tool"]["crimps"] == 5, "pieces measured again are the same crimps"
    day.zero("opening", "0.0", instrument="pull-1")
    for piece, force in enumerate(["201.5", "188.0", "194.5", "210.0", "186.5"], 1):
        day.measure(piece, FORCE, force, instrument="pull-1")
    day.zero("closing", "0.5", instrument="pull-1")
    day.completed("accepted", passed=5)


def main(binary):
    with Day(binary) as day:
        day.feed = Feed(day)
        day.feed.expect("begun")
        day.open_up()

        day.refused("4006381333931", "not one of our cards: got \"4006381333931\"")
        day.refused("tj/arm/pump-onw", "no plan \"pump-onw\"")
        reference_pieces(day)
        own_pieces(day)
        moved_zero(day)
        repair(day)
        pull_force(day)

        status = day.stop()
        assert status == 0, f"the daemon ended with {status}"
        day.feed.expect("stopped", reason="SIGTERM")
        lines = day.journal_lines()
        assert day.feed.seen == lines, "the feed is not, byte for byte, what the journal holds"
        assert_chained(lines)
        verified = subprocess.run(day.command("verify"), capture_output=True, text=True)
        assert verified.returncode == 0, verified
        listed = subprocess.run(day.command("tools") + ["--json"], capture_output=True, text=True, check=True)
        crimps = {tool["tool"]: tool["crimps"] for tool in map(json.loads, listed.stdout.splitlines())}
        assert crimps == {"T-07": 10, "R-02": 2}, crimps
        print(f"{len(lines)} entries, all as expected")


if __name__ == "__main__":
    main(sys.argv[1])
