"""What one bench costs: bytes, processor time and memory, measured; then what many cost, by arithmetic.

Usage: scale.py TALLYJAW      (run by `tests/scripts/examples.sh TALLYJAW --scale`, which installs what it needs)

Prints the table of docs/scale.md. The machine should have nothing else to do; nothing is asserted but that every entry
arrived. The pace is an assumption, common practice without a source: a busy technician measures every ten seconds, eight
hours a day, 250 days a year; series of five crimps, height and width, with an opening and a closing zero.
"""

import collections
import json
import os
import pathlib
import random
import re
import shutil
import socket
import subprocess
import sys
import threading
import time

import duckdb

import bench
import examples

READINGS_AN_HOUR, HOURS_A_DAY, DAYS_A_YEAR = 360, 8, 250
SERIES = READINGS_AN_HOUR * HOURS_A_DAY // 10  # a day of them
STREAMS_HZ, STREAM_S, IDLE_S = (10, 50), 15, 15
REWRITES = 5
LAKE_BENCHES, LAKE_DAYS = 10, 250

# The statement that the page shows is the one that is run.
COMPACT = (pathlib.Path(__file__).resolve().parents[2] / "docs" / "scale.md").read_text()
SINKS = """
[[sink]]
name = "lake"
kind = "parquet"
folder = "lake"
every = "{every}"

[[sink]]
name = "plant"
kind = "mqtt"
broker = "mqtt://127.0.0.1:{broker}"
topic = "shop/bench-1"
"""
BROKER = """
user root
listener {port} 127.0.0.1
allow_anonymous true
persistence true
persistence_location {folder}/
autosave_interval 1
autosave_on_changes true
max_inflight_messages 0
max_queued_messages 0
"""
PLAN = """
[[plan]]
id = "pump-own"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height", "core_crimp_width"]
pieces = 5
purpose = "in_process"
tool = "T-07"
nest = "2.0"
"""


class Counter:
    """Stands between daemon and broker: passes everything on, and counts the published packets by topic."""

    def __init__(self, broker):
        self.broker = broker
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        self.packets = collections.Counter()
        self.bytes = collections.Counter()
        threading.Thread(target=self.serve, daemon=True).start()

    def serve(self):
        while True:
            client, _ = self.listener.accept()
            onward = socket.create_connection(("127.0.0.1", self.broker))
            threading.Thread(target=self.pump, args=(client, onward, True), daemon=True).start()
            threading.Thread(target=self.pump, args=(onward, client, False), daemon=True).start()

    def pump(self, source, target, counts):
        waiting = b""
        while piece := source.recv(65536):
            target.sendall(piece)
            if counts:
                waiting = self.count(waiting + piece)
            else:
                self.bytes["back"] += len(piece)
        target.close()

    def count(self, waiting):
        """Removes whole packets from the buffer. MQTT 5, section 2.1: kind, length in steps of seven bits, then topic."""
        while len(waiting) > 5:
            length, at = 0, 1
            while True:
                length |= (waiting[at] & 127) << 7 * (at - 1)
                at += 1
                if waiting[at - 1] < 128:
                    break
            if len(waiting) < at + length:
                break
            kind = "other"
            if waiting[0] >> 4 == 3:
                topic = waiting[at + 2:at + 2 + int.from_bytes(waiting[at:at + 2], "big")].decode()
                kind = topic.split("/")[2]
            self.packets[kind] += 1
            self.bytes[kind] += at + length
            waiting = waiting[at + length:]
        return waiting


class Shop(bench.Bench):
    """A bench with a caliper that sends one frame for each press, or a stream; with or without sinks."""

    def __init__(self, sinks, capture="press"):
        self.broker_port = examples.free_port()
        self.counter = Counter(self.broker_port)
        files = {"sheets/pump.toml": bench.SHEET, "tools.toml": bench.TOOLS, "plans/pump.toml": PLAN}
        self.values, self.value = random.Random(1), 0
        more = SINKS.format(broker=self.counter.port, every="1 min") if sinks else ""
        self.set_up(examples.TALLYJAW, ["caliper-1"], files, lambda ports: bench.CONFIG.format(
            port=ports["caliper-1"]).replace('"press"', f'"{capture}"') + more)
        conf = BROKER.format(port=self.broker_port, folder=self.root)
        (self.root / "broker.conf").write_text(conf)
        self.log = open(self.root / "daemon.log", "ab")

    def start(self):
        self.daemon = subprocess.Popen(self.command("serve"), stdout=self.log, stderr=self.log)

    def cpu_s(self):
        """The processor time of the daemon: all its threads, also those that have ended (clock_getcpuclockid)."""
        return time.clock_gettime((~self.daemon.pid << 3) | 2)

    def memory_mib(self):
        text = pathlib.Path(f"/proc/{self.daemon.pid}/status").read_text()
        sizes = dict(line.split(":", 1) for line in text.splitlines())
        return [int(sizes[name].split()[0]) / 1024 for name in ("VmRSS", "VmHWM")]

    def counts(self, nominal):
        """The height that a tool makes, in hundredths of a millimetre. Two in a row differ, so that the script can wait for the second."""
        value = self.value
        while value == self.value:
            value = round(self.values.gauss(nominal, 1.3))
        self.value = value
        return f"{value / 100:.2f}\r".encode()

    def series(self, feed, shown=None):
        """One series: start, zero, five heights, five widths, zero. Each press waits for the entry of the one before on the
        feed, and on request for its state at the broker."""
        self.call("arm", station="bench-1", plan="pump-own")
        presses = [(b"0.00\r", "zeroed"), *[(162, "reading")] * 5, *[(240, "reading")] * 5, (b"0.01\r", "completed")]
        for frame, kind in presses:
            before = self.counter.packets["stations"]
            self.press(frame if isinstance(frame, bytes) else self.counts(frame))
            feed.until(kind)
            if shown:
                examples.wait_for("the state is at the broker", lambda: self.counter.packets["stations"] > before)


def sizes(folder, pattern):
    return [path.stat().st_size for path in sorted(folder.glob(pattern))]


def row(name, value, unit, note=""):
    print(f"{name:58} {value:>12} {unit:10} {note}", flush=True)


def a_day(sinks):
    """Makes the readings of a day as fast as they are answered. Gives what it took, and the shop for more."""
    shop = Shop(sinks)
    broker = examples.Program(shop.root, "broker", ["mosquitto", "-c", shop.root / "broker.conf"]) if sinks else None
    if sinks:
        examples.wait_for("the broker listens", lambda: listens(shop.broker_port))
    shop.start()
    feed = bench.Feed(shop)
    feed.until("attached")
    before, began = shop.cpu_s(), time.monotonic()
    for _ in range(SERIES):
        shop.series(feed)
    return shop, broker, feed, time.monotonic() - began, shop.cpu_s() - before


def listens(port):
    try:
        socket.create_connection(("127.0.0.1", port)).close()
        return True
    except OSError:
        return False


def cursor(shop):
    path = shop.root / "state" / "sinks" / "plant"
    return int(path.read_text().split()[-1]) if path.exists() else 0


def main():
    readings = SERIES * 10
    print(f"# {readings} readings, a day of one bench; {os.cpu_count()} processors\n")

    shop, _, _, _, plain = a_day(False)
    row("processor time a reading, journal and feed alone", f"{plain / readings * 1e3:.2f}", "ms")
    row("resident memory after a day, at most", "{:.1f}, {:.1f}".format(*shop.memory_mib()), "MiB")
    shop.stop()
    shop.__exit__()

    shop, broker, feed, took, cpu = a_day(True)
    row("readings a second, each after the one before", f"{readings / took:.0f}", "1/s")
    row("processor time a reading, with MQTT and Parquet", f"{cpu / readings * 1e3:.2f}", "ms")
    lake = shop.root / "lake"
    examples.wait_for("the broker has it all", lambda: cursor(shop) == len(shop.journal_lines()))

    row("resident memory, at most", "{:.1f}, {:.1f}".format(*shop.memory_mib()), "MiB")

    lines = shop.journal_lines()
    kinds, bytes_of = collections.Counter(), collections.Counter()
    for line in lines:
        kind = json.loads(line)["kind"]
        kinds[kind] += 1
        bytes_of[kind] += len(line)
    total = sum(bytes_of.values())
    row("entries a reading", f"{len(lines) / readings:.2f}", "", dict(kinds))
    row("journal and feed: bytes of a reading's line", f"{bytes_of['reading'] / kinds['reading']:.0f}", "B")
    row("journal and feed: bytes of an armed line", f"{bytes_of['armed'] / kinds['armed']:.0f}", "B")
    row("journal and feed: bytes a reading, with all else", f"{total / readings:.0f}", "B")
    sent = shop.counter
    entries = sent.packets["entries"]
    assert entries == len(lines), (entries, len(lines))
    row("MQTT: packets of entries a reading", f"{entries / readings:.2f}", "")
    row("MQTT: bytes of an entry's packet beside its line", f"{(sent.bytes['entries'] - total) / entries:.0f}", "B")
    row("MQTT: bytes a reading, entries", f"{sent.bytes['entries'] / readings:.0f}", "B")
    # At a person's pace the broker is told every state; at the pace above some are overtaken by the next.
    before, before_bytes = sent.packets["stations"], sent.bytes["stations"]
    for _ in range(REWRITES):
        shop.series(feed, shown=True)
    row("MQTT: packets of retained state a reading", f"{(sent.packets['stations'] - before) / REWRITES / 10:.2f}", "")
    row("MQTT: bytes a reading, retained state", f"{(sent.bytes['stations'] - before_bytes) / REWRITES / 10:.0f}", "B")
    lines = shop.journal_lines()
    shop.stop()
    [parquet] = sizes(lake, "*/*/*.parquet")
    row("Parquet: bytes a reading, a day in a file", f"{parquet / (readings + 10 * REWRITES):.1f}", "B", f"a file of {parquet} B")

    series = next(json.loads(line)["seq"] for line in lines if b'"kind":"armed"' in line)
    subprocess.run(shop.command("export", "parquet", str(series), "-o", shop.root / "ten.parquet"), check=True, stdout=subprocess.DEVNULL)
    row("Parquet: bytes of a file with ten readings", (shop.root / "ten.parquet").stat().st_size, "B")
    kept = shop.root / "kept.parquet"
    shutil.copy(next(lake.glob("*/*/*.parquet")), kept)

    # A broker that was away for a day: how fast the daemon makes up for it.
    (shop.root / "state" / "sinks" / "plant").unlink()
    config = shop.root / "tallyjaw.toml"
    config.write_text(config.read_text().replace('every = "1 min"', 'every = "1 s"'))
    shop.start()
    began = time.monotonic()
    examples.wait_for("the broker has it again", lambda: cursor(shop) >= len(lines))
    row("MQTT: entries a second after an outage", f"{len(lines) / (time.monotonic() - began):.0f}", "1/s")

    # A day's file at the end of the day: written anew for each series that closes, once a minute at most.
    feed.connect(shop)
    began = shop.cpu_s()
    for _ in range(REWRITES):
        before = [path.stat().st_ino for path in lake.glob("*/*/*.parquet")]
        shop.series(feed)
        examples.wait_for("the day's file is new", lambda: before != [path.stat().st_ino for path in lake.glob("*/*/*.parquet")])
    rewrite = (shop.cpu_s() - began) / REWRITES - 10 * cpu / readings
    row("Parquet: processor time to write a full day's file anew", f"{rewrite * 1e3:.0f}", "ms")
    shop.stop()
    pruning(kept)
    broker.end()
    shop.__exit__()
    stream()


def stream():
    """A caliper that sends without end. Values that stand still are taken. The other frames cost time but no space."""
    shop = Shop(False, "steady")
    with shop:
        feed = bench.Feed(shop)
        feed.until("attached")
        began, before = time.monotonic(), shop.cpu_s()
        time.sleep(IDLE_S)
        row("processor share, nothing sent", f"{(shop.cpu_s() - before) / (time.monotonic() - began) * 100:.3f}", "%")
        for hz in STREAMS_HZ:
            came = len(shop.journal_lines())
            began, before = time.monotonic(), shop.cpu_s()
            for frame in range(hz * STREAM_S):
                at = frame / hz % 3
                os.write(shop.ends["caliper-1"][0], f"{1.62 if at < 1.5 else 20 + at:.2f}\r".encode())
                time.sleep(max(0, began + (frame + 1) / hz - time.monotonic()))
            share = (shop.cpu_s() - before) / (time.monotonic() - began)
            came = len(shop.journal_lines()) - came
            row(f"processor share, a stream of {hz} frames/s", f"{share * 100:.3f}", "%",
                f"{came} entries of {hz * STREAM_S} frames, a crimp every 3 s")


def pruning(file):
    """Puts the file of one day at the places of many benches and days: what an engine opens, and how long that takes."""
    lake = file.parent / "many"
    for number in range(LAKE_BENCHES):
        for day in range(LAKE_DAYS):
            folder = lake / f"station=bench-{number + 1}" / f"day=2026-{1 + day // 28:02}-{1 + day % 28:02}"
            folder.mkdir(parents=True)
            os.link(file, folder / f"{number:032x}.parquet")
    files = LAKE_BENCHES * LAKE_DAYS
    source = f"read_parquet('{lake}/*/*/*.parquet', hive_partitioning = true)"
    tidy = file.parent / "compacted"
    began = time.monotonic()
    statement = "COPY" + COMPACT.split("COPY")[1].split("\n\n")[0]
    duckdb.execute(statement.replace("'lake/", f"'{lake}/").replace("'compacted'", f"'{tidy}'"))
    row("a lake compacted by an engine, a folder a month", f"{time.monotonic() - began:.1f}", "s",
        f"{files} files to {len(sizes(tidy, '*/*'))}")
    compacted = f"read_parquet('{tidy}/*/*.parquet', hive_partitioning = true)"
    for name, table, where in [
        ("everything", source, "true"), ("one day of all benches", source, "day = '2026-03-05'"),
        ("one bench, all days", source, "station = 'bench-7'"), ("everything, compacted", compacted, "true"),
        ("one day, compacted", compacted, "month = '2026-03' AND day = '2026-03-05'")]:
        query = f"SELECT axis, count(*), avg(value_nm) FROM {table} WHERE {where} AND standing = 'counted' GROUP BY ALL"
        duckdb.execute(query).fetchall()
        began = time.monotonic()
        found = sum(count for _, count, _ in duckdb.execute(query).fetchall())
        took = time.monotonic() - began
        plan = json.dumps(duckdb.execute(f"EXPLAIN ANALYZE {query}").fetchall())
        opened = re.search(r"Total Files Read: (\d+)", plan)
        row(f"a query over {name}", f"{took * 1e3:.0f}", "ms", f"{found} readings out of {opened[1]} files")


if __name__ == "__main__":
    try:
        main()
    finally:
        for running in [*examples.RUNNING]:
            running.end()
