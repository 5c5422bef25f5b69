"""Does the check of a checkable report agree with the reports of sound journals? No difference may be found.

Usage: recomputed.py TALLYJAW FOLDER...       (folders of state folders; TRIES of the random ones, 50, from the environment)

Of each journal: all series with and without the appendix, groups side by side by each property, and each production run; and of
a demo. The pages are checked by Node with tests/browser/recompute.mjs: the same text as in the page. Exit status 77: there is no Node.
"""

import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

TALLYJAW = str(pathlib.Path(sys.argv[1]).resolve())
FOLDERS = [pathlib.Path(folder) for folder in sys.argv[2:]]
TRIES = int(os.environ.get("TRIES", "50"))
GROUPS = ("tool", "nest", "operator", "instrument", "station", "series", "day")
EVERY = ["--since", "2000-01-01"]
CHECK = pathlib.Path(__file__).with_name("recomputed.mjs")


def state_folders():
    """Those of the folders; of many random ones, some."""
    for folder in FOLDERS:
        found = sorted(journal.parent for journal in folder.rglob("journal") if journal.is_dir() and any(journal.glob("*.jsonl")))
        yield from found[::max(1, len(found) // TRIES)]


def pages(state, folder):
    """The checkable reports of a copy of a state folder, as files: an index of it is written beside the journal."""
    state = shutil.copytree(state, folder / "state")
    config = folder / "tallyjaw.toml"
    config.write_text(f'[daemon]\nstate_dir = "{state}"\nruntime_dir = "run"\n\n[[station]]\nname = "bench-1"\n')
    entries = [json.loads(line) for file in sorted((state / "journal").glob("*.jsonl")) for line in file.read_bytes().splitlines()]
    questions = [EVERY, [*EVERY, "--full"], *([*EVERY, "--compare", group, "--full"] for group in GROUPS),
                 *(["--run", str(entry["seq"])] for entry in entries if entry["kind"] == "run_opened"),
                 *([str(entry["seq"])] for entry in entries[-200:] if entry["kind"] == "armed")]
    for nth, question in enumerate(questions):
        page = folder / f"{nth}.html"
        command = [TALLYJAW, "--config", config, "report", *question, "--checkable", "--out", page]
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True)
        if done.returncode == 0:
            yield page, question
        else:
            assert done.returncode == 2, f"{state}: {question}: {done.stderr}"


def main():
    node = shutil.which(os.environ.get("NODE", "node"))
    if not node:
        sys.stderr.write("recomputed: SKIPPED, it cannot run here: there is no node\nhelp: install nodejs\n")
        sys.exit(77)
    checked, places, wrong = 0, 0, []
    with tempfile.TemporaryDirectory(prefix="tallyjaw-") as folder:
        demo = pathlib.Path(folder, "demo")
        subprocess.run([TALLYJAW, "demo", "--fast", "--dir", demo], check=True, capture_output=True)
        for at, state in enumerate([demo / "state", *state_folders()]):
            own = pathlib.Path(folder, str(at))
            own.mkdir()
            made = list(pages(state, own))
            done = subprocess.run([node, CHECK, *(page for page, _ in made)], capture_output=True, text=True)
            assert done.returncode == 0, f"{state}: {done.stderr}"
            for (_, question), line in zip(made, done.stdout.splitlines(), strict=True):
                said = json.loads(line)
                checked, places = checked + 1, places + said["compared"]
                wrong += [f"{state}: report {' '.join(question)}: {differs}" for differs in said["differs"]]
            shutil.rmtree(own)
    print(f"{checked} checkable reports, {places} places compared, {len(wrong)} differences")
    if wrong:
        sys.exit("\n".join(wrong[:20]))
    assert checked > 100, "these are too few"


if __name__ == "__main__":
    main()
