#!/usr/bin/env python3
"""Follows the feed and misses no entry, whichever of the two is stopped and started again.

Run it:   python3 examples/follow.py run/feed.sock feed.position
Needs:    Python 3.9 and nothing else; leave to read the socket (`socket_mode` and `socket_group` in [daemon]).
Prints:   one line for each entry, in order, on standard output, until it is stopped:

    4a082554e4585da0eba148f1d92a5cf0/7 bench-1 reading QF-250-F core_crimp_height 1.61 mm pass

          and on standard error when it waits for the daemon and what the daemon says of itself.
Ends:     with 1 where a person must look: the journal is shorter than it was.

feed.position names the last entry that was handled. It is written after that, so an entry may come twice after a kill
or a power cut, and none is left out; journal and seq tell the double.
"""

import decimal
import json
import os
import socket
import sys
import time

PAUSES_S = (0.1, 10.0)  # before connecting again: the first, and the longest


def handle(journal, entry):
    """Here stands what you do with an entry. When it returns, the entry is done with for good: commit before."""
    words = [f"{journal}/{entry['seq']}", entry.get("station", "-"), entry["kind"]]
    if entry["kind"] == "reading":
        words += [entry.get("terminal", "-"), entry.get("axis", "-"), str(entry["value"]), entry["unit"]]
        words += [entry.get("verdict") or entry["reason"]]
    sys.stdout.write(" ".join(words) + "\n")
    sys.stdout.flush()


class Position:
    """The last entry that was handled, in a file that is whole at any moment."""

    def __init__(self, path):
        self.path, self.journal, self.seq = path, None, 0
        if os.path.exists(path):
            with open(path, encoding="utf-8") as file:
                kept = json.load(file)
            self.journal, self.seq = kept["journal"], kept["seq"]

    def take_up(self, hello):
        """Begins a journal that was not seen before; goes on with the one that was."""
        if self.journal != hello["journal"]:
            if self.journal:
                say(f"another journal: {self.journal} up to {self.seq} before, now {hello['journal']} from the beginning")
            self.journal, self.seq = hello["journal"], 0
        if self.seq + 1 < hello["first"]:  # somebody has moved old segments of the journal away
            say(f"entries {self.seq + 1} to {hello['first'] - 1} are no longer at the bench: going on behind them")
            self.seq = hello["first"] - 1
        if self.seq > hello.get("last", 0):
            sys.exit(f"follow: entry {self.seq} was handled, but the journal ends at {hello.get('last', 0)}: is it a copy?")

    def reached(self, seq):
        self.seq = seq
        with open(self.path + ".new", "w", encoding="utf-8") as file:
            json.dump({"journal": self.journal, "seq": self.seq}, file)
            file.flush()
            os.fsync(file.fileno())
        os.replace(self.path + ".new", self.path)


def say(text):
    print("follow:", text, file=sys.stderr, flush=True)


def entries(path, position):
    """One connection: the entries behind `position`, in order and without a gap, until the daemon hangs up."""
    try:
        with socket.socket(socket.AF_UNIX) as connection:
            connection.connect(path)
            for line in connection.makefile("rb"):
                if not line.endswith(b"\n"):
                    return  # torn in the middle; it comes again, whole
                message = json.loads(line, parse_float=decimal.Decimal)  # 1.60 keeps its zero
                if message["kind"] == "hello":
                    if message["v"] != 1:
                        sys.exit(f"follow: got version {message['v']} of the feed, want 1: a newer follow.py is needed")
                    position.take_up(message)
                    connection.sendall(json.dumps({"after": position.seq}).encode() + b"\n")
                elif message["kind"] == "state":
                    pass  # what is armed, and what to do next; a display would begin with it
                elif "seq" not in message:
                    say(f"{message['kind']}: {message.get('message')}")
                elif message["seq"] == position.seq + 1:
                    yield message
                # Any other came while our request was on its way; it comes again in its place.
    except OSError as error:
        say(error)


def main(path, position):
    position, pause = Position(position), PAUSES_S[0]
    while True:
        for entry in entries(path, position):
            handle(position.journal, entry)
            position.reached(entry["seq"])
            pause = PAUSES_S[0]
        say(f"no daemon; asking again in {pause:.1f} s for what follows entry {position.seq}")
        time.sleep(pause)
        pause = min(2 * pause, PAUSES_S[1])


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit("usage: follow.py FEED.SOCK POSITION")
    try:
        main(*sys.argv[1:])
    except KeyboardInterrupt:
        pass
