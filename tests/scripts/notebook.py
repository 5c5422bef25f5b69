"""The notebook of examples/, run as in a browser beside a real daemon with a data set, and compared with the journal.

Usage: notebook.py TALLYJAW      (run by notebook.sh, which installs what it needs)

What it counts in the data set, by the study and on the feed must be what the journal's lines say. Each picture must have been drawn.
It must say so where the data set has no such readings.
"""

import collections
import json
import os
import pathlib
import sys
import time

import nbclient
import nbformat

import bench

NOTEBOOK = pathlib.Path(__file__).resolve().parents[2] / "examples/readings.ipynb"
TALLYJAW = os.path.abspath(sys.argv[1])
PIECES = 30
FAR = 20  # the piece that is far from the others
PLAN = f"""
[[plan]]
id = "pump-day"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = {PIECES}
purpose = "in_process"
zero = {{ before_first = false, closing = false }}
"""
MORE = """
[[sink]]
name = "lake"
kind = "parquet"
folder = "lake"
every = "1 s"
"""


class Shop(bench.Bench):
    """A bench with a data set."""

    def __init__(self):
        files = {"sheets/pump.toml": bench.SHEET, "tools.toml": bench.TOOLS, "plans/pump.toml": PLAN}
        self.set_up(TALLYJAW, ["caliper-1"], files, lambda ports: bench.CONFIG.format(port=ports["caliper-1"]) + MORE)


def run(shop, axis):
    """The texts that the cells print, and how many pictures they draw."""
    os.environ |= {"TALLYJAW_BENCH": str(shop.root), "TALLYJAW": TALLYJAW, "TALLYJAW_AXIS": axis}
    notebook = nbformat.read(NOTEBOOK, as_version=4)
    nbclient.NotebookClient(notebook, timeout=120, kernel_name="python3").execute()
    outputs = [output for cell in notebook.cells for output in cell.get("outputs", [])]
    texts = [output["text"] for output in outputs if output["output_type"] == "stream"]
    return texts, sum("image/png" in output.get("data", {}) for output in outputs)


def main():
    with Shop() as shop:
        feed = bench.Feed(shop)
        feed.until("attached")
        shop.call("arm", station="bench-1", plan="pump-day")
        for number in range(PIECES):
            shop.press(b"+1.%d\r" % (80 if number + 1 == FAR else 60 + number * 3 % 7))
            feed.until("reading")
        feed.until("completed")
        deadline = time.monotonic() + bench.PATIENCE_S
        while not list(shop.root.glob("lake/*/*/*.parquet")):
            assert time.monotonic() < deadline, "no data set was written"
            time.sleep(0.05)
        texts, pictures = run(shop, "core_crimp_height")
        said = json.loads(texts[-1].splitlines()[-1])
        readings = [entry for entry in map(json.loads, shop.journal_lines()) if entry["kind"] == "reading"]
        verdicts = collections.Counter(entry["verdict"] for entry in readings)
        want = {"data_set": PIECES, "study": PIECES, "marked": [FAR], "feed": dict(verdicts)}
        assert said == want, f"got {said}, want {want}"
        assert pictures == 3, f"got {pictures} pictures, want 3"
        try:
            run(shop, "core_crimp_width")
        except nbclient.exceptions.CellExecutionError as error:
            assert "readings of 0 different limits" in str(error), error
        else:
            raise AssertionError("readings that are not there were studied")
    print(f"notebook: {PIECES} readings in data set, study and feed, {pictures} pictures drawn")


main()
