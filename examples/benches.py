#!/usr/bin/env python3
"""Keeps a table of all benches for a dashboard, from a broker: an SQLite file that any dashboard can read.

Run it:   python3 examples/benches.py mqtt://127.0.0.1:1883 shop benches.sqlite
          (credentials and a certificate of the broker's authority: --user, --password-file, --ca-file; mqtts://…)
Needs:    Python 3.9 and paho-mqtt (requirements.txt). Each daemon publishes under a topic of its own below the first:
          topic = "shop/bench-1" in its [[sink]].
Prints:   a line whenever a bench comes, goes or has something new to show, until it is stopped:

    shop/bench-1 bench-1 online: measure piece 2 of 3: core crimp height (last 1.61 mm pass)

Tables:   bench    what is true now: online, prompt, what is armed, last value and verdict; from retained messages,
                   and `online` from each daemon's last will
          reading  every reading once, with what became of it; journal and seq are its key, so a double changes nothing
          gap      what never came: journal, first and last seq; the bench still has it, in journal, feed and exports

The broker keeps what comes while this program is down (session of a week, quality of service 1), and a message is
acknowledged after its commit. Still a broker may lose what it had acknowledged, when it is killed itself or a session
ends; entries are numbered without gaps, so that is seen and said. One process a name: a second one with the same --id
drives the first from the broker.
"""

import argparse
import json
import sqlite3
import sys
import urllib.parse

import paho.mqtt.client as mqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

WEEK_S = 7 * 24 * 3600
TABLES = """
CREATE TABLE IF NOT EXISTS daemon (topic TEXT, journal TEXT, online INTEGER, PRIMARY KEY (topic, journal));
CREATE TABLE IF NOT EXISTS station (topic TEXT, station TEXT, prompt TEXT, plan TEXT, terminal TEXT, operator TEXT,
    last_value TEXT, last_unit TEXT, last_verdict TEXT, PRIMARY KEY (topic, station));
CREATE TABLE IF NOT EXISTS instrument (topic TEXT, instrument TEXT, station TEXT, attached INTEGER,
    PRIMARY KEY (topic, instrument));
CREATE TABLE IF NOT EXISTS reading (journal TEXT, seq INTEGER, at TEXT, station TEXT, series INTEGER, piece INTEGER,
    terminal TEXT, axis TEXT, value TEXT, unit TEXT, verdict TEXT, standing TEXT, PRIMARY KEY (journal, seq));
CREATE TABLE IF NOT EXISTS journal (journal TEXT PRIMARY KEY, last INTEGER);
CREATE TABLE IF NOT EXISTS gap (journal TEXT, first INTEGER, last INTEGER, PRIMARY KEY (journal, first));
CREATE VIEW IF NOT EXISTS bench AS
    SELECT station.*, coalesce((SELECT max(online) FROM daemon WHERE daemon.topic = station.topic), 0) AS online,
        (SELECT count(*) FROM instrument WHERE instrument.topic = station.topic
            AND instrument.station = station.station AND NOT attached) AS instruments_missing
    FROM station ORDER BY topic, station;
"""


class Benches:
    """What the broker said, in a file."""

    def __init__(self, path, above):
        self.above = above
        self.file = sqlite3.connect(path)
        self.file.executescript(TABLES)
        self.shown = {}

    def take(self, topic, payload):
        """One message; everything it says is durable when this returns, and saying it again changes nothing."""
        below = topic[len(self.above) + 1:].split("/")
        daemon, what = f"{self.above}/{below[0]}", below[1:]
        said = json.loads(payload, parse_float=str)  # digits as the instrument showed them
        with self.file:  # one transaction
            if what[0] == "status":
                self.put("daemon", topic=daemon, journal=what[1], online=said["online"])
            elif what[0] == "stations":
                armed, last = said.get("armed", {}), said.get("last", {})
                self.put("station", topic=daemon, station=said["station"], prompt=said["prompt"],
                         plan=armed.get("plan"), terminal=armed.get("terminal"), operator=said.get("operator"),
                         last_value=last.get("value"), last_unit=last.get("unit"),
                         last_verdict=last.get("verdict") or last.get("reason"))
            elif what[0] == "instruments":
                self.put("instrument", topic=daemon, instrument=said["instrument"], station=said["station"],
                         attached=said["attached"])
            elif what[0] == "entries":
                self.entry(what[1], said)
        self.show(daemon)

    def put(self, table, **row):
        marks = ", ".join("?" for _ in row)
        self.file.execute(f"INSERT OR REPLACE INTO {table} ({', '.join(row)}) VALUES ({marks})", list(row.values()))

    def entry(self, journal, entry):
        """Readings, and what later entries say of them. They come in order; a double is one that is there already."""
        row = self.file.execute("SELECT last FROM journal WHERE journal = ?", [journal]).fetchone()
        last = row[0] if row else entry["seq"] - 1  # whoever comes late has missed nothing
        if entry["seq"] > last + 1:
            self.put("gap", journal=journal, first=last + 1, last=entry["seq"] - 1)
            print(f"benches: entries {last + 1} to {entry['seq'] - 1} of {journal} never came", file=sys.stderr, flush=True)
        self.put("journal", journal=journal, last=max(last, entry["seq"]))
        if entry["kind"] == "reading":
            names = ("seq", "at", "station", "series", "piece", "terminal", "axis", "value", "unit", "verdict", "standing")
            self.file.execute(f"INSERT OR IGNORE INTO reading (journal, {', '.join(names)}) VALUES (?{', ?' * len(names)})",
                              [journal, *(entry.get(name) for name in names)])
        elif entry["kind"] in ("doubted", "retracted", "restored"):
            standing = "counted" if entry["kind"] == "restored" else entry["kind"]
            for seq in entry.get("readings", [entry.get("reading")]):
                self.file.execute("UPDATE reading SET standing = ? WHERE journal = ? AND seq = ?", [standing, journal, seq])

    def show(self, daemon):
        """The lines of a daemon's stations that say something new."""
        rows = self.file.execute("SELECT station, online, prompt, last_value, last_unit, last_verdict FROM bench WHERE topic = ?",
                                 [daemon])
        for station, online, prompt, value, unit, verdict in rows.fetchall():
            last = f" (last {value} {unit} {verdict})" if value else ""
            line = f"{daemon} {station} {'online' if online else 'OFFLINE'}: {prompt}{last}"
            if self.shown.get((daemon, station)) != line:
                self.shown[daemon, station] = line
                print(line, flush=True)


def main():
    arguments = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    arguments.add_argument("broker", help="mqtt://HOST:PORT or mqtts://HOST:PORT")
    arguments.add_argument("above", help="the first part of every topic")
    arguments.add_argument("file", help="the SQLite file")
    arguments.add_argument("--id", default="benches", help="this program's name at the broker")
    arguments.add_argument("--user")
    arguments.add_argument("--password-file")
    arguments.add_argument("--ca-file")
    given = arguments.parse_args()
    benches = Benches(given.file, given.above)

    def say(text):
        print(f"benches: {text}", file=sys.stderr, flush=True)

    def connected(client, _data, _flags, reason, _properties):
        if reason.is_failure:
            say(f"the broker refuses us: {reason}")
        else:
            client.subscribe(f"{given.above}/#", qos=1)

    def received(client, _data, message):
        benches.take(message.topic, message.payload)
        client.ack(message.mid, message.qos)  # only now may the broker forget it

    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, given.id, protocol=mqtt.MQTTv5, manual_ack=True)
    client.on_connect, client.on_message = connected, received
    client.on_subscribe = lambda *what: say(f"the broker sends what is below {given.above}: {what[3][0]}")
    client.on_disconnect = lambda *what: say(f"the broker is gone: {what[3]}")
    if given.user:
        with open(given.password_file, encoding="utf-8") as file:
            client.username_pw_set(given.user, file.read().rstrip("\n"))
    address = urllib.parse.urlsplit(given.broker)
    if address.scheme == "mqtts":
        client.tls_set(given.ca_file)
    session = Properties(PacketTypes.CONNECT)
    session.SessionExpiryInterval = WEEK_S
    client.reconnect_delay_set(1, 30)
    client.connect_async(address.hostname, address.port or (8883 if address.scheme == "mqtts" else 1883),
                         clean_start=False, properties=session)
    client.loop_forever(retry_first_connection=True)


if __name__ == "__main__":
    try:
        main()
    except KeyboardInterrupt:
        pass
