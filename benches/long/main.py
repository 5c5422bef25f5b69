"""A long journal: time and memory of the commands that read it, as ratios to reading the same bytes.

Usage: main.py TALLYJAW [READINGS [PER_SERIES [BEFORE]]]

Makes a journal of READINGS (a million if not said) in series of PER_SERIES (ten) with an intact chain, zeros, jobs, operators
and two tools, in a folder of its own, and has each command read it from the page cache, RUNS times (three) in turns with
`cat` and `sha256sum` of the same files: without the index (a file stands in its place), and with it. Then a start, with a
full last segment. With BEFORE, another build, its times are printed too.
"""

import hashlib
import json
import os
import pathlib
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import time

TALLYJAW = os.path.abspath(sys.argv[1])
READINGS = int(sys.argv[2]) if len(sys.argv) > 2 else 1_000_000
PER_SERIES = int(sys.argv[3]) if len(sys.argv) > 3 else 10
BEFORE = os.path.abspath(sys.argv[4]) if len(sys.argv) > 4 else None
RUNS = int(os.environ.get("RUNS", "3"))
SEGMENT_BYTES = 8 * 1024 * 1024  # `journal::SEGMENT_BYTES`
JOURNAL = "00112233445566778899aabbccddeeff"
CONFIG = '[daemon]\nstate_dir = "state"\nruntime_dir = "run"\n\n[[station]]\nname = "bench-1"\n'
OPERATORS = ("Ada", "Ben", "Cleo")
SERIES_OF_A_JOB = 50


def armed_body():
    """The body of an `armed` entry for one axis, from the journal in tests/journals."""
    kept = pathlib.Path(__file__).resolve().parents[2] / "tests/journals/V1_A_SHORT_SERIES/journal"
    lines = (line for path in sorted(kept.iterdir()) for line in path.read_text().splitlines())
    body = json.loads(next(line for line in lines if '"kind":"armed"' in line))
    for key in ("v", "seq", "at", "kind", "prev"):
        del body[key]
    return body | {"axes": body["axes"][:1], "pieces": PER_SERIES, "warnings": []}


class Journal:
    """Writes lines with their numbers, times and digests."""

    def __init__(self, folder):
        self.folder = folder / "state" / "journal"
        self.folder.mkdir(parents=True)
        self.seq, self.prev, self.segment, self.bytes, self.file = 0, "0" * 64, 0, 0, None
        self.begin()

    def begin(self):
        if self.file:
            self.file.close()
        self.segment += 1
        self.bytes = 0
        self.file = open(self.folder / f"{self.segment:08}.jsonl", "wb", buffering=1 << 20)
        name = f'"journal":"{JOURNAL}"'
        if self.segment == 1:
            self.put("begun", name)
        else:
            state = f'{{{name},"last":{self.seq},"stations":{{}},"instruments":{{}}}}'
            self.put("segment", f'{name},"state":{state}')

    def put(self, kind, body):
        self.seq += 1
        second = self.seq // 4
        day, clock = second // 86_400, f"{second // 3600 % 24:02}:{second // 60 % 60:02}:{second % 60:02}"
        at = f"{2016 + day // 336}-{day // 28 % 12 + 1:02}-{day % 28 + 1:02}T{clock}.{self.seq % 4 * 250_000:06}Z"
        line = f'{{"v":1,"seq":{self.seq},"at":"{at}","kind":"{kind}","prev":"{self.prev}",{body}}}'.encode()
        self.prev = hashlib.sha256(line).hexdigest()
        self.file.write(line + b"\n")
        self.bytes += len(line) + 1


def make(folder):
    """Writes a journal whose last segment is full, and returns how many series it has, and one in the middle."""
    (folder / "tallyjaw.toml").write_text(CONFIG)
    journal, body = Journal(folder), armed_body()
    series, done, middle = 0, 0, 0
    while done < READINGS or journal.bytes < SEGMENT_BYTES * 0.95:
        if journal.bytes > SEGMENT_BYTES:
            journal.begin()
        series += 1
        job = series // SERIES_OF_A_JOB
        tool = ("R-02", "repair") if series % 100 == 0 else ("T-07", "production")
        armed = body | {
            "operator": OPERATORS[series % len(OPERATORS)],
            "job": {"id": f"J-{job}", "customer": f"customer {job % 40}"},
            "tool": {"id": tool[0], "class": tool[1], "nest": "2.0"},
        }
        journal.put("armed", json.dumps(armed, separators=(",", ":"), ensure_ascii=False)[1:-1])
        opened = journal.seq
        middle = opened if done < READINGS / 2 else middle
        where = f'"station":"bench-1","instrument":"caliper-1","series":{opened}'
        zero = where + ',"value_nm":0,"value":0.00,"unit":"mm","role":"{}","ok":true,"raw":"2b302e30300d"'
        journal.put("zeroed", zero.format("opening"))
        for piece in range(1, PER_SERIES + 1):
            done += 1
            bits = done * 2654435761 >> 7  # seven values, from the low bits of a product
            nm = 1_590_000 + 10_000 * (bits % 4 + (bits >> 9) % 4)
            journal.put("reading", f'{where},"piece":{piece},"axis":"core_crimp_height","terminal":"QF-250-F","wire_mm2":2.0,'
                        f'"purpose":"first_off","value_nm":{nm},"value":{nm / 1e6:.2f},"unit":"mm","nominal_nm":1620000,'
                        f'"lower_nm":1570000,"upper_nm":1670000,"deviation_nm":{nm - 1620000},"verdict":"pass",'
                        f'"standing":"counted","raw":"2b312e36330d"')
        journal.put("zeroed", zero.format("closing"))
        journal.put("completed", f'"station":"bench-1","series":{opened},"outcome":"accepted","tally":{{"passed":{PER_SERIES},'
                    '"failed":0,"unsure":0,"doubted":0,"retracted":0,"not_counted":0},"reservations":[]')
    journal.file.close()
    return done, series, middle, journal.segment


def run(folder, command):
    """Seconds, and the most memory in MB."""
    began = time.perf_counter()
    done = subprocess.Popen(command, cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    peak = 0
    while done.poll() is None:
        # not getrusage(2): that knows the larger of this program before it became the other, and of the other
        peak = max(peak, resident(done.pid))
        time.sleep(0.002)
    took = time.perf_counter() - began
    if done.returncode not in (0, 1):
        raise SystemExit(f"{command} ended with {done.returncode}: {done.stderr.read().decode()}")
    return took, peak / 1024


def resident(pid):
    """Peak memory of a process in KiB; 0 once it is gone."""
    try:
        with open(f"/proc/{pid}/status", encoding="ascii") as file:
            return next((int(line.split()[1]) for line in file if line.startswith("VmHWM:")), 0)
    except OSError:
        return 0


def start(folder, program):
    """Seconds from its start until the daemon says that it serves, on a copy of the last segments."""
    copy = folder / "copy"
    shutil.rmtree(copy, ignore_errors=True)
    (copy / "state/journal").mkdir(parents=True)
    shutil.copy(folder / "tallyjaw.toml", copy)
    for path in sorted((folder / "state/journal").iterdir())[-2:]:
        shutil.copy(path, copy / "state/journal")
    os.sync()
    began = time.perf_counter()
    command = [program, "--config", "tallyjaw.toml", "--json", "serve"]
    daemon = subprocess.Popen(command, cwd=copy, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    daemon.stdout.readline()
    took = time.perf_counter() - began
    daemon.send_signal(signal.SIGTERM)
    daemon.wait()
    return took, 0


def commands(program, middle):
    def ours(*arguments):
        return [program, "--config", "tallyjaw.toml", *arguments]

    return {
        "series": ours("series"),
        "series --limit 5": ours("series", "--limit", "5"),
        "series N": ours("series", str(middle)),
        "report N": ours("report", str(middle), "-o", "report.html"),
        "jobs": ours("jobs"),
        "jobs J": ours("jobs", "J-3"),
        "study describe": ours("study", "describe"),
        "study describe --tool R-02": ours("study", "describe", "--tool", "R-02"),
        "study chart": ours("study", "chart"),
        "export csv": ours("export", "csv"),
        "export csv --tool R-02": ours("export", "csv", "--tool", "R-02"),
        "verify": ours("verify"),
    }


def print_all(title, folder, asked):
    """Runs everything in turns, so that what else the machine does meets each of them."""
    only = os.environ.get("ONLY")
    asked = {name: what for name, what in asked.items() if not only or name in only.split(",") or name in ("cat", "sha256sum")}
    runs = {name: [] for name in asked}
    for _ in range(RUNS):
        for name, what in asked.items():
            runs[name].append(what() if callable(what) else run(folder, what))
    whole = statistics.median(took for took, _ in runs["cat"])
    print(f"\n{title:40} {'s':>8} {'MB':>6} {'× cat':>8}")
    for name, found in runs.items():
        took, peak = (statistics.median(column) for column in zip(*found))
        print(f"{name:40} {took:8.3f} {peak:6.0f} {took / whole:8.2f}", flush=True)


def main():
    with tempfile.TemporaryDirectory(dir=os.environ.get("TMPDIR")) as folder:
        folder = pathlib.Path(folder)
        readings, series, middle, segments = make(folder)
        files = sorted(str(path) for path in (folder / "state/journal").iterdir())
        size = sum(map(os.path.getsize, files))
        print(f"{readings} readings in {series} series, {size / 1e9:.2f} GB in {segments} segments, {os.cpu_count()} processors")
        bare = {"cat": ["cat", *files], "sha256sum": ["sha256sum", *files]}
        index = folder / "state/index"
        for program in filter(None, [BEFORE, TALLYJAW]):
            asked = commands(program, middle)
            index.write_text("in its place")
            print_all(f"{program}, without the index", folder, bare | asked)
            index.unlink()
            began = time.perf_counter()
            run(folder, asked["series N"])
            print(f"{'series N, which makes the index':40} {time.perf_counter() - began:8.3f}")
            starts = {"start, the last segment full": lambda program=program: start(folder, program)}
            print_all(f"{program}, with the index", folder, bare | asked | starts)
            shutil.rmtree(index)


main()
