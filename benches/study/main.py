"""Summary of many readings: `tallyjaw study` against a columnar engine on the same lines, as a ratio.

Usage: main.py TALLYJAW [READINGS [BEFORE]]     (needs duckdb, see requirements.txt)

Makes a journal of READINGS (ten million if not said) entries in a folder of its own, by repeating a series
with new numbers; both read it from the page cache. The engine reads only the columns it needs and does the
same sums; that it cannot see which readings were doubted or retracted is to its favour. Both use every core. With BEFORE,
another build, its ratio is printed too. RUNS runs of each, in turns (seven if the variable is not set).
"""

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time

import duckdb

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "ratio"))
import turns

TALLYJAW = os.path.abspath(sys.argv[1])
READINGS = int(sys.argv[2]) if len(sys.argv) > 2 else 10_000_000
BEFORE = os.path.abspath(sys.argv[3]) if len(sys.argv) > 3 else None
RUNS = int(os.environ.get("RUNS", "7"))
PIECES = 1000
CONFIG = '[daemon]\nstate_dir = "state"\nruntime_dir = "run"\n[[station]]\nname = "bench-1"\n'
PREV = "0" * 64


def lines(armed):
    """The entries of a journal, in order. They have no chain, because it is not verified."""
    seq = 0

    def head(kind):
        nonlocal seq
        seq += 1
        second = seq // 1000
        clock = f"{second // 3600 % 24:02}:{second // 60 % 60:02}:{second % 60:02}"
        return f'{{"v":1,"seq":{seq},"at":"2026-11-25T{clock}.{seq % 1000 * 1000:06}Z","kind":"{kind}","prev":"{PREV}",'

    yield head("begun") + '"journal":"00112233445566778899aabbccddeeff"}\n'
    for done in range(0, READINGS, PIECES):
        yield head("armed") + armed
        series = seq
        for piece in range(1, PIECES + 1):
            # a triangle of 13 values, from the low bits of a product
            bits = (done + piece) * 2654435761 >> 7
            steps = bits % 7 + (bits >> 9) % 7
            nm = 1_560_000 + 10_000 * steps
            yield (f'{head("reading")}"station":"bench-1","instrument":"caliper-1","series":{series},"piece":{piece},'
                   f'"axis":"core_crimp_height","terminal":"QF-250-F","wire_mm2":2.0,"purpose":"in_process",'
                   f'"value_nm":{nm},"value":{nm / 1e6:.2f},"unit":"mm","nominal_nm":1620000,"lower_nm":1570000,'
                   f'"upper_nm":1670000,"deviation_nm":{nm - 1620000},"verdict":"pass","standing":"counted",'
                   f'"raw":"2b312e36330d"}}\n')
        yield (f'{head("completed")}"station":"bench-1","series":{series},"outcome":"accepted",'
               f'"tally":{{"passed":{PIECES},"failed":0,"unsure":0,"doubted":0,"retracted":0,"not_counted":0}}}}\n')


def armed_of(folder):
    """The body of an `armed` line for QF-250-F, from the journal in tests/journals."""
    here = os.path.dirname(os.path.abspath(__file__))
    kept = os.path.join(here, "..", "..", "tests", "journals", "V1_A_SHORT_SERIES", "journal")
    for name in sorted(os.listdir(kept)):
        with open(os.path.join(kept, name), encoding="utf-8") as file:
            for line in file:
                if '"kind":"armed"' in line:
                    return line[line.index('"prev"') + 7 + 66 + 1:]
    raise SystemExit("no armed entry in tests/journals")


def make(folder):
    journal = os.path.join(folder, "state", "journal")
    os.makedirs(journal)
    with open(os.path.join(folder, "tallyjaw.toml"), "w", encoding="utf-8") as file:
        file.write(CONFIG)
    path = os.path.join(journal, "00000001.jsonl")
    with open(path, "w", encoding="utf-8") as file:
        file.writelines(lines(armed_of(folder)))
    return path


def ours(folder, program):
    began = time.perf_counter()
    done = subprocess.Popen([program, "study", "describe", "--json", "--config", "tallyjaw.toml"], cwd=folder,
                            stdout=subprocess.PIPE, text=True)
    peak = 0
    while done.poll() is None:
        # not getrusage(2): that knows the larger of this program before it became the other, and of the other
        peak = max(peak, resident(done.pid))
        time.sleep(0.01)
    took = time.perf_counter() - began
    if done.returncode != 0:
        raise SystemExit(f"tallyjaw ended with {done.returncode}")
    return took, json.loads(done.stdout.read()), peak


def resident(pid):
    """Peak memory of a process in KiB; 0 once it is gone."""
    try:
        with open(f"/proc/{pid}/status", encoding="ascii") as file:
            return next((int(line.split()[1]) for line in file if line.startswith("VmHWM:")), 0)
    except OSError:
        return 0


def theirs(path):
    began = time.perf_counter()
    columns = "columns = {kind: 'VARCHAR', value_nm: 'BIGINT', standing: 'VARCHAR'}"
    row = duckdb.sql(
        f"SELECT count(*), avg(value_nm), stddev_samp(value_nm), min(value_nm), max(value_nm), "
        f"quantile_cont(value_nm, [0.25, 0.5, 0.75]) FROM read_ndjson('{path}', {columns}) "
        f"WHERE kind = 'reading' AND standing = 'counted'").fetchall()[0]
    return time.perf_counter() - began, row


def main():
    with tempfile.TemporaryDirectory(dir=os.environ.get("TMPDIR")) as folder:
        path = make(folder)
        size = os.path.getsize(path)
        programs = [lambda: ours(folder, TALLYJAW), lambda: theirs(path)]
        if BEFORE:
            programs.append(lambda: ours(folder, BEFORE))
        runs = turns.in_turns(RUNS, *programs)
        mine, (count, mean, sd, low, high, _) = runs[0][0][1], runs[1][0][1]
        same = [(mine["n"], count), (mine["mean"], mean / 1e6), (mine["sd"], sd / 1e6),
                (mine["min"], low / 1e6), (mine["max"], high / 1e6)]
        for got, want in same:
            if abs(got - want) > 1e-9 * abs(want):
                raise SystemExit(f"the engine gives {want}, we give {got}")
        times = [[run[0] for run in one] for one in runs]
        peak = max(run[2] for run in runs[0]) / 1024
        print(f"{count} readings, {size / 1e9:.1f} GB of lines, {os.cpu_count()} cores")
        print(f"tallyjaw study describe  {statistics.median(times[0]):6.2f} s, at most {peak:.0f} MB resident")
        print(f"columnar engine          {statistics.median(times[1]):6.2f} s")
        print(f"ratio                    {turns.words(times[0], times[1])}")
        if BEFORE:
            print(f"the other build          {statistics.median(times[2]):6.2f} s, ratio {turns.words(times[0], times[2])}")


main()
