"""A made-up bench with instruments on pseudo-terminals, read by a real tallyjaw.

It uses the standard library and none of tallyjaw's code, so it knows only what any other program
would have to know.
"""

import json
import os
import pathlib
import pty
import signal
import socket
import subprocess
import sys
import tempfile
import time
import tty

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[2] / "examples"))
import verify  # noqa: E402

PATIENCE_S = 20.0  # a limit for failing, never a pace

CONFIG = """
[daemon]
state_dir = "state"
runtime_dir = "run"
sheets = ["sheets/*.toml"]
plans = ["plans/*.toml"]
tools = "tools.toml"

[[station]]
name = "bench-1"

[[instrument]]
name = "caliper-1"
station = "bench-1"
kind = "caliper"
port = "{port}"
line = "9600 8N1"
format = "decimal-line"
unit = "mm"
resolution = "0.01 mm"
max_error = "0.02 mm"
range = "0..150 mm"
capture = "press"
"""

SHEET = """
[[terminal]]
id = "QF-250-F"
source = "made up"

[[terminal.row]]
wire = "2.0 mm²"
core_crimp_height = "1.62 ±0.05 mm"
core_crimp_width = "2.40 ±0.10 mm"
"""

TOOLS = """
[[tool]]
id = "T-07"
class = "production"
terminals = ["QF-250-F"]

[[tool.nest]]
id = "2.0"
wires = ["2.0 mm²"]
"""

PLAN = """
[[plan]]
id = "{name}"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = {axes}
order = "by_axis"
pieces = {pieces}
purpose = "first_off"
tool = "T-07"
nest = "2.0"
decision = "{decision}"
zero = {{ before_first = true, closing = true }}
"""


class Lines:
    """JSON objects from a Unix socket, one on each line."""

    def __init__(self, path):
        self.socket = socket.socket(socket.AF_UNIX)
        self.socket.settimeout(PATIENCE_S)
        self.socket.connect(str(path))
        self.file = self.socket.makefile("rb")

    def send(self, message):
        self.socket.sendall(json.dumps(message).encode() + b"\n")

    def next_bytes(self):
        line = self.file.readline()
        assert line.endswith(b"\n"), f"the socket closed in mid-line: {line!r}"
        return line

    def next(self):
        return json.loads(self.next_bytes())


class Bench:
    """The files, the instruments and the daemon; used with `with`."""

    def __init__(self, binary, plans):
        plans = "".join(PLAN.format(**plan) for plan in plans)
        files = {"sheets/pump.toml": SHEET, "tools.toml": TOOLS, "plans/pump.toml": plans}
        self.set_up(binary, ["caliper-1"], files, lambda ports: CONFIG.format(port=ports["caliper-1"]))

    def set_up(self, binary, instruments, files, config):
        """A pseudo-terminal for each instrument; `config` writes tallyjaw.toml from their paths."""
        self.binary = binary
        self.folder = tempfile.TemporaryDirectory(prefix="tallyjaw-")
        self.root = pathlib.Path(self.folder.name)
        self.ends = {name: pty.openpty() for name in instruments}
        self.sent = {}
        for _, port in self.ends.values():
            tty.setraw(port)
        ports = {name: os.ttyname(port) for name, (_, port) in self.ends.items()}
        for name, text in {**files, "tallyjaw.toml": config(ports)}.items():
            path = self.root / name
            path.parent.mkdir(exist_ok=True)
            path.write_text(text)

    def start(self):
        self.daemon = subprocess.Popen(self.command("serve"))

    def command(self, *arguments):
        return [self.binary, "--config", str(self.root / "tallyjaw.toml"), *arguments]

    def __enter__(self):
        self.start()
        return self

    def __exit__(self, *_):
        self.kill()
        for ends in self.ends.values():
            for end in ends:
                os.close(end)
        self.folder.cleanup()

    def kill(self):
        """Kills the daemon, as a power cut would."""
        self.daemon.kill()
        self.daemon.wait()

    def connect(self, name):
        deadline = time.monotonic() + PATIENCE_S
        while True:
            try:
                return Lines(self.root / "run" / name)
            except (FileNotFoundError, ConnectionRefusedError):
                assert self.daemon.poll() is None, f"the daemon ended with {self.daemon.returncode}"
                assert time.monotonic() < deadline, f"no {name} after {PATIENCE_S} s"
                time.sleep(0.01)

    def press(self, frame, instrument="caliper-1"):
        """Sends one press. The same value again within 150 ms would count as a bouncing key."""
        if frame == self.sent.get(instrument):
            time.sleep(0.2)
        self.sent[instrument] = frame
        os.write(self.ends[instrument][0], frame)

    def call(self, method, **params):
        """Makes a JSON-RPC call on the control socket, and returns its result."""
        control = self.connect("control.sock")
        control.send({"jsonrpc": "2.0", "id": 1, "method": method, "params": params})
        answer = control.next()
        assert answer.get("id") == 1 and "result" in answer, f"{method} {params}: {answer}"
        return answer["result"]

    def stop(self):
        self.daemon.send_signal(signal.SIGTERM)
        return self.daemon.wait(PATIENCE_S)

    def journal_lines(self):
        segments = sorted((self.root / "state" / "journal").glob("*.jsonl"))
        assert segments, "no segment was written"
        return [line for segment in segments for line in segment.read_bytes().splitlines(keepends=True)]


class Feed:
    """Every entry of the journal, from the first on."""

    def __init__(self, bench):
        self.seen = []
        self.waiting = []
        self.connect(bench)

    def connect(self, bench):
        """Continues after the entries seen so far, also with another daemon of the same journal."""
        self.lines = bench.connect("feed.sock")
        hello = self.lines.next()
        assert hello["kind"] == "hello" and hello["v"] == 1, hello
        assert hello["journal"] and hello["version"] and hello["first"] == 1, hello
        self.journal = hello["journal"]
        self.state = self.lines.next()
        assert self.state["kind"] == "state" and "stations" in self.state and "instruments" in self.state, self.state
        before = list(self.seen)
        self.lines.send({"after": len(before)})
        line, entry = self.read()
        while entry["seq"] != len(before) + 1:  # what became durable before the request was read
            line, entry = self.read()
        self.seen = before
        self.waiting = [line]

    def read(self):
        line = self.waiting.pop() if self.waiting else self.lines.next_bytes()
        self.seen.append(line)
        return line, json.loads(line)

    def until(self, kind):
        """Skips entries up to the first `kind`."""
        while True:
            _, entry = self.read()
            if entry["kind"] == kind:
                return entry

    def expect(self, kind, **fields):
        """Asserts the kind and these fields of the next entry; `None` means that the field is left out."""
        _, entry = self.read()
        got = {name: entry.get(name) for name in fields}
        assert entry["kind"] == kind and got == fields, f"want {kind} {fields}, got {entry}"
        return entry


def assert_chained(lines):
    """Asserts that examples/verify.py, which shares no code with tallyjaw, finds no fault in a whole journal."""
    verifier = verify.Verifier()
    for line in lines:
        kind = json.loads(line)["kind"]
        verifier.line(line.rstrip(b"\n"), kind if kind in ("begun", "segment") else None)
    assert not verifier.faults, "\n".join(verifier.faults)
