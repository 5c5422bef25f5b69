"""The daemon with a real USB-serial driver; each function is a scenario.

    scenarios.py ARCHITECTURE CACHE KERNEL_VERSION BINARY LOGS [SCENARIO…]

All run in one boot, each in a shop of its own; the last ones go on while the power is cut, and are looked at after
another boot.
"""

import json
import os
import pathlib
import subprocess
import sys
import threading
import time
import traceback

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "scripts"))
from pump_job import cross_section  # noqa: E402

import initramfs
from machine import Machine
from shop import PEDAL, Shop, by_path, by_serial, facts


def equal(got, want):
    assert got == want, f"\n got {got}\nwant {want}"


def reading(entry):
    return facts(entry, "instrument", "piece", "value_nm", "verdict", "standing")


def counted(piece, value_nm, verdict, instrument="caliper-1"):
    return {"instrument": instrument, "piece": piece, "value_nm": value_nm, "verdict": verdict, "standing": "counted"}


def readings_arrive_and_the_adapter_is_set_as_configured(machine):
    caliper = machine.plug("a", "CAL-A", 1)
    before = len(machine.requests_to_adapters())
    shop = Shop(machine, "readings", by_serial("CAL-A"))
    shop.start()
    attached = shop.wait_for("attached")
    equal(
        facts(attached, "port", "line", "identity"),
        {"port": "/dev/ttyUSB0", "line": "4800 7E2", "identity": "0403:6001 serial CAL-A"},
    )
    day = os.environ.get("TALLYJAW_VM_DATE")  # may lie behind the end of a clock of 32 bits
    assert not day or attached["at"].startswith(day[:10]), attached
    shop.arm()
    caliper.send(b"+1.62\r")
    equal(reading(shop.wait_for("reading")), counted(1, 1_620_000, "pass"))
    caliper.send(b"+1.75\r")
    equal(reading(shop.wait_for("reading")), counted(2, 1_750_000, "fail_high"))
    for byte in b"+1.56\r":  # a byte a read
        caliper.send(bytes([byte]))
        time.sleep(0.02)
    equal(reading(shop.wait_for("reading")), counted(3, 1_560_000, "fail_low"))
    asked = machine.requests_to_adapters()[before:]
    for request in ["set_baud dev 0:1 baud rate 4800", "parity E, data bits 7, stop bits 2"]:
        assert request in asked, f"{request!r} is not in\n{asked}"
    # The last word on the two lines: DTR up, RTS down.
    lines = [line.split("value ")[1] for line in asked.splitlines() if "control 0x4001," in line]
    equal(lines[-2:], ["0x101", "0x200"])
    equal(caliper.heard.now(), b"")  # a fresh terminal echoes
    shop.stop()


def unplugged_in_mid_frame_and_back_on_another_number_and_socket(machine):
    caliper = machine.plug("a", "CAL-A", 1)
    shop = Shop(machine, "midframe", by_serial("CAL-A"))
    shop.start()
    equal(shop.wait_for("attached")["port"], "/dev/ttyUSB0")
    series = shop.arm()
    caliper.send(b"+1.62\r+1.6")  # one transfer: with the reading, the half frame has come too
    equal(reading(shop.wait_for("reading")), counted(1, 1_620_000, "pass"))
    machine.unplug("a")
    unread, detached = shop.until("detached")
    equal((unread["kind"], bytes.fromhex(unread["raw"])), ("unread", b"+1.6"))
    equal(detached["reason"], "the other end is gone: unplugged, or closed")
    machine.wait_in_guest("[ ! -e /dev/ttyUSB0 ]")
    plug(machine, "b", "CAL-B", 2, "ttyUSB0")  # takes the number
    machine.plug("a", "CAL-A", 3)
    equal(
        facts(shop.wait_for("attached"), "port", "identity"),
        {"port": "/dev/ttyUSB1", "identity": "0403:6001 serial CAL-A"},
    )
    caliper.send(b"+1.63\r")
    again = shop.wait_for("reading")
    equal((again["series"], reading(again)), (series, counted(2, 1_630_000, "pass")))
    shop.stop()


def two_adapters_swapped_keep_their_stations(machine):
    first = plug(machine, "a", "CAL-A", 1, "ttyUSB0")
    second = plug(machine, "b", "CAL-B", 2, "ttyUSB1")
    shop = Shop(machine, "swapped", by_serial("CAL-A"), by_serial("CAL-B"))
    shop.start()
    shop.wait_for("attached")
    shop.wait_for("attached")
    shop.arm("bench-1")
    shop.arm("bench-2")
    for name in ["a", "b"]:
        machine.unplug(name)
        shop.wait_for("detached")
    machine.wait_in_guest("! ls /dev/ttyUSB*")
    machine.plug("b", "CAL-B", 1)
    equal(facts(shop.wait_for("attached"), "instrument", "port"), {"instrument": "caliper-2", "port": "/dev/ttyUSB0"})
    machine.plug("a", "CAL-A", 2)
    equal(facts(shop.wait_for("attached"), "instrument", "port"), {"instrument": "caliper-1", "port": "/dev/ttyUSB1"})
    first.send(b"+1.62\r")
    equal(reading(shop.wait_for("reading")), counted(1, 1_620_000, "pass"))
    second.send(b"+1.63\r")
    equal(reading(shop.wait_for("reading")), counted(1, 1_630_000, "pass", "caliper-2"))
    shop.stop()
    # A node is root's alone until udev's rules have run; that passes, and is no trouble.
    assert "permission denied" not in shop.messages(), shop.messages()


def distrusted(shop, adapter, value, instrument="caliper-1"):
    """A press that does not count, because its port has another adapter than before."""
    adapter.send(value)
    entry = shop.wait_for("reading", instrument=instrument)
    equal(facts(entry, "standing", "reason"), {"standing": "not_counted", "reason": "another_adapter"})


def a_number_that_has_gone_to_another_adapter_counts_nothing_until_it_is_meant(machine):
    plug(machine, "a", "CAL-A", 1, "ttyUSB0")
    shop = Shop(machine, "number", by_path("/dev/ttyUSB0"))
    shop.start()
    shop.wait_for("attached")
    shop.arm()
    machine.unplug("a")
    shop.wait_for("detached")
    machine.wait_in_guest("[ ! -e /dev/ttyUSB0 ]")
    other = machine.plug("b", "CAL-B", 1)
    changed = shop.wait_for("adapter_changed")
    equal([changed[key].split(" in the socket ")[0] for key in ["was", "is"]], ["0403:6001 serial CAL-A", "0403:6001 serial CAL-B"])
    distrusted(shop, other, b"+1.61\r")
    said = shop.call("status")
    assert "another adapter than before" in said and "tallyjaw adapter --instrument caliper-1" in said, said
    shop.call("adapter")
    equal(shop.wait_for("adapter_said")["by"], "command")
    other.send(b"+1.62\r")
    equal(reading(shop.wait_for("reading")), counted(1, 1_620_000, "pass"))
    shop.stop()


def numbers_that_swapped_while_the_daemon_was_away_count_nothing(machine):
    adapters = [plug(machine, name, f"CAL-{name.upper()}", at + 1, f"ttyUSB{at}") for at, name in enumerate("ab")]
    shop = Shop(machine, "away", by_path("/dev/ttyUSB0"), by_path("/dev/ttyUSB1"))
    shop.start()
    for _ in range(2):
        shop.wait_for("attached")
    for station in ["bench-1", "bench-2"]:
        shop.arm(station)
    shop.stop()
    for name in "ab":
        machine.unplug(name)
    machine.wait_in_guest("! ls /dev/ttyUSB*")
    plug(machine, "b", "CAL-B", 2, "ttyUSB0")
    plug(machine, "a", "CAL-A", 1, "ttyUSB1")
    shop.start()
    told = {shop.wait_for("adapter_changed")["instrument"] for _ in range(2)}
    equal(told, {"caliper-1", "caliper-2"})
    distrusted(shop, adapters[0], b"+1.61\r", "caliper-2")
    distrusted(shop, adapters[1], b"+1.61\r", "caliper-1")
    shop.stop()


def a_twin_with_the_same_serial_number_is_not_taken_for_the_one_that_was_pulled(machine):
    first = plug(machine, "a", "CAL-A", 1, "ttyUSB0")
    shop = Shop(machine, "twin", by_serial("CAL-A"))
    shop.start()
    shop.wait_for("attached")
    shop.arm()
    first.send(b"+1.61\r")
    equal(reading(shop.wait_for("reading")), counted(1, 1_610_000, "pass"))
    second = plug(machine, "b", "CAL-A", 4, "ttyUSB1")
    machine.unplug("a")
    attached = shop.wait_for("attached")
    equal(facts(attached, "port", "identity", "alike"), {"port": "/dev/ttyUSB1", "identity": "0403:6001 serial CAL-A", "alike": True})
    shop.wait_for("adapter_changed")
    distrusted(shop, second, b"+1.62\r")
    shop.stop()
    # Also after a restart, when the twin is alone.
    shop.start()
    while shop.wait_for("adapter_changed")["seq"] <= attached["seq"] + 1:
        pass
    shop.stop()


def a_program_of_roots_that_reads_the_port_too_is_named_where_the_daemon_may_see_it(machine):
    caliper = plug(machine, "a", "CAL-A", 1, "ttyUSB0")
    shop = Shop(machine, "thief", by_serial("CAL-A"), user="root")
    shop.start()
    shop.wait_for("attached")
    shop.arm()
    thief = machine.must("cat /dev/ttyUSB0 >/run/stolen & echo $!").strip()
    equal(shop.wait_for("disturbed")["holders"], [f"cat (pid {thief})"])
    caliper.send(b"+1.6")
    machine.must("stty -F /dev/ttyUSB0 1200")
    changed = shop.wait_for("disturbed")
    assert changed["settings"].startswith("1200"), changed
    machine.must(f"kill {thief}")
    while shop.wait_for("disturbed").get("holders"):
        pass
    shop.stop()


def two_adapters_with_one_serial_number_are_not_guessed(machine):
    first = plug(machine, "a", "CAL-A", 1, "ttyUSB0")
    second = plug(machine, "b", "CAL-A", 4, "ttyUSB1")
    place, other = [machine.must(f"ls -d /dev/serial/by-path/*-usb-0:{number}:*").strip() for number in [4, 1]]
    shop = Shop(machine, "twins", by_serial("CAL-A"))
    shop.start()
    trouble = {
        "instrument": "caliper-1",
        "message": "the USB adapter with serial number CAL-A fits 2 ports: /dev/ttyUSB0, /dev/ttyUSB1",
        "remedy": f"unplug the others, or write the USB socket of the right one into `port`: port = {by_path(other)} is /dev/ttyUSB0 now,"
        f" port = {by_path(place)} is /dev/ttyUSB1 now",
    }
    equal(shop.wait_for_trouble("fits 2 ports"), trouble)
    shop.configure(by_path(place))  # as the remedy says
    shop.call("reload")
    equal(shop.wait_for("attached")["port"], place)
    shop.arm()
    first.send(b"+1.61\r")  # the other one, which is nobody's
    second.send(b"+1.62\r")
    equal(reading(shop.wait_for("reading")), counted(1, 1_620_000, "pass"))
    machine.unplug("b")
    shop.wait_for("detached")
    machine.plug("b", "CAL-A", 4)
    equal(shop.wait_for("attached")["port"], place)
    second.send(b"+1.63\r")
    equal(reading(shop.wait_for("reading")), counted(2, 1_630_000, "pass"))
    shop.stop()


def a_port_that_may_not_be_opened_says_whose_it_is(machine):
    plug(machine, "a", "CAL-A", 1, "ttyUSB0")
    shop = Shop(machine, "refused", by_serial("CAL-A"), user="visitor")
    shop.start()
    trouble = {
        "instrument": "caliper-1",
        "message": "permission denied for /dev/ttyUSB0; owner root, group dialout, mode 0660; this user is visitor, in the groups visitor",
        "remedy": "join the group that may open it: sudo usermod -aG dialout visitor, then log out and in again",
    }
    equal(shop.wait_for_trouble("permission denied"), trouble)
    # What usermod does; whoever logs in after it may.
    machine.must("cp /etc/group /run/group && sed -i s/dialout:x:20:bench/dialout:x:20:bench,visitor/ /etc/group")
    shop.stop()
    shop.start()
    equal(shop.wait_for("attached")["port"], "/dev/ttyUSB0")
    shop.stop()
    machine.must("cp /run/group /etc/group")


def a_port_that_another_program_has_is_opened_when_it_ends(machine):
    caliper = plug(machine, "a", "CAL-A", 1, "ttyUSB0")
    rival = machine.must("su bench -c 'exec sleep 1000 </dev/ttyUSB0' & echo $!").strip()
    machine.wait_in_guest(f"[ -e /proc/{rival}/fd/0 ] && [ $(readlink /proc/{rival}/fd/0) = /dev/ttyUSB0 ]")
    shop = Shop(machine, "held", by_serial("CAL-A"))
    shop.start()
    trouble = {
        "instrument": "caliper-1",
        "message": f"/dev/ttyUSB0 is held by sleep (pid {rival})",
        "remedy": f"close that program, or end it: kill {rival}",
    }
    equal(shop.wait_for_trouble(f"pid {rival}"), trouble)
    # One of root's, whose open files nobody else may see; its lock they may.
    machine.must(f"kill {rival}")
    shop.wait_for("attached")
    shop.stop()
    rival = machine.must("tallyjaw tape /dev/ttyUSB0 -o /run/tape >/run/taping 2>&1 & echo $!").strip()
    machine.wait_in_guest(f"grep -q ' {rival} ' /proc/locks")
    shop.start()
    trouble |= {
        "message": f"/dev/ttyUSB0 is held by tallyjaw (pid {rival})",
        "remedy": f"close that program, or end it: kill {rival}",
    }
    equal(shop.wait_for_trouble(f"pid {rival}"), trouble)
    machine.must(f"kill {rival}")
    for _ in range(2):  # the feed begins with what the daemon before entered
        shop.wait_for("attached")
    shop.arm()
    caliper.send(b"+1.62\r")
    equal(reading(shop.wait_for("reading")), counted(1, 1_620_000, "pass"))
    shop.stop()


def what_waited_before_the_opening_is_told_and_not_counted(machine):
    caliper = plug(machine, "a", "CAL-A", 1, "ttyUSB0")
    shop = Shop(machine, "stale", by_serial("CAL-A"))
    shop.start()
    shop.wait_for("attached")
    series = shop.arm()
    shop.stop()
    # More than the adapter holds (384 bytes, which the opening makes it drop); the rest comes at the opening.
    caliper.send(b"+1.61\r" * 200)
    shop.start()
    for _ in range(2):
        shop.wait_for("attached")
    unread = shop.wait_for("unread")
    equal(unread["reason"], "sent before the port was opened")
    caliper.send(b"\r+1.63\r")  # closes a frame that the adapter may have cut
    new = shop.wait_for("reading")
    equal((new["series"], reading(new)), (series, counted(1, 1_630_000, "pass")))
    shop.stop()


def openings_in_the_midst_of_a_stream_begin_at_a_frame(machine):
    """Opens a port sixty times while lines arrive without pause: nothing is read that was not sent."""
    caliper = plug(machine, "a", "CAL-A", 1, "ttyUSB0")
    shop = Shop(machine, "stream", by_serial("CAL-A"))
    values, wrong, pieces, repeated = 0, [], 0, 0
    for line, byte_s, pause_s, times in [("4800 8N1", 10 / 4800, 0.025, 45), ("1200 8N1", 10 / 1200, 0.067, 15)]:
        shop.configure(by_serial("CAL-A"), lines=[line])
        done = 0
        while done < times:
            stream = Stream(caliper, b"+42.69", byte_s, pause_s)
            shop.start()
            shop.wait_for_new("attached")
            shop.wait_for_new("reading")
            entries = [json.loads(line) for line in shop.lines]
            shop.stop()
            stream.stop()
            # A sender that this machine held up in mid-frame was silent there for longer than a caliper ever is.
            if stream.longest_stall > 0.06:
                repeated += 1
                continue
            done += 1
            since = max(at for at, entry in enumerate(entries) if entry["kind"] == "started")
            read = [entry["value_nm"] for entry in entries[since:] if entry["kind"] == "reading"]
            values += len(read)
            wrong += [value for value in read if value != 42_690_000]
            pieces += sum(entry["kind"] == "unread" and "rest of a frame" in entry["reason"] for entry in entries[since:])
    print(f"vm: 60 openings into a stream, {values} readings, {len(wrong)} of values that were not sent, {pieces} pieces"
          f" unread; {repeated} openings repeated, where this machine held up the sender in mid-frame", flush=True)
    equal(wrong, [])


class Stream:
    """Sends a line again and again, byte by byte, until it is stopped."""

    def __init__(self, caliper, text, byte_s, pause_s):
        self.longest_stall = 0.0
        self.over = threading.Event()
        self.thread = threading.Thread(target=self._send, args=(caliper, text, byte_s, pause_s), daemon=True)
        self.thread.start()

    def _send(self, caliper, text, byte_s, pause_s):
        while not self.over.is_set():
            last = None
            for byte in text + b"\r":
                caliper.send(bytes([byte]))
                now = time.monotonic()
                self.longest_stall = max(self.longest_stall, now - (last or now))
                last = now
                time.sleep(byte_s)
            self.over.wait(pause_s)

    def stop(self):
        self.over.set()
        self.thread.join()


def a_fresh_port_that_receives_echoes_nothing_once_it_is_attached(machine):
    """Until its first settings apply a fresh terminal echoes: how much is printed, for it is a matter of moments. A
    udev rule that silences the terminal has to open it too, which only moves the moment: it made nothing better."""
    shop = Shop(machine, "echo", by_serial("CAL-A"))
    shop.start()
    echoed = []
    for _ in range(12):
        caliper = machine.plug("a", "CAL-A", 1)
        stream = Stream(caliper, b"+42.69", 10 / 4800, 0.0)
        shop.wait_for("attached")
        stream.stop()
        caliper.send(b"\r+1.62\r")
        shop.wait_for("reading", value_nm=1_620_000)
        heard = caliper.heard.now()
        assert b"1.62" not in heard, heard
        echoed.append(len(heard))
        machine.unplug("a")
        shop.wait_for("detached")
    shop.stop()
    print(f"vm: bytes echoed in each of 12 openings of a fresh port that receives: {echoed}", flush=True)


def a_pedal_at_rest_presses_nothing_and_keeps_no_number(machine):
    """An adapter without a device shows its modem lines as raised, like a contact that rests closed."""
    shop = Shop(machine, "pedal", by_serial("CAL-A"), more=PEDAL.format(port=by_serial("PED-1")))
    machine.plug("p", "PED-1", 5)
    caliper = machine.plug("a", "CAL-A", 1)
    shop.start()
    ports = {shop.wait_for("attached")["instrument"] for _ in range(2)}
    equal(ports, {"caliper-1", "pedal-1"})
    shop.arm()
    caliper.send(b"+1.62\r")
    shop.wait_for("reading")
    number = next(entry["port"] for entry in map(json.loads, shop.lines) if entry.get("instrument") == "pedal-1")
    for _ in range(2):
        machine.unplug("p")
        shop.wait_for("detached", instrument="pedal-1")
        machine.plug("p", "PED-1", 5)
        # What watches the contact has let go of the adapter, else it would be given another number.
        equal(shop.wait_for("attached", instrument="pedal-1")["port"], number)
    caliper.send(b"+1.63\r")
    equal(reading(shop.wait_for("reading")), counted(2, 1_630_000, "pass"))
    shop.stop()
    equal([line for line in shop.journal() if '"kind":"retracted"' in line], [])


def the_power_is_cut_in_mid_series(machine):
    """Measures until the caller cuts the power of the machine. Returns what was announced."""
    caliper = plug(machine, "a", "CAL-A", 1, "ttyUSB0")
    shop = Shop(machine, "power", by_serial("CAL-A"))
    machine.must("sync")  # the shop's files; nothing is synced from here on but by the daemon
    shop.start()
    shop.wait_for("attached")
    series = shop.arm()
    for piece in range(1, 8):
        caliper.send(b"+1.%d\r" % (60 + piece % 3))
        equal(shop.wait_for("reading")["piece"], piece)
    machine.must("echo not synced >/mnt/power/witness")
    caliper.send(b"+1.64\r+1.6")
    equal(shop.wait_for("reading")["piece"], 8)
    return series, shop.lines


def the_series_goes_on_after_the_power_cut(machine, series, announced):
    shop = Shop(machine, "power", made=True)
    equal(machine.run("[ -e /mnt/power/witness ] && [ -s /mnt/power/witness ]")[0], 1)  # a real cut: this was lost
    kept = shop.journal()
    equal(kept[: len(announced)], announced)
    caliper = plug(machine, "a", "CAL-A", 2, "ttyUSB0")
    shop.start()
    for _ in range(2):
        shop.wait_for("attached")
    caliper.send(b"+1.65\r")
    after = shop.wait_for("reading")
    while json.loads(announced[-1])["seq"] >= after["seq"]:
        after = shop.wait_for("reading")
    equal((after["series"], reading(after)), (series, counted(9, 1_650_000, "pass")))
    shop.stop()
    status, said = shop.tallyjaw("verify")
    equal((status, len(shop.journal())), (0, after["seq"] + 1))
    print(f"vm: {len(announced)} entries announced before the cut, {len(kept)} in the journal after it", flush=True)


PICTURES = 50


def the_power_is_cut_while_pictures_come_in(machine):
    """A camera leaves pictures in a station's folder until the caller cuts the power. Returns what was announced."""
    caliper = plug(machine, "b", "CAL-B", 3, f"ttyUSB{len(machine.plugged)}")
    shop = Shop(machine, "pictures", by_serial("CAL-B"))
    machine.must(f"sed -i 's|^name = .bench-1.$|&\\npictures = \"camera\"|' {shop.folder}/tallyjaw.toml && mkdir {shop.folder}/camera")
    for number in range(PICTURES):
        machine.write(f"{shop.folder}/cuts/{number}.png", cross_section(number, 96, 64))
    machine.must(f"chown -R {shop.user} {shop.folder} && sync")
    shop.start()
    shop.wait_for("attached")
    shop.arm()
    caliper.send(b"+1.63\r")
    equal(shop.wait_for("reading")["piece"], 1)
    machine.must(f"echo not synced >{shop.folder}/witness; cd {shop.folder} && cp cuts/*.png camera/")
    for _ in range(PICTURES // 3):
        equal(shop.wait_for("pictured")["piece"], 1)
    return (shop.lines,)


def each_picture_is_whole_and_entered_or_not_there(machine, announced):
    shop = Shop(machine, "pictures", made=True)
    equal(machine.run(f"[ -s {shop.folder}/witness ]")[0], 1)  # a real cut: this was lost
    kept = shop.journal()
    equal(kept[: len(announced)], announced)
    status, said = shop.tallyjaw("verify")
    assert status == 0, said
    # The camera has them all still; those that were entered do not come in again.
    machine.must(f"cd {shop.folder} && rm -f camera/* && cp cuts/*.png camera/")
    shop.start()
    names = set()
    while len(names) < PICTURES:
        names.add(shop.wait_for("pictured")["file_name"])
    shop.stop()
    entered = [entry["file_name"] for entry in map(json.loads, shop.journal()) if entry["kind"] == "pictured"]
    equal(sorted(entered), sorted(f"{number}.png" for number in range(PICTURES)))
    status, said = shop.tallyjaw("verify")
    assert status == 0 and f"pictures  {PICTURES} compared" in said, said
    before = sum('"kind":"pictured"' in line for line in kept)
    print(f"vm: {before} of {PICTURES} pictures whole and entered when the power was cut, the others after it", flush=True)


def plug(machine, name, serial, socket_number, node):
    """Plugs in and waits until udev has finished with the device file."""
    adapter = machine.plug(name, serial, socket_number)
    machine.wait_in_guest(f"[ \"$(stat -c %G /dev/{node})\" = dialout ] && udevadm settle")
    return adapter


ALL = [
    readings_arrive_and_the_adapter_is_set_as_configured,
    unplugged_in_mid_frame_and_back_on_another_number_and_socket,
    two_adapters_swapped_keep_their_stations,
    a_number_that_has_gone_to_another_adapter_counts_nothing_until_it_is_meant,
    numbers_that_swapped_while_the_daemon_was_away_count_nothing,
    a_twin_with_the_same_serial_number_is_not_taken_for_the_one_that_was_pulled,
    a_program_of_roots_that_reads_the_port_too_is_named_where_the_daemon_may_see_it,
    two_adapters_with_one_serial_number_are_not_guessed,
    a_port_that_may_not_be_opened_says_whose_it_is,
    a_port_that_another_program_has_is_opened_when_it_ends,
    what_waited_before_the_opening_is_told_and_not_counted,
    openings_in_the_midst_of_a_stream_begin_at_a_frame,
    a_fresh_port_that_receives_echoes_nothing_once_it_is_attached,
    a_pedal_at_rest_presses_nothing_and_keeps_no_number,
]
# What goes on while the power is cut, each with what is looked at after it.
CUT = {
    the_power_is_cut_in_mid_series: the_series_goes_on_after_the_power_cut,
    the_power_is_cut_while_pictures_come_in: each_picture_is_whole_and_entered_or_not_there,
}


def main():
    architecture, cache, version, binary, logs, *names = sys.argv[1:]
    known = {scenario.__name__: scenario for scenario in [*ALL, *CUT]}
    if unknown := [name for name in names if name not in known]:
        sys.exit(f"vm: no scenario {unknown[0]}\nhelp: one of {' '.join(known)}")
    chosen = [known[name] for name in names or known]
    archive = initramfs.build(cache, version, binary)
    kernel = initramfs.kernel_image(cache, version)
    pathlib.Path(logs).mkdir(parents=True, exist_ok=True)
    disk = pathlib.Path(logs) / "disk"
    make_disk(disk)
    ahead = [one for one in chosen if one not in CUT]
    cuts = [one for one in chosen if one in CUT]
    results = []
    look = None  # at what the last cut left
    # A cut ends each run of the machine but the last: the feed of the guest has room for one reader at a time.
    for run, cut in enumerate([*cuts, None], 1):
        if not (ahead or look or cut):
            break
        with booted(kernel, archive, disk, f"{logs}/{run}", architecture) as machine:
            results += [tried(machine, scenario) for scenario in ahead]
            if look:
                results.append(tried(machine, *look))
            ahead, look = [], None
            if cut:
                gave = tried(machine, cut)
                results.append(gave)
                look = gave and (CUT[cut], *gave)
    failed = results.count(None)
    passed = len(results) - failed
    print(f"vm: {passed} passed, {failed} failed", flush=True)
    sys.exit(1 if failed else 0)


def booted(kernel, archive, disk, logs, architecture):
    begun = time.monotonic()
    machine = Machine(kernel, archive, disk, logs, architecture)
    print(f"vm: booted in {time.monotonic() - begun:.0f} s, {len(archive) / 1e6:.0f} MB", flush=True)
    if "TALLYJAW_VM_DATE" in os.environ:
        machine.must("hwclock -u -s")  # a kernel of 32 bits takes no time after January 2038 by itself
    return machine


def tried(machine, scenario, *arguments):
    """Runs a scenario. Returns its result, or `None` if it failed, after printing everything known.

    Where this machine held up the guest for a second, the daemon takes no bytes of that second for a measurement. Such
    a scenario says nothing about the driver, so it is run again, unless it looks at what a power cut left."""
    begun = time.monotonic()
    for last in [False, False, True]:
        try:
            gave = scenario(machine, *arguments) or True
        except Exception:
            held_up = not (last or arguments) and stood_still(machine)
            print(f"vm: {scenario.__name__} ... {'held up, again' if held_up else 'FAILED'}", flush=True)
            traceback.print_exc()
            print(machine.run(ALL_KNOWN)[1], file=sys.stderr, flush=True)
            gave = None
            if held_up:
                clear(machine)
                continue
        else:
            print(f"vm: {scenario.__name__} ... ok, {time.monotonic() - begun:.0f} s", flush=True)
        break
    if scenario not in CUT:
        machine.unplug_all()
    return gave


ALL_KNOWN = "tail -n 20 $(ls -t /mnt/*/messages | head -n 1); ls -l /dev/ttyUSB*; dmesg | tail; kill $(pidof tallyjaw)"
NEWEST_SHOP = "$(dirname $(ls -td /mnt/*/state | head -n 1))"


def stood_still(machine):
    """Whether the daemon of the last shop says that it received bytes from a time in which the guest stood still."""
    return machine.run(f"grep -q 'while the computer stood still' {NEWEST_SHOP}/state/journal/*.jsonl")[0] == 0


def clear(machine):
    """Leaves the guest as it was before the last shop."""
    machine.wait_in_guest("! pidof tallyjaw >/dev/null")
    machine.must(f"rm -rf {NEWEST_SHOP}")
    machine.unplug_all()


def make_disk(path):
    with open(path, "wb") as disk:
        disk.truncate(64 << 20)
    mkfs = next(path for path in ["/sbin/mkfs.ext4", "/usr/sbin/mkfs.ext4"] if os.path.exists(path))
    subprocess.run([mkfs, "-q", "-F", path], check=True)


if __name__ == "__main__":
    main()
