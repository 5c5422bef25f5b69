"""Exports many readings: time, size and peak memory of each format, and the ratio of the time to a baseline.

Usage: main.py TALLYJAW [READINGS]     (a million if not said; needs duckdb, see benches/study/requirements.txt)

The baseline of `jsonl` is cat, that of `csv` and `parquet` is a columnar engine that reads the same lines, keeps
what is a reading and writes all its fields in the same format. It uses every core and as much memory as there is;
we use one. It follows no series and sees no reading that was doubted or retracted later.
"""

import os
import sys
import tempfile
import time

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "tests", "scripts"))
import made_journal

TALLYJAW = os.path.abspath(sys.argv[1])
READINGS = int(sys.argv[2]) if len(sys.argv) > 2 else 1_000_000
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


def measured(command):
    """Seconds, and the peak memory in MB; no figure can be below what this small program holds itself."""
    began = time.perf_counter()
    process = os.posix_spawn(command[0], command, os.environ)
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
            took, peak = measured([TALLYJAW, "--config", config, "export", format, "-o", ours])
            other, other_peak = measured(baseline(journal, theirs))
            print(f"{format:8} {took:6.2f} s, {os.path.getsize(ours) / 1e6:6.1f} MB, at most {peak:4.0f} MB resident;  "
                  f"baseline {other:6.2f} s, {os.path.getsize(theirs) / 1e6:6.1f} MB, {other_peak:4.0f} MB;  "
                  f"ratio {took / other:.2f}", flush=True)


main()
