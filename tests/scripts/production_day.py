"""A day of production: 1,200 crimps at two stations with a sample every 100, counted by two counters on real ports.

Usage: production_day.py TALLYJAW

One sample fails. Exactly the crimps since the last good sample are held, although the daemon is killed and the clock set
back before that sample. A person settles them. What the runs and the report say is then counted again here from the lines
of the journal, crimp by crimp, by code that shares nothing with tallyjaw's.
"""

import collections
import html
import json
import os
import pathlib
import re
import subprocess
import sys

from bench import Bench, Feed, assert_chained

STATIONS = ["bench-1", "bench-2"]
EVERY = 100
CRIMPS = 600  # at each station
BAD_AFTER = 400  # the sample of bench-1 after this many crimps fails
GOOD_MM, BAD_MM = [1.62, 1.63], [1.62, 1.74]

CONFIG = """
[daemon]
sheets = ["sheets.toml"]
plans = ["plans.toml"]
"""

STATION = """
[[station]]
name = "{station}"

[[instrument]]
name = "caliper-{station}"
station = "{station}"
kind = "caliper"
port = "{caliper}"
format = "decimal-line"
resolution = "0.01 mm"

[[instrument]]
name = "counter-{station}"
station = "{station}"
kind = "counter"
port = "{counter}"

[[run]]
id = "day-{station}"
first_off = "first-{station}"
in_process = "sample-{station}"
last_off = "last-{station}"
every_crimps = 100
every_minutes = 240
"""

SHEETS = """
[[terminal]]
id = "QF-250-F"
source = "made up"

[[terminal.row]]
wire = "2.0 mm²"
core_crimp_height = "1.62 ±0.05 mm"
"""

PLAN = """
[[plan]]
id = "{id}"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = 2
purpose = "{purpose}"
zero = {{ before_first = true, closing = false }}
"""


def files():
    plans = ""
    for station in STATIONS:
        for part, purpose in [("first", "first_off"), ("sample", "in_process"), ("last", "last_off")]:
            plans += PLAN.format(id=f"{part}-{station}", purpose=purpose)
    return {"sheets.toml": SHEETS, "plans.toml": plans}


def configuration(ports):
    of_stations = [
        STATION.format(station=station, caliper=ports[f"caliper-{station}"], counter=ports[f"counter-{station}"])
        for station in STATIONS
    ]
    return CONFIG + "".join(of_stations)


class Day(Bench):
    """The shop, with a wall clock that can be set."""

    def __init__(self, binary):
        names = [f"{kind}-{station}" for station in STATIONS for kind in ("caliper", "counter")]
        self.set_up(binary, names, files(), configuration)
        shim = pathlib.Path(__file__).parents[1] / "shims" / "clock_set.c"
        library = self.root / "clock_set.so"
        subprocess.run(["cc", "-shared", "-fPIC", "-o", library, shim, "-ldl"], check=True)
        self.clock = self.root / "clock"
        self.environment = dict(os.environ, LD_PRELOAD=str(library), CLOCK_SET=str(self.clock), TZ="UTC")

    def start(self):
        self.daemon = subprocess.Popen(self.command("serve"), env=self.environment)

    def set_clock(self, seconds):
        self.clock.write_text(str(seconds))

    def production(self, station):
        states = self.call("status")["state"]["stations"]
        return next(state for state in states if state["station"] == station)

    def run(self, *arguments, code=0):
        done = subprocess.run(self.command(*arguments), capture_output=True, text=True)
        assert done.returncode == code, f"{arguments}: {done.returncode}\n{done.stdout}{done.stderr}"
        return done.stdout

    def crimp(self, feed, station, crimps):
        """The counter sends a line for each crimp; all are entered before this returns."""
        os.write(self.ends[f"counter-{station}"][0], b"crimp\r\n" * crimps)
        counted = 0
        while counted < crimps:
            entry = feed.until("crimped")
            assert entry["station"] == station and entry["instrument"] == f"counter-{station}", entry
            counted += entry["crimps"]
        assert counted == crimps, f"{counted} of {crimps} crimps were counted"

    def sample(self, feed, station, part, values):
        """Measures a sample behind a good zero; returns its outcome."""
        self.call("arm", station=station, plan=f"{part}-{station}")
        self.press(b"+0.00\r", f"caliper-{station}")
        feed.until("zeroed")
        for value in values:
            self.press(f"+{value:.2f}\r".encode(), f"caliper-{station}")
            feed.until("reading")
        return feed.until("completed")["outcome"]


def recounted(lines):
    """Each run of a journal crimp by crimp: what became of it, by the rules as the operator's page has them."""
    runs, opened, samples, held = {}, {}, {}, {}
    for line in lines:
        entry = json.loads(line)
        kind, seq, station = entry["kind"], entry["seq"], entry.get("station")
        run = runs.get(opened.get(station))
        if kind == "armed" and "sample" in entry:
            samples[seq] = {"part": entry["sample"]["part"], "before": None, "id": entry["sample"]["production_run"]["id"]}
        elif kind == "reading" and entry.get("standing") == "counted" and entry.get("series") in samples:
            sample = samples[entry["series"]]
            if sample["before"] is None and run is not None:
                sample["before"] = len(run["crimps"])
        elif kind == "completed" and entry["series"] in samples and run is not None:
            sample, tally = samples[entry["series"]], entry["tally"]
            assert sample["id"] == run["id"], "another run's sample"
            if tally["failed"] > 0:
                run["crimps"] = ["held" if fate == "open" else fate for fate in run["crimps"]]
                run["bad"] = True
            elif entry["outcome"] == "accepted" and tally["doubted"] == 0:
                to = "held" if run["bad"] else "vouched"
                before = len(run["crimps"]) if sample["before"] is None else sample["before"]
                for at, fate in enumerate(run["crimps"][:before]):
                    run["crimps"][at] = to if fate == "open" else fate
                run["bad"] = False
                if sample["part"] == "last_off":
                    run["crimps"] = ["held" if fate == "open" else fate for fate in run["crimps"]]
        elif kind == "run_opened":
            runs[seq] = {"id": entry["production_run"]["id"], "crimps": [], "bad": False, "settled": collections.Counter()}
            opened[station] = seq
        elif kind == "crimped" and run is not None:
            assert entry["run"] == opened[station], entry
            run["crimps"] += ["open"] * entry["crimps"]
        elif kind == "held":
            run = runs[entry["run"]]
            named = run["crimps"][entry["first_crimp"] - 1 : entry["last_crimp"]]
            assert set(named) == {"held"}, f"entry {seq} holds {named}"
            held[seq] = entry
        elif kind == "settled":
            runs[entry["run"]]["settled"][entry["settlement"]] += entry["crimps"]
        elif kind == "run_closed":
            del opened[station]
    return runs


def counts(run):
    fates = collections.Counter(run["crimps"])
    settled = run["settled"]
    return {
        "crimps": len(run["crimps"]),
        "vouched": fates["vouched"],
        "held": fates["held"] - sum(settled.values()),
        "released": settled["release"],
        "reworked": settled["rework"],
        "scrapped": settled["scrap"],
        "open": fates["open"],
    }


def reported(page):
    """The counts in a report's data for programs, and those in its table as a reader sees them."""
    data = re.search(r'<script type="application/json"[^>]*>(.*?)</script>', page, re.S).group(1)
    table = re.search(r'<table class="counts">.*?</table>', page, re.S).group(0)
    cells = [html.unescape(re.sub(r"<[^>]*>", "", cell)).strip() for cell in re.findall(r"<td.*?</td>", table, re.S)]
    return json.loads(data)["run"], [int(cell) for cell in cells]


def main():
    with Day(sys.argv[1]) as day:
        feed = Feed(day)
        for _ in day.ends:
            feed.until("attached")  # what a port was sent before is thrown away when it is opened
        for station in STATIONS:
            assert day.sample(feed, station, "first", GOOD_MM) == "accepted"
            feed.expect("run_opened", station=station)
        for done in range(0, CRIMPS, EVERY):
            for station in STATIONS:
                day.crimp(feed, station, EVERY - 12)
                state = day.production(station)
                assert state["production"]["open"]["says"] == "12 of 100 crimps until the next sample", state
                assert state["prompt"].startswith("12 of 100 crimps until the next sample"), state["prompt"]
                is_bad = station == "bench-1" and done + EVERY == BAD_AFTER
                if is_bad:
                    # A power cut, and a clock that is set back by three hours, before the sample that fails.
                    day.kill()
                    day.start()
                    feed.connect(day)
                    for _ in day.ends:
                        feed.until("attached")
                    day.set_clock(-3 * 3600)
                    day.call("note", station=station, text="the clock is wrong")
                    feed.until("clock_stepped")
                day.crimp(feed, station, 12)
                state = day.production(station)
                assert state["prompt_kind"] == "sample" and state["production"]["open"]["due"], state
                is_last = done + EVERY == CRIMPS
                part = "last" if is_last else "sample"
                outcome = day.sample(feed, station, part, BAD_MM if is_bad else GOOD_MM)
                assert outcome == ("rejected" if is_bad else "accepted"), outcome
                if is_bad:
                    first, last = BAD_AFTER - EVERY + 1, BAD_AFTER
                    held = feed.expect("held", station=station, first_crimp=first, last_crimp=last, cause="bad_sample")
                    bad_run = held["run"]
                    assert "100 crimps held" in day.production(station)["prompt"]
                    day.run("runs", str(bad_run), code=1)  # something is held
                    assert day.sample(feed, station, "sample", GOOD_MM) == "accepted"  # mended
        day.run("settle", "scrap", "--crimps", "3", "--reason", "barrel cracked", "--station", "bench-1")
        day.run("settle", "release", str(held["seq"]), "--reason", "each measured", "--station", "bench-1")
        lines = day.journal_lines()
        assert_chained(lines)
        runs = recounted(lines)
        said = {run["run"]: run for run in map(json.loads, day.run("runs", "--json").splitlines())}
        assert sorted(runs) == sorted(said) and len(runs) == 2
        assert sum(len(run["crimps"]) for run in runs.values()) == 2 * CRIMPS
        for number, run in runs.items():
            want = counts(run)
            got = {name: said[number][name] for name in want}
            assert got == want, f"run {number}: {got}, want {want}"
            assert want["held"] == want["open"] == 0
            page = day.root / f"run-{number}.html"
            day.run("report", "--run", str(number), "--out", str(page))
            data, table = reported(page.read_text())
            assert {name: data[name] for name in want} == want, data
            assert table == list(want.values()), table
            day.run("verify", str(page))
        assert counts(runs[bad_run]) == {
            "crimps": 600, "vouched": 500, "held": 0, "released": 97, "reworked": 0, "scrapped": 3, "open": 0,
        }
        day.run("verify")
        # The counts of a report cannot be changed.
        page.write_text(page.read_text().replace(">600<", ">599<", 1))
        assert "differs" in day.run("verify", str(page), code=1)
        assert day.stop() == 0


main()
