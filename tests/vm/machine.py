"""A virtual machine with USB adapters for the kernel's real driver, and the instruments behind them.

In: what to plug, pull, send and run. Out: the output of the guest's commands, the daemon's feed and the
instruments' lines. This file does not judge any of it.
"""

import base64
import ctypes
import json
import os
import pathlib
import shlex
import signal
import socket
import subprocess
import tempfile
import threading
import time

PATIENCE_S = 90.0  # a limit for failing, never a pace: an emulated processor on a busy machine is slow

KERNEL_ARGUMENTS = "quiet panic=-1 mitigations=off cryptomgr.notests"
# By architecture: the machine, and what its kernel is told besides.
MACHINES = {
    "x86_64": ("qemu-system-x86_64 -M pc -cpu qemu64,+rdrand -m 256", "console=ttyS0 tsc=reliable no_timer_check"),
    "aarch64": ("qemu-system-aarch64 -M virt -cpu cortex-a53 -m 512", "console=ttyAMA0"),
    "armv7": ("qemu-system-arm -M virt,highmem=off -cpu cortex-a15 -m 512", "console=ttyAMA0"),
}


class Failed(Exception):
    """An expected event did not come; holds what came instead."""


def wait_until(done, what, said=lambda: ""):
    """Repeats `done` until it returns something, where there is no event to wait for."""
    deadline = time.monotonic() + PATIENCE_S
    while not (found := done()):
        if time.monotonic() > deadline:
            raise Failed(f"{what} after {PATIENCE_S:.0f} s; {said()}")
        time.sleep(0.02)
    return found


def connect(path):
    def trial():
        end = socket.socket(socket.AF_UNIX)
        try:
            end.connect(str(path))
            return end
        except OSError:
            end.close()
            return None

    return wait_until(trial, f"no {path.name}")


class Incoming:
    """Bytes of a socket, collected by a thread so that the machine never waits."""

    def __init__(self, end):
        self.end = end
        self.gathered = bytearray()
        self.changed = threading.Condition()
        self.ended = False
        threading.Thread(target=self._gather, daemon=True).start()

    def _gather(self):
        while True:
            try:
                piece = self.end.recv(65536)
            except OSError:
                piece = b""
            with self.changed:
                self.gathered += piece
                self.ended = not piece
                self.changed.notify_all()
            if not piece:
                return

    def take(self, find, what):
        """Waits until `find(bytes)` returns a number, and takes that number of bytes."""
        deadline = time.monotonic() + PATIENCE_S
        with self.changed:
            while not (count := find(self.gathered)):
                left = deadline - time.monotonic()
                if self.ended or left <= 0:
                    raise Failed(f"no {what}; got {bytes(self.gathered[-2000:])!r}")
                self.changed.wait(left)
            taken = bytes(self.gathered[:count])
            del self.gathered[:count]
            return taken

    def line(self, what="line"):
        return self.take(lambda got: got.find(b"\n") + 1, what)

    def now(self):
        """Takes the bytes that are there."""
        with self.changed:
            taken = bytes(self.gathered)
            self.gathered.clear()
            return taken


class Adapter:
    """An adapter and the instrument at its cable. Both survive a replug."""

    def __init__(self, name, serial, end):
        self.name = name
        self.serial = serial
        self.end = end
        self.heard = Incoming(end)

    def send(self, data):
        self.end.sendall(data)


class Machine:
    """A booted machine; used with `with`."""

    def __init__(self, kernel, archive, disk, logs, architecture="x86_64"):
        self.logs = pathlib.Path(logs)
        self.logs.mkdir(parents=True, exist_ok=True)
        self.folder = tempfile.TemporaryDirectory(prefix="vm-")  # a socket's path must be short
        self.sockets = pathlib.Path(self.folder.name)
        self.adapters = {}
        self.plugged = set()
        self.asked = 0
        self.commands = 0
        self.watches = 0
        initrd = self.sockets / "initrd"
        initrd.write_bytes(archive)
        with open(self.logs / "qemu", "wb") as said:
            self.process = subprocess.Popen(
                self._command(kernel, initrd, disk, architecture), stdin=subprocess.DEVNULL, stdout=said, stderr=said, preexec_fn=dies_with_us
            )
        try:
            self.monitor = Incoming(connect(self.sockets / "monitor"))
            self.shell = Incoming(connect(self.sockets / "shell"))
            self.feed = Incoming(connect(self.sockets / "feed"))
            self.monitor.line("greeting of the monitor")
            self.ask("qmp_capabilities")
            self.shell.take(lambda got: 6 if got.startswith(b"0 0 0\n") else 0, f"end of the boot; see {self.logs}/console")
        except BaseException:
            self.__exit__()
            raise

    def _command(self, kernel, initrd, disk, architecture):
        machine, told = MACHINES[architecture]
        command = f"""{machine} -accel tcg -nodefaults -display none -no-reboot
            -serial chardev:console -qmp chardev:monitor -device virtio-serial-pci -device qemu-xhci,p2=15,p3=1,id=usb
            -trace usb_serial_*""".split()
        command += ["-kernel", str(kernel), "-initrd", str(initrd), "-append", f"{KERNEL_ARGUMENTS} {told}", "-D", f"{self.logs}/usb"]
        command += ["-rtc", f"base={os.environ.get('TALLYJAW_VM_DATE', 'utc')}"]
        command += ["-chardev", f"file,id=console,path={self.logs}/console"]
        command += ["-drive", f"file={disk},format=raw,if=virtio,cache=writeback"]
        for name in ["monitor", "shell", "feed"]:
            command += ["-chardev", f"socket,id={name},path={self.sockets}/{name},server=on,wait=off"]
        for name in ["shell", "feed"]:
            command += ["-device", f"virtserialport,chardev={name},name={name}"]
        return command

    def __enter__(self):
        return self

    def __exit__(self, *_):
        """Stops the machine at once, as a power cut does: unwritten data of its kernel is lost."""
        self.process.kill()
        self.process.wait()
        self.folder.cleanup()

    # The monitor of the virtual machine: plugs.

    def ask(self, execute, **arguments):
        self.asked += 1
        request = {"execute": execute, "id": self.asked, "arguments": arguments}
        self.monitor.end.sendall(json.dumps(request).encode() + b"\n")
        while True:
            answer = json.loads(self.monitor.line(f"answer to {execute}"))
            if answer.get("id") == self.asked:
                if "error" in answer:
                    raise Failed(f"{execute}: {answer['error']['desc']}")
                return answer["return"]

    def plug(self, name, serial, socket_number):
        """Plugs the adapter `name` into a USB socket of the machine (1 to 15)."""
        if name not in self.adapters:
            path = self.sockets / name
            address = {"type": "unix", "data": {"path": str(path)}}
            backend = {"type": "socket", "data": {"addr": address, "server": True, "wait": False}}
            self.ask("chardev-add", id=f"line-{name}", backend=backend)
            self.adapters[name] = Adapter(name, serial, connect(path))
        device = {"driver": "usb-serial", "id": name, "chardev": f"line-{name}", "bus": "usb.0", "always-plugged": True}

        def plugged():
            try:
                self.ask("device_add", **device, serial=serial, port=str(socket_number))
                return True
            except Failed as refusal:  # after an unplug the old device goes a moment later
                if "in use" in str(refusal) or "Duplicate" in str(refusal):
                    return False
                raise

        wait_until(plugged, f"{name} is still plugged in")
        self.plugged.add(name)
        return self.adapters[name]

    def unplug(self, name):
        """Pulls the adapter; returns once it is gone."""
        self.ask("device_del", id=name)
        path = f"/machine/peripheral/{name}"

        def gone():
            try:
                self.ask("qom-list", path=path)
                return False
            except Failed:
                return True

        wait_until(gone, f"{name} is still plugged in")
        self.plugged.discard(name)

    def unplug_all(self):
        """Pulls all adapters, and waits until the guest has noticed."""
        for name in self.plugged.copy():
            self.unplug(name)
        self.wait_in_guest("! ls /dev/ttyUSB*")

    def requests_to_adapters(self):
        """Settings that the kernel made at the adapters: speed, frame, DTR and RTS; one on each line."""
        return (self.logs / "usb").read_text(errors="replace")

    # Commands in the guest.

    def run(self, command):
        """Runs a shell command as root. Returns exit status and output."""
        assert "\n" not in command
        self.commands += 1
        self.shell.end.sendall(f"{self.commands} {command}\n".encode())
        number, status, size = self.shell.line(f"answer to: {command}").split()
        assert int(number) == self.commands, (number, self.commands)
        said = self.shell.take(lambda got: int(size) if len(got) >= int(size) else 0, command) if int(size) else b""
        return int(status), said.decode(errors="replace")

    def must(self, command):
        """Runs a command that must succeed. Returns its output."""
        status, said = self.run(command)
        if status:
            raise Failed(f"exit status {status} of: {command}\n{said}")
        return said

    def write(self, path, data):
        """Writes text or bytes into a file."""
        encoded = base64.b64encode(data.encode() if isinstance(data, str) else data).decode()
        self.must(f"mkdir -p {os.path.dirname(path)} && echo {encoded} | base64 -d >{path}")

    def wait_in_guest(self, test):
        """Waits until a test of the shell holds in the guest."""
        turns = int(PATIENCE_S * 20)
        self.must(f"i=0; until {test}; do i=$((i+1)); [ $i -lt {turns} ] || {{ echo never: {shlex.quote(test)}; exit 1; }}; sleep 0.05; done")


def dies_with_us():
    ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG
