"""A made-up bench with one caliper on a pseudo-terminal, and a real tallyjaw reading it.

Standard library only, and nothing of tallyjaw's own code: what stands here is what any other
program would have to know.
"""

import hashlib
import json
import os
import pathlib
import pty
import signal
import socket
import subprocess
import tempfile
import time
import tty

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
    """JSON objects, a line each, from a Unix socket."""

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
    """The files, the caliper's end of the line and the daemon; leave it by `with`."""

    def __init__(self, binary, plans):
        self.binary = binary
        self.folder = tempfile.TemporaryDirectory(prefix="tallyjaw-")
        self.root = pathlib.Path(self.folder.name)
        self.caliper, self.port = pty.openpty()
        self.pressed = None
        tty.setraw(self.port)
        files = {
            "tallyjaw.toml": CONFIG.format(port=os.ttyname(self.port)),
            "sheets/pump.toml": SHEET,
            "tools.toml": TOOLS,
            "plans/pump.toml": "".join(PLAN.format(**plan) for plan in plans),
        }
        for name, text in files.items():
            path = self.root / name
            path.parent.mkdir(exist_ok=True)
            path.write_text(text)

    def __enter__(self):
        self.daemon = subprocess.Popen([self.binary, "--config", str(self.root / "tallyjaw.toml"), "serve"])
        return self

    def __exit__(self, *_):
        self.daemon.kill()
        self.daemon.wait()
        os.close(self.caliper)
        os.close(self.port)
        self.folder.cleanup()

    def connect(self, name):
        deadline = time.monotonic() + PATIENCE_S
        while True:
            try:
                return Lines(self.root / "run" / name)
            except (FileNotFoundError, ConnectionRefusedError):
                assert self.daemon.poll() is None, f"the daemon ended with {self.daemon.returncode}"
                assert time.monotonic() < deadline, f"no {name} after {PATIENCE_S} s"
                time.sleep(0.01)

    def press(self, frame):
        """One press; the same value twice within 150 ms would be taken for a bouncing key."""
        if frame == self.pressed:
            time.sleep(0.2)
        self.pressed = frame
        os.write(self.caliper, frame)

    def call(self, method, **params):
        """One JSON-RPC call on the control socket; gives its result."""
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


def assert_chained(lines):
    """`seq` without gaps, and `prev` the SHA-256 of the line before, without its newline."""
    before = None
    for at, line in enumerate(lines):
        entry = json.loads(line)
        assert entry["seq"] == at + 1, f"seq {entry['seq']} stands at {at + 1}"
        if before is not None:
            want = hashlib.sha256(before.rstrip(b"\n")).hexdigest()
            assert entry["prev"] == want, f"seq {at + 1}: prev {entry['prev']}, want {want}"
        before = line
