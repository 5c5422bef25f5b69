"""Types made from the schemas, checked by two type checkers against a long session; and the clients of examples/ that
count, in three languages, killed in the midst of it.

Usage: clients.py TALLYJAW TOOLS FOLD    (run by examples.sh, which installs mypy, and tsc into TOOLS, and builds FOLD)
"""

import collections
import json
import os
import pathlib
import shutil
import subprocess
import sys
import time

import bench

EXAMPLES = pathlib.Path(__file__).resolve().parents[2] / "examples"
TALLYJAW, TOOLS, FOLD = map(os.path.abspath, sys.argv[1:4])
KINDS = ("feed", "control", "events", "page", "series", "retained", "config", "qualified", "nests")
ROUNDS = 9
PLAN = """
[[plan]]
id = "{}"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = {}
purpose = "in_process"
zero = {{ before_first = {zero}, closing = {zero} }}
repeat = {repeat}
"""


def run(*words, **more):
    done = subprocess.run([str(word) for word in words], capture_output=True, text=True, **more)
    assert done.returncode == 0, f"{words}: {done.stdout}{done.stderr}"
    return done.stdout


def made_types(folder):
    """The types of each schema, in both languages, and the clients beside them, which must have no fault."""
    for name in KINDS:
        schema = run(TALLYJAW, "schema", name)
        for language, end in (("python", "py"), ("typescript", "ts")):
            types = run(sys.executable, EXAMPLES / "make_types.py", language, input=schema)
            (folder / f"tallyjaw_{name}.{end}").write_text(types)
    for name in ("fold.py", "fold.mts"):
        shutil.copy(EXAMPLES / name, folder)
    (folder / "node_modules").symlink_to(pathlib.Path(TOOLS) / "node_modules")


def checked(folder, *files):
    """What the checkers say of these files: their faults, in both languages."""
    python = [sys.executable, "-m", "mypy", "--strict", "--cache-dir", folder / "cache"]
    script = [folder / "node_modules/.bin/tsc", "--strict", "--target", "es2022", "--module", "nodenext", "--types", "node",
              "--outDir", folder / "build"]
    said = []
    for command, ends in ((python, (".py",)), (script, (".ts", ".mts"))):
        names = [name for name in files if name.endswith(ends)]
        done = subprocess.run([*map(str, command), *names], capture_output=True, text=True, cwd=folder)
        said.append(None if done.returncode == 0 else done.stdout + done.stderr)
    return said


def session(folder, lines):
    """A session as constants of the types that were made."""
    python, script = ((folder / name) for name in ("session.py", "session.mts"))
    python.write_text("from typing import List\nfrom tallyjaw_feed import Feed\n\nsession: List[Feed] = [\n"
                      + "".join(f"    {line!r},\n" for line in lines) + "]\n")
    script.write_text("import type { Feed } from './tallyjaw_feed.js';\n\nexport const session: Feed[] = [\n"
                      + "".join(f"  {json.dumps(line)},\n" for line in lines) + "];\n")


class Client:
    """A client that is killed. It keeps its counts in a file."""

    def __init__(self, root, name, command):
        self.name, self.file, self.kills = name, root / f"{name}.json", 0
        self.command = [*map(str, command), str(root / "run" / "feed.sock"), str(self.file)]
        self.out, self.err = root / f"{name}.out", root / f"{name}.err"
        self.start()

    def start(self):
        with open(self.out, "ab") as out, open(self.err, "ab") as err:
            self.process = subprocess.Popen(self.command, stdout=out, stderr=err)

    def kill(self):
        self.process.kill()
        self.process.wait()
        self.kills += 1

    def reached(self, seq):
        deadline = time.monotonic() + 3 * bench.PATIENCE_S
        while not self.file.exists() or json.loads(self.file.read_text())["seq"] < seq:
            assert self.process.poll() is None, f"{self.name} has ended: {self.err.read_text()}"
            assert time.monotonic() < deadline, f"{self.name} is not at {seq}: {self.err.read_text()}"
            time.sleep(0.02)


def counted(entries):
    """Readings by terminal, axis and verdict that count at the end, by the entries alone."""
    counts, keys, open_series = collections.Counter(), {}, set()
    for entry in entries:
        if entry["kind"] == "reading" and entry["standing"] == "counted":
            keys[entry["seq"]] = f"{entry['terminal']} {entry['axis']} {entry['verdict']}"
            counts[keys[entry["seq"]]] += 1
        for seq in entry.get("readings", [entry.get("reading")]):
            if entry["kind"] in ("doubted", "retracted", "restored"):
                counts[keys[seq]] += 1 if entry["kind"] == "restored" else -1
    return {key: count for key, count in counts.items() if count}


def measured(shop, feed, clients, states):
    """A session: failures, a retraction, one taken back, doubts, kills of the daemon and of each client."""
    feed.until("attached")
    shop.call("arm", station="bench-1", plan="run")
    for turn in range(ROUNDS):
        for piece in range(12):
            shop.press(f"+1.{55 + (turn * 12 + piece) * 5 % 14}\r".encode())
            reading = feed.until("reading")
            if piece == 4:
                clients[turn % len(clients)].kill()
        if reading["piece"] < 5:
            shop.call("retract", station="bench-1")
            if turn % 2:
                shop.call("restore", station="bench-1")
        if turn % 3 == 2:
            shop.kill()
            shop.start()
            feed.connect(shop)
            feed.until("attached")
        clients[turn % len(clients)].start()
        states.append(feed.state)
    shop.call("arm", station="bench-1", plan="zeroed", cut=True)
    for text in "0.00 1.62 1.63 0.05 0.00 1.63 1.61 0.00".split():
        shop.press(f"+{text}\r".encode())
        feed.until("reading" if float(text) > 1 else "zeroed")
    feed.until("completed")


def begun_late(shop, feed, commands):
    """Clients that begin in the midst of a series whose first segments were removed: they say so, and go on."""
    shop.stop()
    os.environ["TALLYJAW_TEST_SEGMENT_BYTES"] = "4000"
    shop.start()
    feed.connect(shop)
    feed.until("attached")
    armed = shop.call("arm", station="bench-1", plan="zeroed")["seq"]
    for number in range(40):
        shop.call("note", text=f"{number} {'x' * 100}")
    shop.stop()
    for segment in sorted((shop.root / "state" / "journal").glob("*.jsonl"))[:-1]:
        segment.unlink()
    first = json.loads(shop.journal_lines()[0])["seq"]
    assert first > armed, (first, armed)
    shop.start()
    lines = shop.connect("feed.sock")
    lines.send({"after": first})

    def until(kind):
        while (said := lines.next())["kind"] != kind:
            pass
        return said

    until("attached")
    clients = [Client(shop.root, f"late-{name}", command) for name, command in commands.items()]
    for text in "0.00 1.62 1.63 0.00".split():
        shop.press(f"+{text}\r".encode())
        until("reading" if float(text) > 1 else "zeroed")
    last = until("completed")["seq"]
    for client in clients:
        client.reached(last)
        client.kill()
        out, err = client.out.read_text(), client.err.read_text()
        assert out.split() == [str(armed), "bench-1", "accepted"], f"{client.name}: {out}{err}"
        assert "entries_missing" in err, f"{client.name}: {err}"
    print(f"{len(clients)} clients begin with entry {first}, in the midst of series {armed}: they go on")


def main():
    plans = PLAN.format("run", 5, zero="false", repeat="true") + PLAN.format("zeroed", 2, zero="true", repeat="false")
    shop, states = bench.Bench.__new__(bench.Bench), []
    files = {"sheets/pump.toml": bench.SHEET, "tools.toml": bench.TOOLS, "plans/pump.toml": plans}
    shop.set_up(TALLYJAW, ["caliper-1"], files, lambda ports: bench.CONFIG.format(port=ports["caliper-1"]))
    types = shop.root / "types"
    types.mkdir()
    made_types(types)
    every = [f"tallyjaw_{name}.{end}" for name in KINDS for end in ("py", "ts")]
    said = checked(types, *every, "fold.py", "fold.mts")
    assert said == [None, None], said
    commands = {"fold.py": [sys.executable, types / "fold.py"], "fold.mts": ["node", types / "build" / "fold.mjs"], "fold.rs": [FOLD]}
    with shop:
        clients = [Client(shop.root, name, command) for name, command in commands.items()]
        feed = bench.Feed(shop)
        measured(shop, feed, clients, states)
        lines = [json.loads(line) for line in shop.journal_lines()]
        want = counted(lines)
        for client in clients:
            client.reached(lines[-1]["seq"])
            got = json.loads(client.file.read_text())["counts"]
            got = {key: count for key, count in got.items() if count}
            assert got == want, f"{client.name}: got {got}, want {want}"
            client.kill()
            closed = sorted({f"{line['series']} {line['station']} {line['outcome']}" for line in lines if line["kind"] == "completed"})
            told = sorted({" ".join(line.split()[:3]) for line in client.out.read_text().splitlines()})
            assert told == closed, f"{client.name}: got {told}, want {closed}"
            print(f"{client.name}: {sum(want.values())} readings counted once each, killed {client.kills} times")
        begun_late(shop, feed, commands)
        kinds = {line["kind"] for line in lines}
        assert {"doubted", "retracted", "restored", "completed"} <= kinds, kinds
        long = [*states, *lines]
        session(types, long)
        said = checked(types, "session.py", "session.mts")
        assert said == [None, None], said
        at = next(at for at, line in enumerate(long) if line["kind"] == "completed")
        for wrong in ({"outcom": "accepted"}, {"outcome": "fine"}, {"series": "17"}):
            session(types, [{**long[at], **wrong}])
            said = checked(types, "session.py", "session.mts")
            assert None not in said, f"{wrong} is not seen: {said}"
        print(f"types of {len(KINDS)} schemas, in Python and TypeScript: {len(long)} lines of a session without a fault, 3 wrong ones seen")


if __name__ == "__main__":
    main()
