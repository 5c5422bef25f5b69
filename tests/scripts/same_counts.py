"""The same question put to everything that can answer it: the counts must be the same.

Usage: same_counts.py TALLYJAW      (run by engines.sh, which installs duckdb and polars; needs mosquitto)

Two jobs of two customers are measured by cards, with a rejected series among them. Then the readings of a customer, of a job
and of a wire lot are counted by this program from the journal's lines, and by: `series`, `study`, `export` as CSV, lines and
Parquet, the data set by two engines, the entries at the broker, and the page.
"""

import collections
import csv
import json
import pathlib
import socket
import subprocess
import sys
import urllib.request

import duckdb
import polars

import pump_job
from pump_job import Job

HEIGHT = pump_job.HEIGHT
QUESTIONS = [
    ("customer", "Hof Aulinger"), ("customer", "Gut Rosenau"), ("customer", "Hof"),
    ("job", "4711"), ("job", "4712"), ("job", "471"),
    ("wire-lot", "88-1407"), ("wire-lot", "88-1533"), ("wire-lot", "88-2000"), ("wire-lot", "88"),
]
SINKS = """
[[sink]]
name = "lake"
kind = "parquet"
folder = "lake"
every = "1 s"

[[sink]]
name = "plant"
kind = "mqtt"
broker = "mqtt://127.0.0.1:{port}"
"""

Reading = collections.namedtuple("Reading", "seq series axis counted customer job wire_lot opened_with")


def readings(entries):
    """Every reading of a series, with what was said of its work; from entries in their order."""
    work, lots, opened, rows, lost = {}, {}, {}, [], set()
    for entry in entries:
        kind = entry["kind"]
        if kind == "armed":
            work[entry["seq"]] = entry.get("job", {})
            opened[entry["seq"]] = lots[entry["seq"]] = entry.get("wire_lot")
        elif kind == "lot_said" and entry.get("series") and entry["material"] == "wire":
            lots[entry["series"]] = entry["lot"]
        elif kind == "reading" and entry.get("series"):
            series = entry["series"]
            job = work[series]
            rows.append(Reading(entry["seq"], series, entry["axis"], entry["standing"] == "counted", job.get("customer"),
                                job.get("id"), lots[series], opened[series]))
        elif kind == "retracted":
            lost.add(entry["reading"])
        elif kind == "doubted":
            lost.update(entry["readings"])
    return [row._replace(counted=row.counted and row.seq not in lost) for row in rows]


def answers(rows, key, value):
    return {row.seq: row for row in rows if getattr(row, key.replace("-", "_")) == value}


class Broker:
    """A broker, and everything that it was given."""

    def __init__(self, folder):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.folder = pathlib.Path(folder)

    def __enter__(self):
        config = self.folder / "mosquitto.conf"
        config.write_text(f"listener {self.port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n")
        log = (self.folder / "mosquitto.log").open("w")
        self.broker = subprocess.Popen(["mosquitto", "-c", config], stdout=log, stderr=log)
        # It waits for the broker itself, and is subscribed before the daemon starts: it gets its own first message.
        while True:
            self.reader = subprocess.Popen(["mosquitto_sub", "-p", str(self.port), "-V", "mqttv5", "-q", "1", "-v",
                                            "-t", "tallyjaw/entries/#", "-t", "here"], stdout=subprocess.PIPE, text=True)
            said = subprocess.run(["mosquitto_pub", "-p", str(self.port), "-t", "here", "-m", "here", "-r"],
                                  capture_output=True, check=False)
            if said.returncode == 0 and self.reader.stdout.readline():
                return self
            assert self.broker.poll() is None, (self.folder / "mosquitto.log").read_text()
            self.reader.kill()
            self.reader.wait()

    def __exit__(self, *_):
        for process in (self.reader, self.broker):
            process.kill()
            process.wait()

    def up_to(self, seq):
        """The entries with their numbers, each once, up to this one."""
        found = {}
        while seq not in found:
            line = self.reader.stdout.readline()
            assert line, f"the broker ended before entry {seq}"
            topic, text = line.split(" ", 1)
            if topic != "here":
                entry = json.loads(text)
                found.setdefault(entry["seq"], entry)
        return [found[seq] for seq in sorted(found)]


def two_customers(job):
    """Job 4711 as a whole; of job 4712 a series that is accepted, one rejected, and one whose wire is changed."""
    pump_job.open_up(job)
    pump_job.whole_job(job)
    job.scan("job/4712/1", "job_said")
    pump_job.lots(job, "R-2031", "88-1407", "2.0")
    pump_job.pump_circuit(job)
    pump_job.pump_circuit(job, bad=3)
    pump_job.lots(job, "R-0915", "88-1533", "0.5")
    pump_job.level_circuit(job, other_wire="88-2000")


def same(surface, question, got, want):
    if got != want:
        raise SystemExit(f"{surface}, {' '.join(question)}: got {got}, want {want}")


def rows_of_csv(path):
    with open(path, encoding="utf-8-sig", newline="") as file:
        return len(list(csv.DictReader(file)))


def by_commands(job, question, want):
    option, value = f"--{question[0]}", question[1]
    listed = [json.loads(line) for line in job.tallyjaw("--json", "series", option, value, status=None).splitlines()]
    same("series", question, sorted({one["series"] for one in listed}), sorted({row.series for row in want.values()}))
    heights = [row for row in want.values() if row.axis == HEIGHT and row.counted]
    if heights:
        said = json.loads(job.tallyjaw("--json", "study", "describe", "--deviation", "--axis", HEIGHT, option, value).splitlines()[0])
        same("study", question, said["n"], len(heights))
    job.tallyjaw("export", "csv", option, value, "--out", "out.csv", "--force", status=None)
    same("CSV", question, rows_of_csv(job.root / "out.csv"), len(want))
    job.tallyjaw("export", "jsonl", option, value, "--out", "out.jsonl", "--force", status=None)
    lines = [json.loads(line) for line in (job.root / "out.jsonl").read_text().splitlines()]
    same("lines", question, sorted(line["seq"] for line in lines if line["kind"] == "reading"), sorted(want))
    job.tallyjaw("export", "parquet", option, value, "--out", "out.parquet", "--force", status=None)
    path = job.root / "out.parquet"
    same("Parquet", question, duckdb.sql(f"SELECT count(*) FROM read_parquet('{path}')").fetchall()[0][0], len(want))
    for name in ["out.csv", "out.csv.question.json", "out.jsonl", "out.jsonl.question.json", "out.parquet"]:
        (job.root / name).unlink(missing_ok=True)


def by_engines(job, question, want):
    column = question[0].replace("-", "_")
    files = f"{job.root}/lake/*/*/*.parquet"
    found = duckdb.execute(f"SELECT seq FROM read_parquet('{files}') WHERE {column} = ?", [question[1]]).fetchall()
    same("data set, duckdb", question, sorted(seq for seq, in found), sorted(want))
    frame = polars.scan_parquet(files).filter(polars.col(column) == question[1]).select("seq").collect()
    same("data set, polars", question, sorted(frame["seq"].to_list()), sorted(want))


def of_page(address, series):
    """The readings of a series as the page gives them, with what was said of its work."""
    with urllib.request.urlopen(f"http://{address}/series/{series}") as answer:
        found = json.load(answer)
    job = found["armed"].get("job", {})
    return [(job.get("customer"), job.get("id"), found["armed"].get("wire_lot"))] * len(found["readings"])


def main():
    job = Job(str(pathlib.Path(sys.argv[1]).resolve()))
    with Broker(job.root) as broker:
        config = job.root / "tallyjaw.toml"
        config.write_text(config.read_text() + SINKS.format(port=broker.port))
        with job:
            two_customers(job)
            entries = [json.loads(line) for line in job.journal_lines()]
            all_rows = readings(entries)
            pages = [row for entry in entries if entry["kind"] == "armed"
                     for row in of_page(job.call("status")["page"], entry["seq"])]
            assert job.stop() == 0
            entries = [json.loads(line) for line in job.journal_lines()]
            published = readings(broker.up_to(entries[-1]["seq"]))
            for question in QUESTIONS:
                want = answers(all_rows, *question)
                by_commands(job, question, want)
                by_engines(job, question, want)
                same("broker", question, answers(published, *question), want)
                # a series of the page names the wire that it was opened with
                at = ["customer", "job", "wire-lot"].index(question[0])
                whole = answers(all_rows, "opened_with", question[1]) if at == 2 else want
                same("page", question, len([row for row in pages if row[at] == question[1]]), len(whole))
                print(f"{question[0]} {question[1]}: {len(want)} readings everywhere")
            assert {row.customer for row in all_rows} == {"Hof Aulinger", "Gut Rosenau"}
    print(f"same_counts: {len(all_rows)} readings, {len(QUESTIONS)} questions, the same everywhere")


if __name__ == "__main__":
    main()
