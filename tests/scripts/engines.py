"""Compares exports, read by two independent query engines, with the lines of the journal.

Usage: engines.py TALLYJAW [READINGS]      (run by engines.sh, which installs duckdb and polars)

Counts and exact sums by station, job, customer, wire lot, axis, verdict and standing must be equal: computed from the lines by this program,
and from CSV and Parquet by both engines. Every text must be equal too. A file that an engine has saved again, with
snappy and without our metadata, is verified against a stored journal.
"""

import collections
import csv
import datetime
import decimal
import json
import os
import shutil
import subprocess
import sys
import tempfile
import unicodedata

import duckdb
import polars

import made_journal

TALLYJAW = os.path.abspath(sys.argv[1])
READINGS = int(sys.argv[2]) if len(sys.argv) > 2 else 200_000
KEYS = ["station", "operator", "job", "customer", "wire_lot", "axis", "unit", "verdict", "standing"]


def tallyjaw(folder, *arguments):
    done = subprocess.run([TALLYJAW, "--config", "tallyjaw.toml", *arguments], cwd=folder, capture_output=True,
                          text=True, check=False)
    if done.returncode != 0:
        raise SystemExit(f"{arguments}: {done.stderr}")


def of_lines(path):
    """Counts of each group from the journal, with sums of nanometres and millinewtons."""
    operators, jobs, lots, of, rows, later = {}, {}, {}, {}, {}, {}
    with open(path, encoding="utf-8", newline="") as file:
        for line in file:
            entry = json.loads(line)
            if entry["kind"] == "armed":
                operators[entry["seq"]] = entry["operator"]
                jobs[entry["seq"]] = entry.get("job", {})
                lots[entry["seq"]] = entry.get("wire_lot")
            elif entry["kind"] == "lot_said":
                lots[entry["series"]] = entry["lot"]
            elif entry["kind"] == "reading":
                rows[entry["seq"]] = entry
                of[entry["seq"]] = lots.get(entry.get("series"))
            elif entry["kind"] == "doubted":
                later |= {seq: "doubted" for seq in entry["readings"]}
            elif entry["kind"] == "retracted":
                later[entry["reading"]] = "retracted"
    groups = collections.defaultdict(lambda: (0, 0, 0))
    for seq, row in rows.items():
        standing = later.get(seq, row["standing"])
        job = jobs.get(row.get("series"), {})
        key = (row["station"], operators.get(row.get("series")), job.get("id"), job.get("customer"), of[seq],
               row.get("axis"), row["unit"], row.get("verdict"), standing)
        count, nm, mn = groups[key]
        groups[key] = (count + 1, nm + row.get("value_nm", 0), mn + row.get("value_mn", 0))
    return dict(groups)


def same(name, got, want):
    if got != want:
        keys = [key for key in got.keys() | want.keys() if got.get(key) != want.get(key)]
        raise SystemExit(f"{name}: {keys[0]}: got {got.get(keys[0])}, want {want.get(keys[0])}; {len(keys)} differ")
    print(f"{name}: {sum(count for count, _, _ in got.values())} readings in {len(got)} groups, equal to the journal")


def unguarded(text):
    """The rule about the apostrophe in the docs and `export --help`."""
    if text is not None and len(text) > 1 and text[0] == "'" and text[1] in "=+-@\t\r\n'":
        return text[1:]
    return text


def groups(rows, guarded):
    clean = unguarded if guarded else (lambda text: text)
    out = {}
    for *key, count, nm, mn in rows:
        key = tuple(clean(part) for part in key)
        out[key] = (count, int(nm or 0), int(mn or 0))
    return out


def duckdb_parquet(path):
    rows = duckdb.sql(f"SELECT {', '.join(KEYS)}, count(*), sum(value_nm), sum(value_mn) "
                      f"FROM read_parquet('{path}') GROUP BY ALL").fetchall()
    exact = duckdb.sql(f"SELECT count(*) FILTER (WHERE value_nm != value_mm * 1000000), "
                       f"count(*) FILTER (WHERE value_mn != value_n * 1000), typeof(any_value(at_utc)) "
                       f"FROM read_parquet('{path}')").fetchall()[0]
    if exact != (0, 0, "TIMESTAMP WITH TIME ZONE"):
        raise SystemExit(f"duckdb: decimals that are not the whole numbers, or times of another type: {exact}")
    return groups(rows, False)


def polars_parquet(path):
    frame = polars.read_parquet(path)
    types = {name: frame.schema[name] for name in ("seq", "at_utc", "value_nm", "value_mm", "station")}
    want = {"seq": polars.Int64, "at_utc": polars.Datetime("us", "UTC"), "value_nm": polars.Int64,
            "value_mm": polars.Decimal(18, 6), "station": polars.String}
    if types != want:
        raise SystemExit(f"polars: got types {types}, want {want}")
    rows = frame.group_by(KEYS).agg(polars.len(), polars.sum("value_nm"), polars.sum("value_mn")).rows()
    return groups(rows, False)


def duckdb_csv(path):
    columns = ", ".join(f"'{name}': 'VARCHAR'" for name in header(path))
    rows = duckdb.sql(
        f"SELECT {', '.join(KEYS)}, count(*), sum(CAST(value_mm AS DECIMAL(18, 6)) * 1000000), "
        f"sum(CAST(value_n AS DECIMAL(18, 3)) * 1000) "
        f"FROM read_csv('{path}', header = true, columns = {{{columns}}}, quote = '\"', escape = '\"', delim = ',', "
        f"new_line = '\\r\\n', nullstr = '') GROUP BY ALL").fetchall()
    return rows


def polars_csv(path):
    frame = polars.read_csv(path, infer_schema=False)
    scaled = [polars.col(name).cast(polars.Decimal(18, 6)) * factor
              for name, factor in (("value_mm", 1_000_000), ("value_n", 1000))]
    return frame.with_columns(scaled).group_by(KEYS).agg(
        polars.len(), polars.sum("value_mm"), polars.sum("value_n")).rows()


def python_csv(path):
    """Reads CSV with the standard library by RFC 4180, and checks the line ends."""
    out = collections.defaultdict(lambda: (0, 0, 0))
    with open(path, encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file, strict=True):
            key = tuple(unguarded(row[name] or None) for name in KEYS)
            count, nm, mn = out[key]
            length, force = (decimal.Decimal(row[name] or 0) for name in ("value_mm", "value_n"))
            out[key] = (count + 1, nm + int(length * 1_000_000), mn + int(force * 1000))
            datetime.datetime.fromisoformat(row["at_utc"])
            for cell in row.values():
                if cell[:1] in ("=", "+", "@", "\t", "\r") or (cell[:1] == "-" and not cell[1:].replace(".", "").isdigit()):
                    raise SystemExit(f"a spreadsheet would compute {cell!r}")
    return dict(out)


def header(path):
    with open(path, encoding="utf-8", newline="") as file:
        return next(csv.reader(file))


def shown(text):
    """A text as CSV has it: characters that could steer a terminal or mislead a reader are escapes."""
    short = {"\t": "\\t", "\r": "\\r", "\n": "\\n"}
    steers = "\u061c\u200e\u200f\ufff9\ufffa\ufffb" + "".join(
        map(chr, [*range(0x2028, 0x202F), *range(0x2066, 0x2070)]))
    escape = lambda c: short.get(c, f"\\u{{{ord(c):x}}}") if unicodedata.category(c) == "Cc" or c in steers else c
    return "".join(map(escape, text))


def as_in_csv(want):
    """In CSV an empty and a missing text are the same, and misleading characters are escapes."""
    return without_empty({tuple(part and shown(part) for part in key): sums for key, sums in want.items()})


def without_empty(want):
    """In CSV an empty and a missing text are the same."""
    out = collections.defaultdict(lambda: (0, 0, 0))
    for key, sums in want.items():
        key = tuple(part or None for part in key)
        out[key] = tuple(a + b for a, b in zip(out[key], sums))
    return dict(out)


def verified(folder, *arguments):
    done = subprocess.run([TALLYJAW, "--config", "tallyjaw.toml", "verify", *arguments], cwd=folder,
                          capture_output=True, text=True, check=False)
    return done.returncode, done.stdout + done.stderr


def saved_anew():
    """A typed table that an engine has saved again, complete and without one series."""
    kept = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "journals", "V1_EVERY_KIND", "journal")
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(kept, os.path.join(folder, "state", "journal"))
        with open(os.path.join(folder, "tallyjaw.toml"), "w", encoding="utf-8") as file:
            file.write('[daemon]\nstate_dir = "state"\nruntime_dir = "run"\n\n[[station]]\nname = "bench-1"\n')
        tallyjaw(folder, "export", "parquet", "-o", "all.parquet", "--question", "question.json")
        code, said = verified(folder, "all.parquet")
        if code != 0 or "according to tallyjaw.question in its metadata" not in said:
            raise SystemExit(f"all.parquet: {code}: {said}")
        for name, rows, want, text in (
                ("whole", "true ORDER BY at_utc DESC", 0, "and none is missing\n"),
                ("cut", "series IS DISTINCT FROM 30", 1, "a reading of series 30, piece 1, pull_force\n")):
            duckdb.sql(f"COPY (SELECT * FROM read_parquet('{folder}/all.parquet') WHERE {rows}) "
                       f"TO '{folder}/{name}.parquet' (FORMAT parquet, COMPRESSION snappy)")
            code, said = verified(folder, f"{name}.parquet", "--question", "question.json")
            if code != want or text not in said:
                raise SystemExit(f"{name}.parquet: {code}: {said}")
            code, said = verified(folder, f"{name}.parquet")
            if code != 0 or "missing rows cannot be found\n" not in said:
                raise SystemExit(f"{name}.parquet without its question: {code}: {said}")
        print("saved anew by duckdb: the same table by its question, and a series left out is seen")


def main():
    saved_anew()
    with tempfile.TemporaryDirectory() as folder:
        journal = made_journal.make(folder, READINGS)
        want = of_lines(journal)
        for format in ("csv", "parquet", "jsonl"):
            tallyjaw(folder, "export", format, "-o", f"all.{format}")
        table, typed, lines = (os.path.join(folder, f"all.{format}") for format in ("csv", "parquet", "jsonl"))
        same("parquet by duckdb", duckdb_parquet(typed), want)
        same("parquet by polars", polars_parquet(typed), want)
        want = as_in_csv(want)
        same("csv by python", python_csv(table), want)
        same("csv by duckdb", without_empty(groups(duckdb_csv(table), True)), want)
        same("csv by polars", without_empty(groups(polars_csv(table), True)), want)
        with open(lines, "rb") as got, open(journal, "rb") as kept:
            if got.read() != kept.read():
                raise SystemExit("jsonl differs from the journal's lines")
        print("jsonl: byte for byte the journal")


main()
