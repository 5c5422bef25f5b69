"""Instruments on pseudo-terminals for tests in other languages.

Makes FOLDER/tty-1, FOLDER/tty-2, … as many as the second argument says, and prints `ready`; then does what each line of
standard input says: `1 +1.63` goes to the first one, with a carriage return; `1 unplug` and `1 plug` are its plug. After
`1 timed +1.63` it prints the time before the write, in nanoseconds of the monotonic clock.
"""

import os
import pty
import sys
import time
import tty

folder, count = sys.argv[1], int(sys.argv[2])
masters = {}


def link(number):
    return f"{folder}/tty-{number}"


def plug(number):
    master, slave = pty.openpty()
    tty.setraw(slave)
    # The name appears whole: a daemon that looks for it never finds half of one.
    os.symlink(os.ttyname(slave), link(number) + ".new")
    os.rename(link(number) + ".new", link(number))
    masters[number] = (master, slave)


def unplug(number):
    os.unlink(link(number))
    for end in masters.pop(number):
        os.close(end)


for number in range(1, count + 1):
    plug(number)
print("ready", flush=True)
for line in sys.stdin:
    number, text = line.split(maxsplit=1)
    number, text = int(number), text.strip()
    if text == "plug":
        plug(number)
    elif text == "unplug":
        unplug(number)
    elif text.startswith("timed "):
        before = time.monotonic_ns()
        os.write(masters[number][0], text.removeprefix("timed ").encode() + b"\r")
        print(before, flush=True)
    else:
        os.write(masters[number][0], text.encode() + b"\r")
