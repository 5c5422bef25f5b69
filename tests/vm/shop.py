"""A made-up shop in the guest: configuration, daemon as the user `bench`, and its feed on the host."""

import json
import shlex
import time

from machine import Failed

SHEET = """
[[terminal]]
id = "QF-250-F"
source = "made up"

[[terminal.row]]
wire = "2.0 mm²"
core_crimp_height = "1.62 ±0.05 mm"
"""

PLANS = """
[[plan]]
id = "pump-own"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = 20
purpose = "in_process"
decision = "simple"
zero = { before_first = false, closing = false }
"""

DAEMON = """
[daemon]
state_dir = "state"
runtime_dir = "run"
sheets = ["sheet.toml"]
plans = ["plans.toml"]
"""

CALIPER = """
[[station]]
name = "bench-{number}"

[[instrument]]
name = "caliper-{number}"
station = "bench-{number}"
kind = "caliper"
port = {port}
line = "{line}"
dtr = true
rts = false
format = "decimal-line"
unit = "mm"
resolution = "0.01 mm"
max_error = "0.02 mm"
range = "0..150 mm"
capture = "press"
"""

PEDAL = """
[[instrument]]
name = "pedal-1"
station = "bench-1"
kind = "pedal"
port = {port}
contact = "CTS"
does = "retract"
"""


def by_serial(serial):
    return f'{{ usb_serial = "{serial}" }}'


def by_path(path):
    return f'"{path}"'


class Shop:
    """A folder on the guest's disk; `ports` are those of caliper-1, caliper-2 and so on."""

    def __init__(self, machine, name, *ports, more="", user="bench", made=False):
        self.machine = machine
        self.folder = f"/mnt/{name}"
        self.user = user
        self.lines = []
        self.starts = 0
        self.watch_pid = None
        self.ready_after_s = None  # from the call of the daemon, as the host sees it
        if not made:
            self.configure(*ports, more=more)
            machine.write(f"{self.folder}/sheet.toml", SHEET)
            machine.write(f"{self.folder}/plans.toml", PLANS)
        machine.must(f"chown -R {user} {self.folder}")

    def configure(self, *ports, more="", lines=("4800 7E2", "9600 8N1")):
        calipers = [CALIPER.format(number=at + 1, port=port, line=lines[at]) for at, port in enumerate(ports)]
        self.machine.write(f"{self.folder}/tallyjaw.toml", DAEMON + "".join(calipers) + more)

    def as_user(self, arguments):
        """The shell command that runs tallyjaw as the user; with `exec` it replaces the shell."""
        return f"su {self.user} -c {shlex.quote(f'exec tallyjaw --config {self.folder}/tallyjaw.toml {arguments}')}"

    def tallyjaw(self, arguments):
        """Runs a command. Returns exit status and output."""
        return self.machine.run(self.as_user(arguments))

    def call(self, arguments):
        return self.machine.must(self.as_user(arguments))

    def status(self):
        return json.loads(self.call("--json status"))

    def start(self):
        """Starts the daemon, waits until it serves, and follows its feed from the first entry on."""
        ready = f"{self.folder}/ready"
        serve = f"{self.as_user('--json serve')} >{ready} 2>>{self.folder}/messages"
        self.starts += 1
        begun = time.monotonic()
        self.machine.must(f"rm -f {ready}; mkfifo {ready}; {serve} & echo $! >{self.folder}/pid; read -r line <{ready} || {{ cat {self.folder}/messages; exit 1; }}")
        self.ready_after_s = time.monotonic() - begun
        self.follow()

    def follow(self):
        machine = self.machine
        machine.watches += 1
        mark = f"watch {machine.watches}"
        machine.must(f"{{ echo; echo {mark}; exec {self.as_user('--json watch --after 0')}; }} >/run/port/feed 2>/run/watch & echo $! >{self.folder}/watch-pid")
        while machine.feed.line(f"start of {mark}; {self.folder}").strip() != mark.encode():
            pass
        self.lines = []

    def stop(self):
        """Sends SIGTERM and waits until daemon and watch are gone."""
        self.machine.must(f"kill $(cat {self.folder}/pid)")
        self.gone("pid")
        self.gone("watch-pid")

    def gone(self, name):
        self.machine.wait_in_guest(f"[ ! -e /proc/$(cat {self.folder}/{name}) ]")

    def messages(self):
        return self.machine.must(f"cat {self.folder}/messages")

    def journal(self):
        return self.machine.must(f"cat {self.folder}/state/journal/*.jsonl").splitlines()

    # The feed.

    def next(self):
        """The next entry; other messages of the daemon are skipped."""
        while True:
            line = self.machine.feed.line(f"entry on the feed; so far {self.tail()}")
            message = json.loads(line)
            if "prev" in message:
                self.lines.append(line.decode().rstrip("\n"))
                return message

    def wait_for(self, kind, **fields):
        """Skips entries up to one of this kind with these fields."""
        while True:
            entry = self.next()
            if entry["kind"] == kind and all(entry.get(name) == value for name, value in fields.items()):
                return entry

    def wait_for_new(self, kind):
        """As `wait_for`, for entries of the daemon that runs now, because the feed begins with all entries."""
        while True:
            entry = self.next()
            started = sum('"kind":"started"' in line for line in self.lines)
            if entry["kind"] == kind and started == self.starts:
                return entry

    def until(self, kind, **fields):
        """All entries up to the one of this kind, which is included."""
        entries = [self.next()]
        while not (entries[-1]["kind"] == kind and all(entries[-1].get(k) == v for k, v in fields.items())):
            entries.append(self.next())
        return entries

    def tail(self):
        return self.lines[-3:]

    def arm(self, station="bench-1"):
        self.call(f"arm pump-own --station {station}")
        return self.wait_for("armed", station=station)["seq"]

    def wait_for_trouble(self, words):
        """Waits until the only trouble has these words."""
        status = self.as_user("--json status")
        self.machine.wait_in_guest(f"{status} | grep -q {shlex.quote(words)}")
        troubles = self.status()["troubles"]
        if len(troubles) != 1:
            raise Failed(f"want one trouble, got {troubles}")
        return troubles[0]


def facts(entry, *names):
    """Only these fields of an entry."""
    return {name: entry.get(name) for name in names}
