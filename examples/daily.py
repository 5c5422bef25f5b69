#!/usr/bin/env python3
"""What was measured, day by day: from the Parquet data set of one bench or of many.

Run it:   python3 examples/daily.py lake
          python3 examples/daily.py lake 2026-11-01      opens the files of that day and of later ones, no others
Needs:    Python 3.9 and duckdb (requirements.txt); a [[sink]] of kind "parquet" that writes the folder.
Prints:   a table, one row for each day, station, terminal, wire, axis and limits:

    day        station terminal wire axis              unit limits        n   mean     sd failed  cpk  ppk
    2026-11-25 bench-1 QF-250-F    2 core_crimp_height mm   1.57 .. 1.67 20 1.6130 0.0405 20.0 % 0.25 0.35

Only readings that count are in it: not the doubted, not those retracted, not those that never counted. `-` stands
where a figure has no value: one reading has no spread, and what does not spread has no index.

    ppk   the distance from the mean to the nearer limit over 3 s, s of all readings of the row: what the day was like
    cpk   the same with s from the mean distance between neighbours, over 1.128: what it is like without its drift

Such indices are for looking and not for a customer: `tallyjaw study capability` gives the same ones, and says how sure
they are and what they assume.
"""

import sys

import duckdb

HEADINGS = ["day", "station", "terminal", "wire", "axis", "unit", "limits", "n", "mean", "sd", "failed", "cpk", "ppk"]
LEFT = {"day", "station", "terminal", "axis", "unit", "limits"}
# Nanometres and millinewtons are whole: nothing is lost before the first division.
FIGURES = """
WITH readings AS (
    SELECT day, station, terminal, wire_mm2, axis, verdict, journal, seq, value_nm IS NULL AS is_force,
        CAST(coalesce(value_nm, value_mn) AS DOUBLE) AS value,
        coalesce(lower_nm, lower_mn) AS lower, coalesce(upper_nm, upper_mn) AS upper
    FROM read_parquet($files, hive_partitioning = true, hive_types = {'station': VARCHAR, 'day': DATE})
    WHERE standing = 'counted' AND series IS NOT NULL AND day >= CAST($since AS DATE)
), spread AS (
    SELECT *, abs(value - lag(value) OVER (PARTITION BY day, station, terminal, wire_mm2, axis, lower, upper
        ORDER BY journal, seq)) AS apart
    FROM readings
), figures AS (
    SELECT day, station, terminal, wire_mm2, axis, is_force, lower, upper, count(*) AS n, avg(value) AS mean,
        stddev_samp(value) AS sd, avg(apart) / 1.128 AS within,
        count(*) FILTER (WHERE verdict LIKE 'fail%') AS failed
    FROM spread GROUP BY ALL
)
SELECT *, least(mean - lower, upper - mean) / (3 * nullif(within, 0)) AS cpk,
    least(mean - lower, upper - mean) / (3 * nullif(sd, 0)) AS ppk
FROM figures ORDER BY day, station, terminal, wire_mm2, axis, lower, upper
"""


def cells(row):
    day, station, terminal, wire, axis, is_force, lower, upper, n, mean, sd, _, failed, cpk, ppk = row
    unit, scale, digits = ("N", 1e3, 2) if is_force else ("mm", 1e6, 4)
    lower, upper = (None if limit is None else f"{limit / scale:g}" for limit in (lower, upper))
    limits = f"{lower} .. {upper}" if lower and upper else f">= {lower}" if lower else f"<= {upper}"
    return [str(day), station, terminal, f"{float(wire):g}", axis, unit, limits, str(n), f"{mean / scale:.{digits}f}",
            "-" if sd is None else f"{sd / scale:.{digits}f}", f"{100 * failed / n:.1f} %",
            *("-" if index is None else f"{index:.2f}" for index in (cpk, ppk))]


def main(folder, since="1970-01-01"):
    given = {"files": f"{folder}/station=*/day=*/*.parquet", "since": since}
    table = [HEADINGS] + [cells(row) for row in duckdb.execute(FIGURES, given).fetchall()]
    widths = [max(len(row[at]) for row in table) for at in range(len(HEADINGS))]
    for row in table:
        print(*(cell.ljust(width) if name in LEFT else cell.rjust(width)
                for name, cell, width in zip(HEADINGS, row, widths)))


if __name__ == "__main__":
    if len(sys.argv) not in (2, 3):
        sys.exit("usage: daily.py FOLDER [FIRST-DAY]")
    main(*sys.argv[1:])
