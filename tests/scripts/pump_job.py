"""A job of the workshop for irrigation pumps, from the first card to the report that the customer gets.

Usage: pump_job.py TALLYJAW [FOLDER]

Three circuits of a pump's harness with two terminals: pieces out of a harness of the factory, then own pieces with visual
checks, and a pull test. Everything is said by scan cards; the caliper's calibration was due long ago, which stands
beside every ACCEPTED. With FOLDER, the reports are left there, to be looked at.
"""

import base64
import json
import pathlib
import shutil
import struct
import subprocess
import sys
import zlib

from bench import Bench, Feed, assert_chained

INSTRUMENTS = ["caliper-1", "pull-1", "scanner-1"]

CONFIG = """
[daemon]
sheets = ["sheets.toml"]
plans = ["plans.toml"]
tools = "tools.toml"
jobs = "jobs.csv"

[shop]
name = "Quellgrund Pump Harnesses"
address = ["Brunnenweg 4", "2601 Lindau am Bach"]
logo = "logo.svg"
page_size = "{paper}"
time_zone = "Europe/Vienna"

[page]
listen = "127.0.0.1:0"

[[station]]
name = "bench-1"

[[instrument]]
name = "caliper-1"
station = "bench-1"
kind = "caliper"
port = "{caliper-1}"
format = "decimal-line"
resolution = "0.01 mm"
max_error = "0.02 mm"
range = "0..150 mm"
serial = "20417-B"
certificate = "K 2018-0311"
maker_sheet = "DS-12, edition 3"
calibrated = "2018-11-20"
calibration_due = "2019-11-20"

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
serial = "F-0093"

[[instrument]]
name = "scanner-1"
station = "bench-1"
kind = "scanner"
port = "{scanner-1}"
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
wire = "0.5 mm²"
core_crimp_height = "0.98 ±0.05 mm"

[[terminal.row]]
wire = "1.0 mm²"
core_crimp_height = "1.18 ±0.05 mm"
core_crimp_width = "1.60 ±0.08 mm"
"""

TOOLS = """
[[tool]]
id = "T-07"
class = "production"
terminals = ["QF-250-F", "RB-090-M"]

[[tool.nest]]
id = "0.5"
wires = ["0.5 mm²"]

[[tool.nest]]
id = "1.0"
wires = ["1.0 mm²"]

[[tool.nest]]
id = "2.0"
wires = ["2.0 mm²"]
"""

ASKS = 'asks = ["operator", "job", "terminal_lot", "wire_lot", "tool"]'

PLANS = f"""
[[plan]]
id = "pump-ref"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height", "core_crimp_width"]
order = "by_piece"
pieces = 3
purpose = "reference"
asks = ["operator", "job"]

[[plan]]
id = "pump-own"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height", "core_crimp_width"]
order = "by_piece"
pieces = 5
purpose = "first_off"
tool = "T-07"
nest = "2.0"
looks = ["strands_in", "bellmouth"]
{ASKS}

[[plan]]
id = "valve-own"
terminal = "RB-090-M"
wire = "1.0 mm²"
axes = ["core_crimp_height", "core_crimp_width"]
order = "by_piece"
pieces = 5
purpose = "first_off"
tool = "T-07"
nest = "1.0"
looks = ["insulation_held"]
looks_per = "series"
{ASKS}

[[plan]]
id = "level-own"
terminal = "RB-090-M"
wire = "0.5 mm²"
axes = ["core_crimp_height"]
pieces = 5
purpose = "first_off"
tool = "T-07"
nest = "0.5"
looks = ["strands_whole"]
looks_per = "series"
{ASKS}

[[plan]]
id = "pump-pull"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["pull_force"]
pieces = 3
purpose = "qualification"
tool = "T-07"
nest = "2.0"
{ASKS}
"""

ORDER = ["pump-ref", "pump-own", "valve-own", "level-own", "pump-pull"]

JOBS = f"""job;customer;item;reference;plans
4711;Hof Aulinger;pump harness PH-20, rev C;order 88-2041;"{', '.join(ORDER)}"
4712;Gut Rosenau;pump harness PH-20, rev C;;"{', '.join(ORDER)}"
"""

LOGO = pathlib.Path(__file__).resolve().parent.parent.parent / "config" / "logo.svg"


class Job(Bench):
    """The bench, and an operator with a scanner in one hand and a caliper in the other."""

    def __init__(self, binary, paper="A4", more=""):
        files = {"sheets.toml": SHEETS, "tools.toml": TOOLS, "plans.toml": PLANS, "jobs.csv": JOBS,
                 "logo.svg": LOGO.read_text()}
        self.set_up(binary, INSTRUMENTS, files, lambda ports: CONFIG.format(paper=paper, **ports) + more)

    def scan(self, card, kind, **fields):
        """A card, and the entry that it makes."""
        self.press(f"tj/{card}\r\n".encode(), "scanner-1")
        return self.feed.expect(kind, station="bench-1", **fields)

    def refused(self, card, reason):
        entry = self.scan(card, "refused")
        assert reason in entry["reason"], f"want a reason with {reason!r}, got {entry}"

    def arm(self, plan):
        self.series = self.scan(f"arm/{plan}", "armed", plan=plan)["seq"]

    def zero(self, role, instrument="caliper-1"):
        self.press(b"0.00\r" if instrument == "caliper-1" else b"0.0\r", instrument)
        self.feed.expect("zeroed", series=self.series, role=role, ok=True)

    def measure(self, piece, axis, text, verdict="pass", instrument="caliper-1"):
        self.press(f"{text}\r".encode(), instrument)
        self.feed.expect("reading", series=self.series, piece=piece, axis=axis, verdict=verdict, standing="counted")

    def look(self, number, answer, piece=None):
        self.scan(f"look/{number}/{answer}", "looked", answer=answer, piece=piece)

    def completed(self, outcome, reservations=("calibration_overdue",)):
        entry = self.feed.expect("completed", station="bench-1", series=self.series, outcome=outcome)
        assert entry.get("reservations", []) == list(reservations), entry

    def tallyjaw(self, *arguments, status=0):
        """What a command prints; `status` is how it must end, `None` any way."""
        done = subprocess.run([*self.command(), *arguments], cwd=self.root, capture_output=True, text=True, check=False)
        assert status in (None, done.returncode), f"{arguments}: {done.returncode}, {done.stdout}{done.stderr}"
        return done.stdout


HEIGHT, WIDTH, FORCE = "core_crimp_height", "core_crimp_width", "pull_force"


def open_up(job):
    job.feed = Feed(job)
    job.feed.until("started")
    for _ in INSTRUMENTS:
        job.feed.expect("attached")


def factory_pieces(job):
    """What the factory did, measured with the same caliper."""
    job.arm("pump-ref")
    job.zero("opening")
    for piece, height, width in [(1, "1.61", "2.41"), (2, "1.63", "2.38"), (3, "1.62", "2.40")]:
        job.measure(piece, HEIGHT, height)
        job.measure(piece, WIDTH, width)
    job.zero("closing")
    job.completed("accepted")


def lots(job, terminal, wire, nest):
    job.scan(f"lot/terminal/{terminal}", "lot_said", lot=terminal)
    job.scan(f"lot/wire/{wire}", "lot_said", lot=wire)
    job.scan(f"tool/T-07/{nest}", "tool_said", tool="T-07", nest=nest)


def pump_circuit(job, bad=None):
    """Circuit 1: each piece is measured, then looked at; `bad` is a piece whose bellmouth is missing."""
    job.arm("pump-own")
    job.zero("opening")
    values = [("1.62", "2.41"), ("1.64", "2.39"), ("1.61", "2.42"), ("1.63", "2.40"), ("1.62", "2.38")]
    for piece, (height, width) in enumerate(values, 1):
        job.measure(piece, HEIGHT, height)
        job.measure(piece, WIDTH, width)
        job.look(1, "good", piece)
        job.look(2, "bad" if piece == bad else "good", piece)
    job.zero("closing")
    job.completed("rejected" if bad else "accepted")


def valve_circuit(job):
    """Circuit 2: the other terminal, one look at the series."""
    job.arm("valve-own")
    job.zero("opening")
    values = [("1.18", "1.61"), ("1.19", "1.59"), ("1.17", "1.60"), ("1.18", "1.62"), ("1.20", "1.60")]
    for piece, (height, width) in enumerate(values, 1):
        job.measure(piece, HEIGHT, height)
        job.measure(piece, WIDTH, width)
    job.look(1, "good")
    job.zero("closing")
    job.completed("accepted")


def level_circuit(job, other_wire=None):
    """Circuit 3: a thin wire; `other_wire` is a reel that is put on before piece 4."""
    job.arm("level-own")
    job.zero("opening")
    for piece, height in enumerate(["0.98", "0.99", "0.97", "0.98", "1.00"], 1):
        if piece == 4 and other_wire:
            job.scan(f"lot/wire/{other_wire}", "lot_said", lot=other_wire, series=job.series)
        job.measure(piece, HEIGHT, height)
    job.look(1, "good")
    job.zero("closing")
    job.completed("accepted")


def cross_section(number, width=640, height=420):
    """A drawn cross-section of a crimp as PNG: strands in a folded barrel, other tints for each number."""
    unit, rows = height // 14, []
    for top in range(height):
        row = bytearray([0])  # no filter
        for left in range(width):
            x, y = left - width // 2, top - height // 2
            out = x * x / 2.6 + y * y
            if out > (6 * unit) ** 2:
                row += bytes([236, 236, 232])
            elif out > (5 * unit) ** 2 or (y < -2 * unit and abs(x) < unit // 5):
                row += bytes([196, 172, 104])
            else:
                dx, dy = x % unit - unit // 2, y % unit - unit // 2
                tint = (x // unit * 7 + y // unit * 13 + number * 29) % 60
                is_strand = dx * dx + dy * dy < unit * unit // 4
                row += bytes([150 + tint, 96, 58] if is_strand else [70, 48, 34])
        rows.append(bytes(row))

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    parts = [chunk(b"IHDR", head), chunk(b"IDAT", zlib.compress(b"".join(rows))), chunk(b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


def cross_sections(job):
    """Three pieces of circuit 1 were cut and looked at, an hour after their outcome."""
    for piece in [1, 3, 5]:
        (job.root / f"cut-{piece}.png").write_bytes(cross_section(piece))
        job.tallyjaw("picture", f"cut-{piece}.png", "--series", job.own, "--piece", str(piece))
        job.feed.expect("pictured", series=int(job.own), piece=piece, file_name=f"cut-{piece}.png")


def pull_test(job):
    """The pieces that are destroyed; the force gauge is not overdue."""
    job.arm("pump-pull")
    job.zero("opening", "pull-1")
    for piece, (force, mode) in enumerate([("212.0", "broke_in_wire"), ("207.5", "pulled_out"), ("215.5", "broke_in_wire")], 1):
        job.measure(piece, FORCE, force, instrument="pull-1")
        job.scan(f"pulled/{mode}", "pulled", mode=mode)
    job.zero("closing", "pull-1")
    job.completed("accepted", ())


def whole_job(job):
    """All five series of job 4711."""
    job.refused("arm/pump-own", "")  # nothing was said yet
    job.scan("operator/Ada", "operator_said", operator="Ada")
    job.scan("job/4711/12", "job_said")
    factory_pieces(job)
    lots(job, "R-2031", "88-1407", "2.0")
    pump_circuit(job)
    lots(job, "R-0915", "88-1520", "1.0")
    valve_circuit(job)
    lots(job, "R-0915", "88-1533", "0.5")
    level_circuit(job)
    lots(job, "R-2031", "88-1407", "2.0")
    pull_test(job)


def reports(job, folder):
    """The report of the job, of one series, and a comparison; each is still as the journal has it."""
    made = {
        "job-4711": ["--job", "4711"],
        "job-4711-full": ["--job", "4711", "--full"],
        "pump-own": [job.own],
        "factory-and-own": ["--job", "4711", "--terminal", "QF-250-F", "--axis", HEIGHT, "--compare", "series"],
    }
    for name, arguments in made.items():
        job.tallyjaw("report", *arguments, "--out", f"{name}.html")
        said = job.tallyjaw("verify", f"{name}.html")
        assert "agrees with the journal" in said, said
        assert "the letterhead (Quellgrund Pump Harnesses, Brunnenweg 4, 2601 Lindau am Bach, logo (SVG" in said, said
        page = (job.root / f"{name}.html").read_text()
        for want in ["Quellgrund Pump Harnesses", "20417-B", "K 2018-0311", "2019-11-20, overdue", "Hof Aulinger"]:
            assert want in page, f"{name}: no {want!r}"
        logo = page.split('<img class="logo" src="data:image/svg+xml;base64,')[1].split('"')[0]
        assert b"<svg" in base64.b64decode(logo)
        assert page.count('<img class="logo"') == 1, "the logo is in the page once"
        assert page.count('<img class="copy"') == 3, "and so is each picture"
        drawings = {"job-4711-full": 4}.get(name, 0)
        assert page.count('<svg class="drawing"') == drawings, f"{name}: want {drawings} drawings of visual checks"
        if folder:
            shutil.copy(job.root / f"{name}.html", folder)
    config = job.root / "tallyjaw.toml"
    config.write_text(config.read_text().replace('"A4"', '"Letter"'))
    job.tallyjaw("report", "--job", "4711", "--out", "job-4711-letter.html")
    letter = (job.root / "job-4711-letter.html").read_text()
    assert "@page { size: Letter; " in letter and "@page { size: A4; " in page
    if folder:
        shutil.copy(job.root / "job-4711-letter.html", folder)
    page = (job.root / "job-4711.html").read_text()
    assert ">Job 4711, pump harness PH-20, rev C<" in page
    assert "5 accepted (4 of them with reservations)" in page
    full = (job.root / "job-4711-full.html").read_text()
    (job.root / "other.html").write_text(full.replace('<path d="M86 33c-3', '<path d="M86 33c-4', 1))
    assert "drawing of visual check 1" in job.tallyjaw("verify", "other.html", status=1)
    other = page.replace("Hof Aulinger", "Hof Auliger", 1)
    (job.root / "other.html").write_text(other)
    assert "differs" in job.tallyjaw("verify", "other.html", status=1)


def main():
    folder = pathlib.Path(sys.argv[2]) if len(sys.argv) > 2 else None
    if folder:
        folder.mkdir(parents=True, exist_ok=True)
    job = Job(str(pathlib.Path(sys.argv[1]).resolve()))
    with job:
        open_up(job)
        whole_job(job)
        listed = [json.loads(line) for line in job.tallyjaw("--json", "jobs", "4711").splitlines()]
        assert [one["armed"]["plan"] for one in listed] == ORDER
        job.own = str(listed[1]["series"])
        cross_sections(job)
        reports(job, folder)
        assert job.stop() == 0
        assert_chained(job.journal_lines())
    print("pump_job: five series of a job by cards alone, and their reports")


if __name__ == "__main__":
    main()
