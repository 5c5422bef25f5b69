#!/usr/bin/env python3
"""Reads every kept journal on Linux and with the program for Windows: what is printed, how it ends and each file that is made
must be the same, byte for byte. Only the mark between folders differs in names, and a report has the time at which it was made.
What one of them has made, the other verifies.

    same.py LINUX WINDOWS

The zone is that of the configuration, by name: Linux finds its rules in files of the system, Windows in the program.
"""
import concurrent.futures
import datetime
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[2]
ZONE = 'time_zone = "America/St_Johns"'
TODAY = [(datetime.datetime.now(datetime.timezone.utc) + datetime.timedelta(days=day)).strftime("%Y-%m-%d") for day in (-1, 0, 1)]
NOW = re.compile(rb"(%s)[ T]\d\d:\d\d(:\d\d(\.\d+)?)?" % "|".join(TODAY).encode())


def folder_of(journal, at):
    """The example's configuration with this journal, without the programs and files that are looked for on the bench only."""
    shutil.copytree(ROOT / "config", at, ignore=shutil.ignore_patterns("service", "start", "demo"))
    text = (at / "tallyjaw.toml").read_text()
    text = re.sub(r"(?m)^(state_dir|runtime_dir|time_zone|announce) *=.*\n", "", text)
    text = re.sub(r"(?ms)^\[\[sink\]\].*?(?=^\[|\Z)", "", text)
    text = text.replace("[daemon]\n", '[daemon]\nstate_dir = "state"\nruntime_dir = "run"\n', 1)
    text = text.replace("[shop]\n", f"[shop]\n{ZONE}\n", 1) if "[shop]\n" in text else f"{text}\n[shop]\n{ZONE}\n"
    (at / "tallyjaw.toml").write_text(text)
    shutil.copytree(journal, at / "state", ignore=shutil.ignore_patterns("expected.jsonl"))


def run(program, at, words):
    environment = {**os.environ, "NO_COLOR": "1"}
    environment.pop("TALLYJAW_CONFIG", None)
    done = subprocess.run([program, *words], cwd=at, env=environment, capture_output=True, timeout=300, check=False)
    return done.returncode, done.stdout, done.stderr


def plain(text, at):
    """With the mark between folders that Linux has, from this folder on, without the time of now and the system's own words."""
    text = text.replace(b"\\\\", b"/").replace(b"\\", b"/")
    text = re.sub(rb": [^:]* \(os error \d+\)", b": ERROR OF THE SYSTEM", text)
    return NOW.sub(b"NOW", re.sub(b"(Z:)?%s" % re.escape(str(at).encode()), b"HERE", text))


def commands(series):
    yield from ("check", "plans", "tools", "jobs", "jobs --json", "runs", "runs --json", "qualified", "qualified --json")
    yield from ("series", "series --json", "verify", "verify --json", "cards -o cards.html", "wire 2.0mm2", "schema entry")
    yield "export csv -o rows.csv"
    yield "export jsonl -o lines.jsonl"
    yield "export parquet -o rows.parquet"
    yield from ("export csv", "export jsonl")
    yield from ("verify rows.csv", "verify lines.jsonl", "verify rows.parquet")
    yield from ("study describe", "study describe --json", "study capability", "study chart --svg chart.svg", "study pull")
    for one in series:
        yield f"series {one}"
        yield f"series {one} --json"
        yield f"report {one} -o report-{one}.html"
        yield f"report {one} --full --checkable -o full-{one}.html"
        yield f"verify report-{one}.html"
        yield f"label --series {one} -o label-{one}.html"
    yield "archive kept"
    yield "verify kept"
    yield "archive kept --restore again/state"
    yield "no-such-command"


def files_in(at):
    """But for the index, which only the bench has, and the number of the process that made a state folder."""
    return {str(path.relative_to(at)): path.read_bytes() for path in sorted(at.rglob("*")) if path.is_file() and "index" not in path.parts and path.name != "lock"}


def compared(journal, linux, windows, scratch):
    """The faults of one journal, and the number of commands."""
    places = [scratch / "linux" / journal.name, scratch / "windows" / journal.name]
    for place in places:
        folder_of(journal, place)
    faults, count = [], 0
    listed = run(linux, places[0], ["series", "--json"])[1]
    series = re.findall(rb'"series":(\d+)', listed)
    series = [one.decode() for one in dict.fromkeys(series)][:2]
    for command in commands(series):
        count += 1
        words = command.split()
        here, there = (run(program, place, words) for program, place in zip((linux, windows), places))
        for what, one, other in zip(("exit status", "standard output", "standard error"), here, there):
            if what != "exit status":
                one, other = (plain(part, place) for part, place in zip((one, other), places))
            if one != other:
                faults.append(f"{journal.name}: {command}: {what}\n  Linux:   {one!r}\n  Windows: {other!r}")
    here, there = (files_in(place) for place in places)
    if set(here) != set(there):
        faults.append(f"{journal.name}: files of one alone: {sorted(set(here) ^ set(there))}")
    for name in set(here) & set(there):
        one, other = (NOW.sub(b"NOW", files[name]) for files in (here, there))
        if one != other:
            at = len(os.path.commonprefix([one, other]))
            parts = [text[max(at - 60, 0) : at + 60] for text in (one, other)]
            faults.append(f"{journal.name}: {name} differs at byte {at}: {parts}")
    for name in here:
        if re.match(r"(report-.*html|rows\.\w+|lines\.jsonl)$", name):
            for program, made, at in ((linux, there, places[0]), (windows, here, places[1])):
                count += 1
                beside = f"{name}.question.json"
                (at / f"other-{name}").write_bytes(made[name])
                if beside in made:
                    (at / f"other-{beside}").write_bytes(made[beside])
                code, out, err = run(program, at, ["verify", f"other-{name}"])
                if code != 0:
                    faults.append(f"{journal.name}: {name} of the other system does not verify: {code} {out!r} {err!r}")
    return faults, count


def main():
    linux, windows = (str(pathlib.Path(path).resolve()) for path in sys.argv[1:3])
    journals = sorted((ROOT / "tests/journals").iterdir())
    with tempfile.TemporaryDirectory() as scratch, concurrent.futures.ThreadPoolExecutor(2) as pool:
        found = list(pool.map(lambda journal: compared(journal, linux, windows, pathlib.Path(scratch)), journals))
    faults = [fault for faults, _ in found for fault in faults]
    print("\n".join(faults))
    print(f"office: {len(journals)} journals, {sum(count for _, count in found)} commands, {len(faults)} differences")
    assert len(journals) > 10
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
