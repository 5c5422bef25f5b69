"""Exports many readings: time, size and peak memory of each format, and the ratio of the time to a baseline.

Usage: main.py TALLYJAW [READINGS [BEFORE]]     (a million if not said; needs duckdb, see benches/study/requirements.txt)

The baseline of `jsonl` is cat, that of `csv` and `parquet` is a columnar engine that reads the same lines, keeps
what is a reading and writes all its fields in the same format. Both use every core; the engine follows no series and sees
no reading that was doubted or retracted later. None of the programs makes its file durable: ours writes to standard output,
since with -o it would wait for the disk. With BEFORE, another build, its ratio is printed too.

RUNS runs of each, in turns (seven if the variable is not set); ratios are of medians.
"""

import os
import statistics
import sys
import tempfile
import time

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [os.path.join(HERE, "..", "ratio"), os.path.join(HERE, "..", "..", "tests", "scripts")]
import made_journal
import turns

TALLYJAW = os.path.abspath(sys.argv[1])
READINGS = int(sys.argv[2]) if len(sys.argv) > 2 else 1_000_000
BEFORE = os.path.abspath(sys.argv[3]) if len(sys.argv) > 3 else None
RUNS = int(os.environ.get("RUNS", "7"))
ENGINE = """
import duckdb, sys
lines, target, how = sys.argv[1:]
duckdb.sql(f"COPY (SELECT * FROM read_json('{lines}', format = 'newline_delimited') WHERE kind = 'reading') "
           f"TO '{target}' ({how})")
"""
BASELINES = {
    "jsonl": lambda lines, target: ["/bin/sh", "-c", 'cat "$0" > "$1"', lines, target],
    "csv": lambda lines, target: [sys.executable, "-c", ENGINE, lines, target, "FORMAT csv, HEADER"],
    "parquet": lambda lines, target: [sys.executable, "-c", ENGINE, lines, target, "FORMAT parquet, COMPRESSION zstd"],
}


def measured(command, target="/dev/null"):
    """Seconds, and the peak memory in MB; no figure can be below what this small program holds itself. Standard output goes
    to `target`, which is emptied before."""
    opened = [(os.POSIX_SPAWN_OPEN, 1, target, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)]
    began = time.perf_counter()
    process = os.posix_spawn(command[0], command, os.environ, file_actions=opened)
    _, status, used = os.wait4(process, 0)
    took = time.perf_counter() - began
    if status != 0:
        raise SystemExit(f"{command}: status {status}")
    return took, used.ru_maxrss / 1024


def main():
    with tempfile.TemporaryDirectory(dir=os.environ.get("TMPDIR")) as folder:
        journal = made_journal.make(folder, READINGS)
        config = os.path.join(folder, "tallyjaw.toml")
        print(f"{READINGS} readings, {os.path.getsize(journal) / 1e6:.0f} MB of lines, {os.cpu_count()} cores")
        print(f"at least {measured(['/bin/true'])[1]:.0f} MB is seen of any process")
        for format, baseline in BASELINES.items():
            ours, theirs = (os.path.join(folder, f"{who}.{format}") for who in ("ours", "theirs"))
            export = lambda program: lambda: measured([program, "--config", config, "export", format], ours)
            # emptied before it is timed, as ours is: to write over a file costs less
            other = lambda: open(theirs, "w").close() or measured(baseline(journal, theirs))
            runs = turns.in_turns(RUNS, export(TALLYJAW), other, *([export(BEFORE)] if BEFORE else []))
            times = [[took for took, _ in one] for one in runs]
            peaks = [max(peak for _, peak in one) for one in runs]
            print(f"{format:8} {statistics.median(times[0]):6.2f} s, {os.path.getsize(ours) / 1e6:6.1f} MB, "
                  f"at most {peaks[0]:4.0f} MB resident;  "
                  f"baseline {statistics.median(times[1]):6.2f} s, {os.path.getsize(theirs) / 1e6:6.1f} MB, {peaks[1]:4.0f} MB;  "
                  f"ratio {turns.words(times[0], times[1])}", flush=True)
            if BEFORE:
                print(f"{'':8} the other build {statistics.median(times[2]):6.2f} s, {peaks[2]:4.0f} MB;  "
                      f"ratio {turns.words(times[0], times[2])}", flush=True)


main()
