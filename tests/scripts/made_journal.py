"""A journal with many readings, made without tallyjaw. It has no chain, because it is not verified.

Its series take turns between lengths and forces at two stations; some readings are doubted, some retracted,
some never counted, some were measured outside a series; names have characters that careless programs mishandle.
"""

import itertools
import json
import os

KEPT = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "journals", "V1_EVERY_KIND", "journal")
CONFIG = '[daemon]\nstate_dir = "state"\nruntime_dir = "run"\n\n[[station]]\nname = "bench-1"\n'
JOURNAL = "00112233445566778899aabbccddeeff"
PREV = "0" * 64
NAMES = ["mara", "=2+5+cmd|' /C calc'!A0", 'jon "the \'hand\'", jr.', "-ines", "@li", "'quoted", "+tab\there",
         "two\r\nlines", "ünï, çødé", "\ttab", " blank ", ""]


def armed_bodies():
    """The first `armed` lines of the stored journal, for a height and for a pull force, without their headers."""
    found = {}
    for name in sorted(os.listdir(KEPT)):
        with open(os.path.join(KEPT, name), encoding="utf-8") as file:
            for line in file:
                entry = json.loads(line)
                if entry["kind"] == "armed":
                    body = {key: value for key, value in entry.items()
                            if key not in ("v", "seq", "at", "kind", "prev")}
                    found.setdefault(entry["axes"][0]["axis"], body)
    return [found["core_crimp_height"], found["pull_force"]]


def at(number):
    """Times that advance by a second for each entry, over some days."""
    seconds = number // 1000
    day, rest = divmod(seconds, 86400)
    return (f"2026-11-{1 + day % 28:02}T{rest // 3600:02}:{rest // 60 % 60:02}:{rest % 60:02}"
            f".{number % 1000 * 1000:06}Z")


def entries(readings, pieces, step=1):
    """The lines of a journal; `step` is the number of milliseconds between entries."""
    seq = 0
    bodies = armed_bodies()

    def line(kind, body):
        nonlocal seq
        seq += 1
        head = f'{{"v":1,"seq":{seq},"at":"{at(seq * step)}","kind":"{kind}","prev":"{PREV}",'
        return head + json.dumps(body, ensure_ascii=False, separators=(",", ":"))[1:] + "\n"

    yield line("begun", {"journal": JOURNAL})
    done = 0
    for turn in itertools.count():
        if done >= readings:
            return
        station = f"bench-{turn % 3 // 2 + 1}"
        force = turn % 5 == 4
        operator = NAMES[turn % len(NAMES)]
        armed = dict(bodies[force], station=station, operator=operator, pieces=pieces, plan=f"plan-{turn % 4}")
        if turn % 3:
            armed["job"] = {"id": f"job {turn % 5}", "customer": NAMES[turn % 7] or "none"}
        if turn % 4:
            armed["wire_lot"] = NAMES[turn % 9] or "none"
        yield line("armed", armed)
        series = seq
        counted, fallen = [], []
        for piece in range(1, pieces + 1):
            if turn % 6 == 0 and piece == pieces // 2:
                yield line("lot_said", {"station": station, "series": series, "material": "wire",
                                        "lot": f"spool {turn % 8}"})
            bits = (done + piece) * 2654435761 >> 7
            yield line("reading", reading(station, series, piece, bits, force))
            (counted if bits % 17 else fallen).append(seq)
        done += pieces
        if turn % 3 == 0:
            yield line("doubted", {"station": station, "series": series, "readings": counted[-2:],
                                   "reason": "the closing zero was off"})
        if turn % 4 == 1:
            yield line("retracted", {"station": station, "series": series, "reading": counted[0]})
        tally = {name: 0 for name in ("passed", "failed", "unsure", "doubted", "retracted", "not_counted")}
        yield line("completed", {"station": station, "series": series, "outcome": "cut_short", "tally": tally})
        if turn % 7 == 0:
            yield line("reading", {"station": station, "instrument": "caliper-1", "value_nm": 1905000, "value": 0.075,
                                   "unit": "in", "standing": "not_counted", "reason": "not_armed", "raw": "30"})
            done += 1


def reading(station, series, piece, bits, force):
    steps = bits % 7 + (bits >> 9) % 7
    body = {"station": station, "instrument": "gauge-1" if force else "caliper-1", "series": series, "piece": piece,
            "axis": "pull_force" if force else "core_crimp_height", "terminal": "QF-250-F", "wire_mm2": 2.0,
            "purpose": "first_off"}
    if force:
        mn = 179_000 + 1000 * steps
        body |= {"value_mn": mn, "value": mn // 1000, "unit": "N", "lower_mn": 180_000}
        verdict = "pass" if mn >= 180_000 else "fail_low"
    elif bits % 11 == 0:
        thou = 60 + steps
        nm = thou * 25_400
        body |= {"value_nm": nm, "value": thou / 1000, "unit": "in", "nominal_nm": 1620000, "lower_nm": 1570000,
                 "upper_nm": 1670000, "limits_unit": "mm", "deviation_nm": nm - 1620000}
        verdict = "pass" if 1570000 <= nm <= 1670000 else "fail_low" if nm < 1570000 else "fail_high"
    else:
        nm = 1_560_000 + 10_000 * steps
        body |= {"value_nm": nm, "value": nm / 1e6, "unit": "mm", "nominal_nm": 1620000, "lower_nm": 1570000,
                 "upper_nm": 1670000, "deviation_nm": nm - 1620000}
        verdict = "pass" if 1570000 <= nm <= 1670000 else "fail_low" if nm < 1570000 else "fail_high"
    if bits % 17:
        return body | {"verdict": verdict, "standing": "counted", "raw": "30"}
    return body | {"standing": "not_counted", "reason": "implausible", "raw": "30"}


def make(folder, readings, pieces=100, step=1):
    """Makes a configuration and a journal in `folder`. Returns the path of its only file."""
    journal = os.path.join(folder, "state", "journal")
    os.makedirs(journal)
    with open(os.path.join(folder, "tallyjaw.toml"), "w", encoding="utf-8") as file:
        file.write(CONFIG)
    path = os.path.join(journal, "00000001.jsonl")
    with open(path, "w", encoding="utf-8", newline="") as file:
        file.writelines(entries(readings, pieces, step))
    return path
