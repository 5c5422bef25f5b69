"""Every program of examples/, used as its head says, beside a real daemon, broker and scraper that are killed.

Usage: examples.py TALLYJAW      (run by examples.sh, which installs what they need)

The complete output of each is compared with the journal: no entry is missing, and repeats follow kills only.
"""

import collections
import contextlib
import itertools
import json
import os
import pathlib
import re
import signal
import socket
import sqlite3
import statistics
import subprocess
import sys
import time
import urllib.parse
import urllib.request

import bench

EXAMPLES = pathlib.Path(__file__).resolve().parents[2] / "examples"
TALLYJAW = os.path.abspath(sys.argv[1])
ROUNDS = 8
PLANS = """
[[plan]]
id = "run"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = 5
purpose = "in_process"
zero = { before_first = false, closing = false }
repeat = true

[[plan]]
id = "pump-own"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height", "core_crimp_width"]
pieces = 2
purpose = "first_off"
"""
MORE = """
[page]
listen = "127.0.0.1:{page}"

[[sink]]
name = "lake"
kind = "parquet"
folder = "lake"
every = "1 s"

[[sink]]
name = "plant"
kind = "mqtt"
broker = "mqtts://localhost:{broker}"
ca_file = "broker.pem"
user = "bench-1"
password_file = "password"
topic = "shop/bench-1"
"""
RUNNING = []  # programs that must not outlive this one


def free_port():
    with socket.socket() as some:
        some.bind(("127.0.0.1", 0))
        return some.getsockname()[1]


def wait_for(what, is_so):
    deadline = time.monotonic() + bench.PATIENCE_S
    while not (found := is_so()):
        assert time.monotonic() < deadline, f"not within {bench.PATIENCE_S} s: {what}"
        time.sleep(0.02)
    return found


class Program:
    """A program that continues where it was whenever it is started. All of its output is kept."""

    def __init__(self, folder, name, command, where=None):
        """`where` returns the last entry that it has handled, or None."""
        self.name, self.command, self.kills, self.where = name, [str(word) for word in command], 0, where
        self.out, self.err = folder / f"{name}.out", folder / f"{name}.err"
        self.start()

    def start(self):
        RUNNING.append(self)
        with open(self.out, "ab") as out, open(self.err, "ab") as err:
            self.process = subprocess.Popen(self.command, stdout=out, stderr=err, start_new_session=True)

    def end(self):
        """Kills the program and its children, as a power cut would."""
        RUNNING.remove(self)
        with contextlib.suppress(ProcessLookupError):  # it has ended by itself
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def kill(self):
        self.end()
        self.kills += 1
        self.start()

    def lines(self):
        return self.out.read_text().splitlines() if self.out.exists() else []

    def said(self):
        return self.err.read_text()


class Shop(bench.Bench):
    """A bench with page, broker and data set."""

    def __init__(self):
        self.page, self.port = free_port(), free_port()
        files = {"sheets/pump.toml": bench.SHEET, "tools.toml": bench.TOOLS, "plans/pump.toml": PLANS}
        more = MORE.format(page=self.page, broker=self.port)
        self.set_up(TALLYJAW, ["caliper-1"], files, lambda ports: bench.CONFIG.format(port=ports["caliper-1"]) + more)
        self.url = f"http://127.0.0.1:{self.page}"
        self.heights = 0

    def start(self):
        with open(self.root / "daemon.log", "ab") as log:
            self.daemon = subprocess.Popen(self.command("serve"), stdout=log, stderr=log)

    def broker(self):
        """Uses the configuration and rules of examples/, with its own port and folder."""
        conf = (EXAMPLES / "broker.conf").read_text().replace("listener 8883", f"user root\nlistener {self.port} 127.0.0.1")
        conf = conf.replace("/etc/mosquitto/", f"{self.root}/").replace("/var/lib/mosquitto/", f"{self.root}/")
        (self.root / "broker.conf").write_text(conf)
        (self.root / "broker.acl").write_text((EXAMPLES / "broker.acl").read_text())
        for user in ("bench-1", "bench-2", "table"):
            new = [] if user != "bench-1" else ["-c"]
            passwords = self.root / "broker.passwords"
            subprocess.run(["mosquitto_passwd", "-b", *new, passwords, user, f"of {user}"], check=True, capture_output=True)
        (self.root / "password").write_text("of bench-1\n")
        (self.root / "table.password").write_text("of table\n")
        subprocess.run(
            ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2",
             "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost", "-addext", "basicConstraints=critical,CA:FALSE",
             "-keyout", self.root / "broker.key", "-out", self.root / "broker.pem"], check=True, capture_output=True)
        return Program(self.root, "broker", ["mosquitto", "-c", self.root / "broker.conf"])

    def publish(self, user, topic, *more):
        """Publishes a foreign message with the broker's own client, and returns the result."""
        words = ["mosquitto_pub", "-V", "mqttv5", "-h", "localhost", "-p", str(self.port), "--cafile", self.root / "broker.pem",
                 "-u", user, "-P", f"of {user}", "-q", "1", "-t", topic, "-m", "{}", *more]
        return subprocess.run(words, capture_output=True, text=True, timeout=bench.PATIENCE_S)

    def height(self):
        """Heights, of which some are too low or too high. Consecutive ones differ."""
        self.heights += 1
        self.press(f"+1.{55 + self.heights * 5 % 14}\r".encode())


def in_json(path):
    return lambda: json.loads(path.read_text())["seq"] if path.exists() else None


def in_text(path):
    return lambda: int(path.read_text()) if path.exists() else None


def in_table(path):
    def where():
        try:
            with contextlib.closing(sqlite3.connect(path)) as file:
                return max(file.execute("SELECT last FROM journal").fetchone() or [None])
        except sqlite3.OperationalError:
            return None  # it is just being made
    return where


def entries(shop):
    return [json.loads(line) for line in shop.journal_lines()]


def followed(journal, entry, value):
    """A line of follow.py and follow.mjs, which differ in trailing zeros of numbers."""
    words = [f"{journal}/{entry['seq']}", entry.get("station", "-"), entry["kind"]]
    if entry["kind"] == "reading":
        words += [entry.get("terminal", "-"), entry.get("axis", "-"), value, entry["unit"]]
        words += [entry.get("verdict") or entry["reason"]]
    return " ".join(words)


def digits(line):
    """The number with the zeros that the journal has."""
    found = re.search(rb'"value":([-0-9.]+)', line)
    return found and found[1].decode()


def assert_each_once(program, want):
    """Asserts the order. Each kill may cause one repeat, next to the first."""
    got = program.lines()
    once = [line for at, line in enumerate(got) if at == 0 or line != got[at - 1]]
    assert once == want, f"{program.name}: " + next(
        (f"line {at + 1}: got {a!r}, want {b!r}" for at, (a, b) in enumerate(zip(once, want)) if a != b),
        f"got {len(once)} lines, want {len(want)}: {(once[len(want):] or want[len(once):])[:2]}")
    assert len(got) - len(once) <= program.kills, f"{program.name}: {len(got) - len(once)} doubles"
    print(f"{program.name}: {len(want)} entries, killed {program.kills} times, {len(got) - len(once)} came twice")


def reached(shop, programs):
    """Waits until every program has handled all entries."""
    last = len(shop.journal_lines())
    for program in programs:
        wait_for(f"{program.name} is at {last}", lambda: program.where() == last)


def under_fire(shop, feed, programs, broker):
    """Measures crimps while the programs are killed one after another. All run at the beginning."""
    for turn in range(ROUNDS):
        reached(shop, programs)
        for piece in range(18):
            shop.height()
            if piece == 7:
                programs[turn % len(programs)].kill()
            if piece == 11 and turn in (1, 4, 6):  # while the table is kept: what waits at a killed broker may be lost
                broker.kill()
            reading = feed.until("reading")
            if piece == 15 and turn % 3 == 2:
                shop.kill()
                shop.start()
                feed.connect(shop)
                feed.until("attached")
        if reading["piece"] < 5:  # else its series is full and closed
            shop.call("retract", station="bench-1")


def forgotten(shop, feed, benches):
    """The broker loses the table's session while it is down. Returns the first and last entry that it never gets."""
    reached(shop, [benches])
    first = len(shop.journal_lines()) + 1
    benches.end()
    shop.publish("table", "none", "-i", "benches")  # a clean start
    for _ in range(3):
        shop.height()
        feed.until("reading")
    last = len(shop.journal_lines())
    cursor = shop.root / "state" / "sinks" / "plant"
    wait_for("the broker has it all", lambda: cursor.read_text().split()[-1] == str(last))
    before = benches.said().count("the broker sends")
    benches.start()
    wait_for("it has a session again", lambda: benches.said().count("the broker sends") > before)
    return first, last


def own_crimps(shop, feed):
    """A series whose closing zero is off: its readings are doubted and measured again."""
    shop.call("arm", station="bench-1", plan="pump-own", cut=True)
    zeros_and_values = "0.00 1.62 1.63 2.41 2.43 0.02 0.00 1.63 1.62 2.43 2.41 0.00"
    for text in zeros_and_values.split():
        shop.press(f"{text}\r".encode())
        feed.until("reading" if float(text) > 1 else "zeroed")
    feed.until("completed")


def scrape_and_alerts(shop):
    """Checks the rules, plays the alerts, and compares a real scraper's figures with the journal."""
    for words in (["check", "config", "scrape.yml"], ["test", "rules", "alerts_test.yml"]):
        done = subprocess.run(["promtool", *words], cwd=EXAMPLES, capture_output=True, text=True)
        assert done.returncode == 0, done.stdout + done.stderr
    text = (EXAMPLES / "scrape.yml").read_text()
    text = text.replace("127.0.0.1:8354", f"127.0.0.1:{shop.page}").replace(": 15s", ": 1s")
    (shop.root / "scrape.yml").write_text(text)
    (shop.root / "alerts.yml").write_text((EXAMPLES / "alerts.yml").read_text())
    port = free_port()
    scraper = Program(shop.root, "scraper", [
        "prometheus", f"--config.file={shop.root}/scrape.yml", f"--storage.tsdb.path={shop.root}/scraped",
        f"--web.listen-address=127.0.0.1:{port}"])

    def ask(query):
        url = f"http://127.0.0.1:{port}/api/v1/query?{urllib.parse.urlencode({'query': query})}"
        try:
            with urllib.request.urlopen(url, timeout=bench.PATIENCE_S) as answer:
                return json.load(answer)["data"]["result"]
        except OSError:
            return []  # it has just been started

    told = entries(shop)
    start = max(at for at, entry in enumerate(told) if entry["kind"] == "started")
    readings = [entry for entry in told[start:] if entry["kind"] == "reading"]
    want = collections.Counter(entry.get("verdict") or "not_counted" for entry in readings)

    def counted():
        got = {one["metric"]["verdict"]: int(one["value"][1]) for one in ask("tallyjaw_readings_total")}
        return got and {name: count for name, count in got.items() if count} == want

    wait_for("the scraper has counted every reading", counted)
    assert [one["value"][1] for one in ask("tallyjaw_instrument_up")] == ["1"]
    rules = {rule["name"] for rule in json.load(urllib.request.urlopen(f"http://127.0.0.1:{port}/api/v1/rules"))
             ["data"]["groups"][0]["rules"]}
    assert rules == set(re.findall(r"alert: (\w+)", (EXAMPLES / "alerts.yml").read_text())), rules
    scraper.end()
    print(f"scrape.yml: {sum(want.values())} readings counted by verdict, {len(rules)} alerts loaded and played")


def what_became(told):
    """The readings of the journal with their final standing."""
    readings = {entry["seq"]: dict(entry) for entry in told if entry["kind"] == "reading"}
    for entry in told:
        if entry["kind"] in ("doubted", "retracted"):
            for seq in entry.get("readings") or [entry["reading"]]:
                readings[seq]["standing"] = entry["kind"]
    return readings


def table_of_benches(shop, program, before_end, gap):
    """At the end: every reading once with its final standing, a bench that is off, and the gap."""
    told, lines = entries(shop), shop.journal_lines()
    journal = told[0]["journal"]
    names = ["seq", "at", "station", "series", "piece", "terminal", "axis", "unit", "verdict", "standing"]
    want = [(journal, *(entry.get(name) for name in names), digits(lines[seq - 1]))
            for seq, entry in what_became(told).items() if not gap[0] <= seq <= gap[1]]
    file = sqlite3.connect(shop.root / "benches.sqlite")
    ask = f"SELECT journal, {', '.join(names)}, value FROM reading ORDER BY seq"
    wait_for("the bench is off in the table", lambda: file.execute("SELECT online FROM bench").fetchall() == [(0,)])
    wait_for("every reading is in the table", lambda: len(file.execute(ask).fetchall()) >= len(want))
    got = file.execute(ask).fetchall()
    assert got == want, next((a, b) for a, b in zip(got, want) if a != b)
    assert file.execute("SELECT * FROM gap").fetchall() == [(journal, *gap)], (file.execute("SELECT * FROM gap").fetchall(), gap)
    station = before_end["stations"][0]
    row = file.execute("SELECT topic, station, prompt, last_value, last_verdict, instruments_missing FROM bench").fetchall()
    last = station["last"]
    value = digits(lines[last["seq"] - 1])
    assert row == [("shop/bench-1", "bench-1", station["prompt"], value, last.get("verdict") or last["reason"], 0)], row
    shown = program.lines()
    assert f"shop/bench-1 bench-1 online: {station['prompt']} (last {value} mm {row[0][4]})" in shown, (shown[-5:], station)
    assert "OFFLINE" in shown[-1], shown[-1]
    standings = collections.Counter(entry["standing"] for entry in what_became(told).values())
    assert {"counted", "doubted", "retracted", "not_counted"} == set(standings), standings
    print(f"benches.py: {len(want)} readings once each, killed {program.kills} times; {dict(standings)}")


def table_of_days(told):
    """The expected output of daily.py, computed from the lines of the journal."""
    closed = {entry["series"] for entry in told if entry["kind"] == "completed"}
    rows = collections.defaultdict(list)
    for entry in what_became(told).values():
        if entry["standing"] == "counted" and entry["series"] in closed:
            key = (entry["at"][:10], entry["station"], entry["terminal"], f"{entry['wire_mm2']:g}", entry["axis"])
            rows[key + (entry["lower_nm"], entry["upper_nm"])].append(entry)
    table = ["day station terminal wire axis unit limits n mean sd failed cpk ppk".split()]
    for (*key, lower, upper), readings in sorted(rows.items()):
        values = [entry["value_nm"] for entry in readings]
        mean, sd = statistics.fmean(values), statistics.stdev(values)
        within = statistics.fmean(abs(a - b) for a, b in itertools.pairwise(values)) / 1.128
        room = min(upper - mean, mean - lower) / 3
        failed = sum(entry["verdict"].startswith("fail") for entry in readings)
        table.append([*key, "mm", f"{lower / 1e6:g} .. {upper / 1e6:g}", str(len(values)), f"{mean / 1e6:.4f}",
                      f"{sd / 1e6:.4f}", f"{100 * failed / len(values):.1f} %", f"{room / within:.2f}", f"{room / sd:.2f}"])
    return table


def daily(shop):
    """Checks the cells of the table, and that a later day is not among them."""
    want = table_of_days(entries(shop))
    lake = str(shop.root / "lake")
    printed = [line.split() for line in run("daily.py", lake)]
    assert printed == [" ".join(row).split() for row in want], f"got {printed}, want {want}"
    assert len(want) == 3, want  # the heights of both plans are one row
    assert len(run("daily.py", lake, "2999-01-01")) == 1
    asked = shop.command("study", "capability", "--terminal", "QF-250-F", "--axis", "core_crimp_height", "--json")
    figures = json.loads(subprocess.run(asked, capture_output=True, check=True).stdout)
    study = [figures["n"], *(f"{figures[name]:.{4 if name in ('mean', 'sd') else 2}f}" for name in ("mean", "sd", "cpk", "ppk"))]
    row = want[1]
    assert study == [int(row[7]), row[8], row[9], row[11], row[12]], (study, row)
    print(f"daily.py: {len(want) - 1} rows, as from the journal")


def run(example, *arguments):
    done = subprocess.run([sys.executable, EXAMPLES / example, *arguments], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


def another_journal(shop, programs):
    """The daemon gets a new journal while no program runs; then one restored from an earlier copy."""
    os.rename(shop.root / "state", shop.root / "state-before")
    shop.start()
    feed = bench.Feed(shop)
    feed.until("attached")
    journal = json.loads(feed.seen[0])["journal"]
    for program in programs:
        program.start()
        wait_for("it says what it found", lambda: f"now {journal} from the beginning" in program.said())
        wait_for("it begins at the beginning", lambda: any(f"{journal}/1 - begun" == line for line in program.lines()))
        program.end()
        position = pathlib.Path(program.command[-1])
        position.write_text(json.dumps({"journal": journal, "seq": 10_000}))
        done = subprocess.run(program.command, capture_output=True, text=True, timeout=bench.PATIENCE_S)
        assert done.returncode == 1 and "entry 10000 was handled, but the journal ends at" in done.stderr, done
    shop.stop()


def torn_line(programs, folder):
    """A daemon that goes in the middle of a line: it comes again, and is handled once. Then one whose journal's first
    segments were moved away."""
    path = str(folder / "torn.sock")
    hello = b'{"kind":"hello","v":1,"journal":"j","version":"0","first":%d,"last":%d}\n'
    lines = [b'{"v":1,"seq":%d,"kind":"noted","station":"b","text":"t\xc3\xb6rn"}\n' % seq for seq in (1, 2, 5)]
    for program in programs:
        with socket.socket(socket.AF_UNIX) as listener:
            listener.bind(path)
            listener.listen()
            listener.settimeout(bench.PATIENCE_S)
            position = folder / f"torn-{program.name}.position"
            torn = Program(folder, f"torn-{program.name}", [*program.command[:-2], path, position])
            asked = []
            for first, last, answer in ((1, 2, lines[0] + lines[1][:-6]), (1, 2, lines[1]), (5, 5, lines[2])):
                client, _ = listener.accept()
                with client:
                    client.sendall(hello % (first, last))
                    asked.append(json.loads(client.makefile().readline())["after"])
                    client.sendall(answer)
            wait_for("the lines are handled", lambda: len(torn.lines()) >= 3)
            torn.end()
        os.unlink(path)
        assert (torn.lines(), asked) == (["j/1 b noted", "j/2 b noted", "j/5 b noted"], [0, 1, 4]), (torn.lines(), asked)
        assert "entries 3 to 4 are no longer at the bench" in torn.said(), torn.said()


def main():
    shop = Shop()
    broker = shop.broker()
    socket_path, root = shop.root / "run" / "feed.sock", shop.root
    py, mjs, sh, table = (root / name for name in ("py.position", "mjs.position", "sh.position", "benches.sqlite"))
    python = Program(root, "follow.py", [sys.executable, EXAMPLES / "follow.py", socket_path, py], in_json(py))
    node = Program(root, "follow.mjs", ["node", EXAMPLES / "follow.mjs", socket_path, mjs], in_json(mjs))
    events = Program(root, "events.sh", [EXAMPLES / "events.sh", shop.url, sh], in_text(sh))
    as_table = ["--user", "table", "--password-file", root / "table.password", "--ca-file", root / "broker.pem"]
    address = f"mqtts://localhost:{shop.port}"
    benches = Program(root, "benches.py", [sys.executable, EXAMPLES / "benches.py", address, "shop", table, *as_table],
                      in_table(table))
    wait_for("the table is kept", lambda: "the broker sends" in benches.said())
    followers = [python, node, events]
    programs = [*followers, benches]
    with shop:
        feed = bench.Feed(shop)
        feed.until("attached")
        shop.height()
        feed.until("reading")  # not armed: it does not count
        shop.call("arm", station="bench-1", plan="run")
        under_fire(shop, feed, programs, broker)
        gap = forgotten(shop, feed, benches)
        for user, topic in (("bench-2", "shop/bench-1/status/none"), ("table", "shop/bench-1/status/none")):
            refused = shop.publish(user, topic)
            assert "Not authorized" in refused.stderr, (user, topic, refused)
        own_crimps(shop, feed)
        failed = Program(root, "failed.sh", [EXAMPLES / "failed.sh", socket_path])
        reached(shop, programs)
        scrape_and_alerts(shop)
        state = shop.call("status")["state"]
        assert shop.stop() == 0

        lines, told = shop.journal_lines(), entries(shop)
        bench.assert_chained(lines)
        journal = told[0]["journal"]
        assert told[-1]["kind"] == "stopped"
        for program in followers:
            wait_for(f"{program.name} has the end", lambda: "stopped" in program.lines()[-1])
        assert_each_once(python, [followed(journal, entry, digits(line)) for entry, line in zip(told, lines)])
        assert_each_once(node, [followed(journal, entry, f"{entry.get('value', 0):.15g}") for entry in told])
        assert_each_once(events, [line.decode().rstrip("\n") for line in lines])
        failed.process.wait(bench.PATIENCE_S)
        want = [" ".join((entry["at"], entry["station"], entry["terminal"], entry["axis"], f"{entry['value']:.15g}",
                          entry["unit"], entry["verdict"]))
                for entry in told if entry["kind"] == "reading" and entry.get("verdict", "").startswith("fail")]
        assert failed.lines() == want and len(want) > 10, (failed.lines(), want)
        print(f"failed.sh: {len(want)} readings that failed, as in the journal")
        table_of_benches(shop, benches, state, gap)
        daily(shop)
        for program in programs:
            program.end()
        another_journal(shop, [python, node])
        torn_line([python, node], root)
        print("follow.py, follow.mjs: another journal, a shorter one, one without its beginning, a torn line: as they say")


if __name__ == "__main__":
    try:
        main()
    finally:
        for running in [*RUNNING]:
            running.end()
