"""Uses the image of a bench computer in a virtual machine.

    trial.py config FOLDER                  writes the configuration that the image is made with
    trial.py use IMAGE_FOLDER SEEN [STEP…]  all steps, or these

The image itself has no door for a test: a unit that runs commands comes in by the virtual firmware (a credential of systemd),
as nothing but a virtual machine can do it.
"""

import base64
import json
import os
import pathlib
import random
import shutil
import subprocess
import sys
import threading
import time

here = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(here.parent / "vm"))
import machine  # noqa: E402
from machine import Failed, Machine  # noqa: E402
from shop import CALIPER, PLANS, SHEET, by_serial  # noqa: E402

machine.PATIENCE_S = 900.0  # a limit for failing: a start of the whole system

CONFIGURATION = """
[daemon]
state_dir = "/var/lib/tallyjaw"
runtime_dir = "/run/tallyjaw"
sheets = ["sheet.toml"]
plans = ["plans.toml"]

[page]
listen = "127.0.0.1:8354"
"""

# A name by the socket: the rule is read from the folder of the configuration.
RULE = 'SUBSYSTEM=="tty", ATTRS{serial}=="CAL-A", SYMLINK+="bench-1-caliper"\n'

SHELL = """[Unit]
Description=Commands of a trial
After=dev-virtio\\x2dports-shell.device
Wants=dev-virtio\\x2dports-shell.device
[Service]
ImportCredential=trial.guest
ExecStart=/bin/bash %d/trial.guest
"""


def equal(got, want):
    assert got == want, f"\n got {got}\nwant {want}"


def write_configuration(folder):
    folder.mkdir(parents=True)
    caliper = CALIPER.format(number=1, port=by_serial("CAL-A"), line="9600 8N1")
    (folder / "tallyjaw.toml").write_text(CONFIGURATION + caliper)
    (folder / "sheet.toml").write_text(SHEET)
    (folder / "plans.toml").write_text(PLANS)
    (folder / "udev").mkdir()
    (folder / "udev/80-bench.rules").write_text(RULE)


class Bench(Machine):
    """The bench computer, started by its firmware from its disk."""

    def __init__(self, disk, stick, logs, screen):
        self.stick = stick
        self.screen = screen
        self.firmware = f"{disk}.firmware"
        if not os.path.exists(self.firmware):
            shutil.copy("/usr/share/OVMF/OVMF_VARS_4M.fd", self.firmware)
        self.announced = []
        super().__init__(None, b"", disk, logs)

    def _command(self, kernel, initrd, disk, architecture):
        """The firmware finds kernel and initrd on the disk."""
        accelerator = os.environ.get("ACCELERATOR", "-accel tcg,thread=multi -cpu max")
        command = f"""qemu-system-x86_64 -M q35 {accelerator} -m 2048 -smp 2 -nodefaults
            -display none -device virtio-vga,xres=1280,yres=800 -device i6300esb -action watchdog=reset -qmp chardev:monitor
            -device virtio-serial-pci -device qemu-xhci,p2=15,p3=15,id=usb -device usb-tablet,bus=usb.0,port=9
            -device usb-kbd,bus=usb.0,port=10 -trace usb_serial_*""".split()
        command += ["-D", f"{self.logs}/usb", "-monitor", f"unix:{self.logs}/look,server=on,wait=off"]  # for a person: screendump
        command += ["-drive", "if=pflash,format=raw,readonly=on,file=/usr/share/OVMF/OVMF_CODE_4M.fd"]
        command += ["-drive", f"if=pflash,format=raw,file={self.firmware}"]
        command += ["-drive", f"file={disk},format=raw,if=virtio,cache=writeback"]
        command += ["-blockdev", f"driver=file,node-name=stick,filename={self.stick}"]
        for name in ["monitor", "shell", "feed"]:
            command += ["-chardev", f"socket,id={name},path={self.sockets}/{name},server=on,wait=off"]
        for name in ["shell", "feed"]:
            command += ["-device", f"virtserialport,chardev={name},name={name}"]
        credentials = {
            "systemd.extra-unit.trial.service": SHELL,
            "systemd.unit-dropin.multi-user.target~trial": "[Unit]\nWants=trial.service\n",
            "trial.guest": (here / "guest.sh").read_text(),
        }
        if not self.screen:  # an emulated processor takes minutes to start a browser
            credentials["systemd.unit-dropin.kiosk.service~trial"] = "[Unit]\nConditionPathExists=/nowhere\n"
        for name, text in credentials.items():
            value = base64.b64encode(text.encode()).decode()
            command += ["-smbios", f"type=11,value=io.systemd.credential.binary:{name}={value}"]
        return command

    # The bench.

    def tallyjaw(self, arguments):
        return f"setpriv --reuid=tallyjaw --regid=tallyjaw --init-groups tallyjaw --config /etc/tallyjaw/tallyjaw.toml {arguments}"

    def call(self, arguments):
        return self.must(self.tallyjaw(arguments))

    def ready(self):
        self.wait_in_guest("systemctl is-active --quiet tallyjaw.service")
        return self

    def follow(self):
        """The feed from the first entry on, on a second way out of the machine. Entries are kept as they are announced."""
        self.must(f"{self.tallyjaw('--json watch --after 0')} >/dev/virtio-ports/feed 2>/dev/null </dev/null &")
        self.announced = []

    def next(self):
        while True:
            line = self.feed.line(f"entry on the feed; so far {self.announced[-2:]}")
            message = json.loads(line)
            if "prev" in message:
                self.announced.append(line)
                return message

    def wait_for(self, kind, **fields):
        while True:
            entry = self.next()
            if entry["kind"] == kind and all(entry.get(name) == value for name, value in fields.items()):
                return entry

    def journal(self):
        return self.must("cat /var/lib/tallyjaw/journal/*.jsonl").encode().splitlines(keepends=True)

    def colour(self, across, down):
        """Red, green and blue of a point of the screen."""
        path = self.logs / "screen.ppm"
        self.ask("screendump", filename=str(path), format="ppm")
        kind, size, _most, points = path.read_bytes().split(b"\n", 3)
        equal(kind, b"P6")
        at = 3 * (down * int(size.split()[0]) + across)
        return tuple(points[at : at + 3])

    def touch(self, x, y):
        """A finger on the screen; from 0 to 1 across and down."""
        at = [{"type": "abs", "data": {"axis": axis, "value": int(part * 32767)}} for axis, part in [("x", x), ("y", y)]]
        self.ask("input-send-event", events=at)
        for down in [True, False]:
            self.ask("input-send-event", events=[{"type": "btn", "data": {"button": "left", "down": down}}])


class Trial:
    def __init__(self, image, seen):
        self.image, self.seen = image, seen
        self.disk = image / "trial.img"
        self.stick = image / "stick.img"
        self.logs = image / "logs"
        shutil.rmtree(seen, ignore_errors=True)
        seen.mkdir(parents=True)
        for path in [self.disk, self.stick, pathlib.Path(f"{self.disk}.firmware")]:
            path.unlink(missing_ok=True)
        subprocess.run(["cp", "--sparse=always", str(image / "disk.img"), str(self.disk)], check=True)
        os.truncate(self.disk, 4 << 30)  # a disk that is larger than the image, as all are
        with open(self.stick, "wb") as stick:
            stick.truncate(700 << 20)
        subprocess.run(["mkfs.vfat", "-n", "TALLYJAW", str(self.stick)], check=True, stdout=subprocess.DEVNULL)

    def start(self, screen=False):
        return Bench(self.disk, self.stick, self.logs, screen)


def the_first_start_makes_the_state_and_opens_no_port(trial):
    before = time.monotonic()
    with trial.start() as bench:
        bench.ready()
        print(f"  ready after {time.monotonic() - before:.0f} s, first start")
        ended = bench.run("systemctl is-system-running --wait")[1].strip()
        equal(bench.must("systemctl --failed --no-legend --plain"), "")
        equal(ended, "running")
        print("  " + bench.must("systemd-analyze time").splitlines()[0])
        state = bench.must("findmnt --noheadings --output FSTYPE,OPTIONS /state")
        assert state.startswith("ext4") and "data=ordered" in state and "noexec" in state, state
        size = int(bench.must("findmnt --noheadings --bytes --output SIZE /state"))
        assert size > 1 << 30, size  # the rest of the disk
        equal(bench.must("findmnt --noheadings --output FSTYPE /").strip(), "squashfs")
        for path in ["/etc", "/usr/bin", "/var", "/root"]:
            status, said = bench.run(f"touch {path}/x")
            assert status and "Read-only file system" in said, said
        listening = bench.must("ss --no-header --listening --tcp --udp --numeric").splitlines()
        equal([line.split()[4] for line in listening], ["127.0.0.1:8354"])
        equal(bench.must("systemctl show --value --property WatchdogDevice").strip(), "/dev/watchdog0")


def a_caliper_is_read_and_the_screen_shows_it(trial):
    with trial.start(screen=True) as bench:
        bench.ready()
        caliper = bench.plug("a", "CAL-A", 1)  # the first adapter since the start
        bench.follow()
        equal(bench.wait_for("attached")["identity"], "0403:6001 serial CAL-A")
        bench.wait_in_guest("[ -e /dev/bench-1-caliper ]")
        bench.wait_in_guest("ss --no-header --tcp state established | grep -q :8354")
        bench.call("arm pump-own --station bench-1")
        bench.wait_for("armed")
        caliper.send(b"+1.63\r")
        equal(bench.wait_for("reading")["verdict"], "pass")
        shown(bench, trial.seen / "pass", lambda red, green, blue: green > red + 10)
        caliper.send(b"+1.75\r")
        equal(bench.wait_for("reading")["verdict"], "fail_high")
        shown(bench, trial.seen / "fail", lambda red, green, blue: red > green + 15)
        bench.unplug("a")
        bench.wait_for("detached")


def shown(bench, path, is_it):
    """Waits until the field of the verdict has the colour, and keeps a picture of the screen."""
    machine.wait_until(lambda: is_it(*bench.colour(60, 560)), f"the screen does not come to {path.name}")
    bench.ask("screendump", filename=f"{path}.png", format="png")


def plugged(bench):
    """Plugs the stick in; False while the one of before is not quite gone."""
    try:
        bench.ask("device_add", driver="usb-storage", id="stick", drive="stick", bus="usb.0", port="5", removable=True)
        return True
    except Failed:
        return False


def a_stick_gets_the_archive(trial):
    with trial.start() as bench:
        bench.ready()
        for turn in [1, 2]:  # the second time it gets what is new
            machine.wait_until(lambda: plugged(bench), "the stick is still plugged in")
            bench.wait_in_guest(f"[ $(journalctl --unit 'bench-archive@*' --output cat | grep -c ^Finished) = {turn} ]")
            bench.unplug("stick")
        lines = bench.journal()
    folder = trial.image / "from-stick"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    subprocess.run(["mcopy", "-s", "-i", str(trial.stick), "::bench", "::RESULT.txt", str(folder)], check=True)
    result = (folder / "RESULT.txt").read_text()
    assert ": intact" in result and "exit code 0" in result, result
    subprocess.run(["sha256sum", "--check", "--strict", "--quiet", "SHA256SUMS"], cwd=folder / "bench", check=True)
    kept = b"".join(path.read_bytes() for path in sorted((folder / "bench/journal").iterdir()))
    equal(kept, b"".join(lines[: kept.count(b"\n")]))
    assert kept.count(b"\n") >= len(lines) - 2, (kept.count(b"\n"), len(lines))


def an_update_is_taken_at_the_next_start_and_taken_back(trial):
    with open(trial.image / "update.img", "wb") as disk:
        disk.truncate(1 << 30)
    stick = trial.image / "update.img"
    subprocess.run(["mkfs.vfat", "-F", "32", "-n", "UPDATE", str(stick)], check=True, stdout=subprocess.DEVNULL)
    subprocess.run(["mcopy", "-s", "-i", str(stick), str(trial.image / "update"), "::"], check=True)
    archive, trial.stick = trial.stick, stick
    runs = "sed 's/.*root=PARTLABEL=root-\\(.\\).*/\\1/' /proc/cmdline"
    with trial.start() as bench:
        bench.ready()
        equal(bench.must(runs).strip(), "a")
        bench.ask("device_add", driver="usb-storage", id="stick", drive="stick", bus="usb.0", port="5", removable=True)
        bench.wait_in_guest("[ -e /dev/disk/by-label/UPDATE ]")
        bench.must("mkdir /run/update && mount -o ro /dev/disk/by-label/UPDATE /run/update")
        bench.must("bench-update /run/update/update")
        lines = bench.journal()
    for step, want in [("updated", "b"), ("back", "a")]:
        with trial.start() as bench:
            bench.ready()
            equal((step, bench.must(runs).strip()), (step, want))
            equal(bench.journal()[: len(lines)], lines)
            if want == "b":
                bench.must("bench-update --back")
    trial.stick = archive
    stick.unlink()


def a_computer_that_hangs_is_started_again(trial):
    with trial.start() as bench:
        bench.ready()
        bench.shell.end.sendall(b"99 echo 0 >/proc/sys/kernel/panic; echo c >/proc/sysrq-trigger\n")
        while b"WATCHDOG" not in bench.monitor.line("event of the watchdog"):
            pass


def nothing_that_was_announced_is_lost_at_power_cuts(trial):
    cuts, seed = int(os.environ.get("CUTS", "10")), int(os.environ.get("SEED", str(random.randrange(1 << 30))))
    print(f"  {cuts} cuts, SEED={seed}")
    chance = random.Random(seed)
    kept = []
    for cut in range(cuts + 1):
        with trial.start() as bench:
            caliper = bench.plug("a", "CAL-A", 1)
            bench.ready().follow()
            while len(bench.announced) < len(kept):
                bench.next()
            equal(bench.announced, kept)
            entry = bench.wait_for("attached")
            while not any(b'"kind":"started"' in line for line in bench.announced[len(kept) :]):
                entry = bench.wait_for("attached")
            if cut == cuts:
                equal(bench.call("verify").splitlines()[0].split(": ")[-1], "intact")
                break
            if bench.run(bench.tallyjaw("arm pump-own --station bench-1"))[0] == 0:
                bench.wait_for("armed")
            ended = threading.Event()

            def send(caliper=caliper, ended=ended):
                while not ended.wait(0.05):
                    try:
                        caliper.send(b"+1.6%d\r" % chance.randrange(6))
                    except OSError:
                        return

            threading.Thread(target=send, daemon=True).start()
            bench.wait_for("reading")
            end = time.monotonic() + chance.uniform(0, 4)
            while time.monotonic() < end:
                bench.next()
            bench.process.kill()  # the power
            ended.set()
            try:
                while True:  # what has left the machine was announced too
                    bench.next()
            except Failed:
                kept = bench.announced
            print(f"  cut {cut + 1}: {len(kept)} entries announced up to here", flush=True)
    readings = sum(b'"kind":"reading"' in line for line in kept)
    print(f"  {len(kept)} announced entries, {readings} of them readings, are in the journal byte for byte after {cuts} cuts")


STEPS = [
    the_first_start_makes_the_state_and_opens_no_port,
    a_caliper_is_read_and_the_screen_shows_it,
    a_stick_gets_the_archive,
    an_update_is_taken_at_the_next_start_and_taken_back,
    a_computer_that_hangs_is_started_again,
    nothing_that_was_announced_is_lost_at_power_cuts,
]


def main(arguments):
    if arguments[0] == "config":
        write_configuration(pathlib.Path(arguments[1]))
        return 0
    trial = Trial(pathlib.Path(arguments[1]).resolve(), pathlib.Path(arguments[2]).resolve())
    for step in STEPS:
        if len(arguments) > 3 and step.__name__ not in arguments[3:]:
            continue
        begun = time.monotonic()
        try:
            step(trial)
        except (Failed, AssertionError, subprocess.CalledProcessError) as error:
            print(f"image: FAILED: {step.__name__}: {error}", file=sys.stderr)
            return 1
        print(f"image: {step.__name__}: ok, {time.monotonic() - begun:.0f} s", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
