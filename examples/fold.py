#!/usr/bin/env python3
"""Counts readings by terminal, axis and verdict, after doubts and retractions, each once, whatever is stopped or killed.

Run it:   tallyjaw schema feed | python3 examples/make_types.py python > examples/tallyjaw_feed.py
          python3 examples/fold.py run/feed.sock counts.json
Needs:    Python 3.11 and nothing else; leave to read the socket (`socket_mode` and `socket_group` in [daemon]).
          The types are for a type checker: `mypy --strict examples/fold.py`. Without them it runs too.
Prints:   one line for each series that is closed, on standard output, until it is stopped:

    17 bench-1 rejected fail_low=1 pass=4

Ends:     with 1 where a person must look: the journal is shorter than it was, or a count is not what the daemon has.

counts.json has the counts and the last entry that is in them, and is replaced as a whole: so no entry counts twice.
"""

from __future__ import annotations

import json
import os
import socket
import sys
import time
from typing import TYPE_CHECKING, Any, Dict, Iterator, cast

if TYPE_CHECKING:
    from tallyjaw_feed import Feed, HelloFeed

PAUSES_S = (0.1, 10.0)  # before connecting again: the first, and the longest
SERIES_KEPT = 3  # of a station: the open one, one that it has stopped and that can be resumed, and one between


class Counts:
    """What has been counted, and the last entry that is in it."""

    def __init__(self, path: str) -> None:
        self.path, self.journal, self.seq = path, "", 0
        self.counts: Dict[str, int] = {}  # by terminal, axis and verdict
        self.series: Dict[str, Dict[str, Dict[str, Any]]] = {}  # by station and number: its readings, counted or not
        if os.path.exists(path):
            with open(path, encoding="utf-8") as file:
                self.__dict__.update(json.load(file))

    def save(self) -> None:
        kept = {name: value for name, value in self.__dict__.items() if name != "path"}
        with open(self.path + ".new", "w", encoding="utf-8") as file:
            json.dump(kept, file, sort_keys=True)
            file.flush()
            os.fsync(file.fileno())
        os.replace(self.path + ".new", self.path)

    def begin(self, hello: HelloFeed) -> None:
        if self.journal not in ("", hello["journal"]):
            sys.exit(f"fold: {self.path} is of journal {self.journal}, this is {hello['journal']}: give it another file")
        self.journal = hello["journal"]
        if self.seq > hello["last"]:
            sys.exit(f"fold: entry {self.seq} was counted, but the journal ends at {hello['last']}: is it a copy?")

    def change(self, station: str, reading: int, counts: bool) -> None:
        """A reading counts again, or no longer."""
        for series in self.series.get(station, {}).values():
            known = series.get(str(reading))
            if known and known["counts"] != counts:
                known["counts"] = counts
                self.counts[known["key"]] = self.counts.get(known["key"], 0) + (1 if counts else -1)

    def take(self, entry: Feed) -> None:
        if entry["kind"] == "armed":
            series = self.series.setdefault(entry["station"], {})
            series[str(entry["seq"])] = {}
            for number in sorted(series, key=int)[:-SERIES_KEPT]:
                del series[number]
        elif entry["kind"] == "reading" and "verdict" in entry and entry["standing"] == "counted":
            key = f"{entry.get('terminal', '-')} {entry.get('axis', '-')} {entry['verdict']}"
            of_it = self.series.get(entry["station"], {}).get(str(entry.get("series")))
            if of_it is not None:
                of_it[str(entry["seq"])] = {"key": key, "counts": False}
                self.change(entry["station"], entry["seq"], True)
        elif entry["kind"] == "doubted":
            for reading in entry["readings"]:
                self.change(entry["station"], reading, False)
        elif entry["kind"] == "retracted":
            self.change(entry["station"], entry["reading"], False)
        elif entry["kind"] == "restored":
            self.change(entry["station"], entry["reading"], True)
        elif entry["kind"] == "completed":
            readings = self.series.get(entry["station"], {}).get(str(entry["series"]))
            verdicts = [one["key"].rsplit(" ", 1)[1] for one in (readings or {}).values() if one["counts"]]
            mine = {verdict: verdicts.count(verdict) for verdict in sorted(set(verdicts))}
            # Not compared: older releases have no counts, and a series may have begun in a segment that was removed.
            theirs = entry["counts"]["verdicts"] if "counts" in entry and readings is not None else mine
            if mine != {verdict: count for verdict, count in cast(Dict[str, int], theirs).items() if count}:
                sys.exit(f"fold: series {entry['series']}: counted {mine}, the daemon has {theirs}")
            numbers = [f"{verdict}={count}" for verdict, count in mine.items()]
            print(entry["series"], entry["station"], entry["outcome"], *numbers, flush=True)


def say(text: object) -> None:
    print("fold:", text, file=sys.stderr, flush=True)


def entries(path: str, counts: Counts) -> Iterator[Feed]:
    """One connection: the entries behind those that are counted, in order, until it ends."""
    missing = False
    try:
        with socket.socket(socket.AF_UNIX) as connection:
            connection.connect(path)
            for line in connection.makefile("rb"):
                if not line.endswith(b"\n"):
                    return  # torn in the middle; it comes again, whole
                said: Feed = json.loads(line)
                if said["kind"] == "hello":
                    counts.begin(said)
                    connection.sendall(json.dumps({"after": counts.seq}).encode() + b"\n")
                elif "prev" in said:  # An entry. What came while the request was on its way comes again in its place.
                    seq = cast(Any, said)["seq"]
                    if seq == counts.seq + 1 or (missing and seq > counts.seq):
                        missing = False
                        yield said
                elif said["kind"] != "state" and "message" in said:
                    missing = missing or said["kind"] == "entries_missing"
                    say(f"{said['kind']}: {said['message']}")
    except OSError as error:
        say(error)


def main(path: str, file: str) -> None:
    counts, pause = Counts(file), PAUSES_S[0]
    while True:
        for entry in entries(path, counts):
            counts.take(entry)
            counts.seq = cast(Any, entry)["seq"]
            counts.save()
            pause = PAUSES_S[0]
        say(f"no daemon; asking again in {pause:.1f} s for what follows entry {counts.seq}")
        time.sleep(pause)
        pause = min(2 * pause, PAUSES_S[1])


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit("usage: fold.py FEED.SOCK COUNTS.JSON")
    try:
        main(*sys.argv[1:])
    except KeyboardInterrupt:
        pass
