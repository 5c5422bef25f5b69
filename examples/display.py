#!/usr/bin/env python3
"""A display of benches that prints what the feed says and works nothing out: display.py run/feed.sock"""
import json, socket, sys, time
shown = {}
def show(name, *words):
    words = " ".join(str(word) for word in words if word is not None)
    if shown.get(name) != words:
        print(name, words, flush=True)
    shown[name] = words

def take(said):
    if said["kind"] == "state":
        for it in said["instruments"]:
            show(it["instrument"], "ready" if it["attached"] else "unplugged")
        for it in said["stations"]:
            series, last, then = it.get("armed") or it.get("outcome") or {}, it.get("last", {}), it.get("next", {})
            counts, tally = series.get("counts", {"verdicts": {}, "filled": 0, "slots": 0}), series.get("tally", {})
            numbers = {**counts["verdicts"], "again": counts.get("doubted_left"), "lowest_mn": counts.get("lowest_mn"), "retracted": tally.get("retracted"), "not_counted": tally.get("not_counted")}
            numbers = [f"{name}={number}" for name, number in numbers.items() if number]
            show(it["station"], series.get("plan") or series.get("outcome"), f"{counts['filled']}/{counts['slots']}", *numbers, "|", last.get("value"), last.get("verdict") or last.get("reason"), "|", it["prompt_kind"], then.get("piece"), then.get("axis"))
    elif "seq" not in said:  # hello, or a notice
        show("daemon", said["kind"])

while True:
    try:
        with socket.socket(socket.AF_UNIX) as feed:
            feed.connect(sys.argv[1]); feed.sendall(b'{"state":"each"}\n')
            for line in feed.makefile("rb"): take(json.loads(line, parse_float=str))
    except (OSError, ValueError): time.sleep(0.1)  # no daemon; or a line that was cut by a kill
    show("daemon", "gone")
