"""Do `tallyjaw verify` and examples/verify.py find the same in the same journals?

Usage: verifier.py TALLYJAW FOLDER...       (folders of state folders; SEED and TRIES from the environment)

Every journal must be sound for both, with the key that was kept where it has one, and that of a demo too. Then copies are
changed: a bit, a line, or an entry with all digests made to fit, as somebody does who knows the form (in journals of one
segment). The table says how often each found the change. In the kinds of change that examples/verify.py says it checks, the
two must agree each time; in the others it may find less, never more.
"""

import collections
import copy
import hashlib
import json
import os
import pathlib
import random
import re
import shutil
import subprocess
import sys
import tempfile

REPOSITORY = pathlib.Path(__file__).resolve().parents[2]
sys.path.insert(0, str(REPOSITORY / "examples"))
import verify  # noqa: E402

TALLYJAW = str(pathlib.Path(sys.argv[1]).resolve())
FOLDERS = [pathlib.Path(folder) for folder in sys.argv[2:]]
SEED, TRIES = int(os.environ.get("SEED", "1")), int(os.environ.get("TRIES", "1000"))
NUMBERS = ("seq", "series", "reading", "readings", "zeroed", "run", "held", "up_to")  # fields that hold numbers of entries


def load(state_dir):
    """The entries of each file. Numbers with a point are kept as they are written."""
    literal = {"parse_float": lambda digits: f"\0{digits}\0"}
    files = sorted((state_dir / "journal").glob("*.jsonl"))
    return {file.name: [json.loads(line, **literal) for line in file.read_bytes().splitlines()] for file in files}


def store(files, state_dir, prev="0" * 64):
    """Writes the entries with a chain that fits them."""
    for name in sorted(files):
        lines = []
        for entry in files[name]:
            line = json.dumps({**entry, "prev": prev}, separators=(",", ":"), ensure_ascii=False)
            line = re.sub(r'"\\u0000([^"]*)\\u0000"', r"\1", line).encode()
            prev = hashlib.sha256(line).hexdigest()
            lines.append(line + b"\n")
        (state_dir / "journal" / name).write_bytes(b"".join(lines))


def sealed_anew(rng, files):
    """Every seal made again with a key of one's own, which the journal then names from the first entry on."""
    if len(files) > 1 or not every(files, "sealed"):
        return False
    with tempfile.TemporaryDirectory(prefix="tallyjaw-") as folder:
        own = pathlib.Path(folder, "own")
        subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-C", "", "-f", own], check=True)
        public = own.with_suffix(".pub").read_text().strip()
        digests, state_dir = {}, pathlib.Path(folder)
        (state_dir / "journal").mkdir()
        for entry in every(files, "key_begun"):
            entry.update(public_key=public, key=verify.fingerprint(public))
        for entry in every(files, "sealed"):
            store(files, state_dir)
            for line in (state_dir / "journal" / max(files)).read_bytes().splitlines():
                digests[json.loads(line)["seq"]] = hashlib.sha256(line).hexdigest()
            entry.update(key=verify.fingerprint(public), digest=digests[entry["up_to"]])
            text = f"tallyjaw seal 1\njournal {entry['journal']}\nentry {entry['up_to']}\nsha256 {entry['digest']}\n"
            signing = ["ssh-keygen", "-q", "-Y", "sign", "-n", "tallyjaw", "-f", own]
            signed = subprocess.run(signing, input=text, capture_output=True, text=True, check=True).stdout
            entry["signature"] = "".join(signed.splitlines()[1:-1])
    return True


def unsealed(rng, files):
    """Without key and seals, as if there had never been any."""
    found = every(files, "key_begun") + every(files, "sealed") if len(files) == 1 else []
    for entry in sorted(found, key=lambda entry: entry["seq"], reverse=True):
        take_out(files, next(one for one in every(files, entry["kind"]) if one["seq"] == entry["seq"]))
    return bool(found)


def signature(rng, files):
    found = every(files, "sealed")
    if not found:
        return False
    entry = rng.choice(found)
    at = rng.randrange(len(entry["signature"]))
    letter = rng.choice("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789+/")
    entry["signature"] = entry["signature"][:at] + letter + entry["signature"][at + 1:]
    return True


def every(files, kind, wanted=lambda entry: True):
    return [entry for entries in files.values() for entry in entries if entry["kind"] == kind and wanted(entry)]


def shifted(value, gone, key=None):
    """The value without the number `gone`: what was behind it has moved up."""
    if isinstance(value, dict):
        return {name: shifted(one, gone, name) for name, one in value.items()}
    if isinstance(value, list):
        return [shifted(one, gone, key) for one in value]
    if key in NUMBERS and isinstance(value, int) and not isinstance(value, bool) and value > gone:
        return value - 1
    return value


def take_out(files, entry):
    for name, entries in files.items():
        files[name] = [shifted(one, entry["seq"]) for one in entries if one is not entry]


def removed(kind):
    def change(rng, files):
        found = every(files, kind)
        if found:
            take_out(files, rng.choice(found))
        return bool(found)
    return change


def other(kind, field, values):
    def change(rng, files):
        found = every(files, kind, lambda entry: field in entry and [entry[field]] != values)
        if found:
            entry = rng.choice(found)
            entry[field] = rng.choice([value for value in values if value != entry[field]])
        return bool(found)
    return change


def more(kind, pick):
    """Adds to a number of an entry; `pick` gives the object that holds it, and its name."""
    def change(rng, files):
        found = [(holder, name) for entry in every(files, kind) for holder, name in pick(entry)]
        if found:
            holder, name = rng.choice(found)
            holder[name] += rng.choice([1, 10_000]) if name.endswith(("_nm", "_mn")) else 1
        return bool(found)
    return change


def limits(entry):
    return [(axis, name) for axis in entry["axes"] for name in axis if name.startswith(("lower_", "upper_"))]


def hidden_doubt(rng, files):
    """A doubt taken out, and the tally of its series made to fit."""
    found = every(files, "doubted")
    if not found:
        return False
    doubted = rng.choice(found)
    for completed in every(files, "completed", lambda entry: entry["series"] == doubted["series"]):
        completed["tally"]["doubted"] -= len(doubted["readings"])
        completed["tally"]["passed"] += len(doubted["readings"])
        if counts := completed.get("counts"):
            counts["verdicts"]["pass"] += len(doubted["readings"])
            counts["filled"] += len(doubted["readings"])
            counts["doubted_left"] = 0
    take_out(files, doubted)
    return True


def better(rng, files):
    """A reading moved into its limits with verdict, deviation, tally and outcome, but not the bytes it came from."""
    found = every(files, "reading", lambda entry: entry.get("verdict", "").startswith("fail") and "nominal_nm" in entry)
    if not found:
        return False
    reading = rng.choice(found)
    was = reading["verdict"]
    reading.update(value_nm=reading["nominal_nm"], deviation_nm=0, verdict="pass")
    reading["value"] = f"\0{reading['nominal_nm'] / 1e6}\0"
    for completed in every(files, "completed", lambda entry: entry["series"] == reading["series"]):
        tally = completed["tally"]
        if tally["failed"]:
            tally["failed"] -= 1
            tally["passed"] += 1
            if counts := completed.get("counts"):
                counts["verdicts"][was] -= 1
                counts["verdicts"]["pass"] += 1
            if completed["outcome"] == "rejected" and not tally["failed"] and not completed.get("looks", {}).get("bad"):
                completed["outcome"] = "undecided" if tally["unsure"] else "accepted"
    return True


VERDICTS = ["pass", "fail_low", "fail_high", "unsure_low", "unsure_high"]
BOTH = {
    "verdict": other("reading", "verdict", VERDICTS),
    "outcome": other("completed", "outcome", ["accepted", "rejected", "undecided", "measured"]),
    "tally": more("completed", lambda entry: [(entry["tally"], name) for name in entry["tally"]]),
    "counts": more("completed", lambda entry: [(entry["counts"], name) for name in ("slots", "filled") if "counts" in entry]),
    "limit of a series": more("armed", limits),
    "zero called good": other("zeroed", "ok", [True]),
    "zero called off": other("zeroed", "ok", [False]),
    "answer to a visual check": other("looked", "answer", ["good", "bad"]),
    "doubt hidden, tally fitted": hidden_doubt,
    "signature of a seal": signature,
    "digest of a seal": other("sealed", "digest", ["0" * 64]),
    "all sealed again, key kept": sealed_anew,
    "all sealed again": sealed_anew,
    "seals and key taken out, key kept": unsealed,
    **{f"{kind} taken out": removed(kind) for kind in
       ("reading", "zeroed", "doubted", "retracted", "restored", "completed", "armed", "resumed", "key_begun")},
}
VERIFY_ONLY = {
    "value moved, not its bytes": better,
    # what follows may be a restored reading, of which the script does not check whether it still could be restored
    "piece of a reading": more("reading", lambda entry: [(entry, "piece")] if entry["standing"] == "counted" else []),
    "bytes of a reading": other("reading", "raw", ["312e36320d"]),
    "held crimps": more("held", lambda entry: [(entry, "last_crimp")]),
    "crimps": more("crimped", lambda entry: [(entry, "crimps")]),
    "alert taken out": removed("alerted"),
    "seal taken out": removed("sealed"),  # the one at the end is missed after a minute
    "reservations": other("completed", "reservations", [[], ["caliper_overdue"]]),
}


def one_bit(rng, files, in_last):
    """A bit of the last line, or of any other."""
    name = max(files) if in_last else rng.choice(sorted(files))
    text, last = bytearray(files[name]), files[name].rfind(b"\n", 0, -1) + 1
    within = range(last, len(text)) if in_last else range(last if name == max(files) else len(text))
    if not within:
        return False
    text[rng.choice(within)] ^= 1 << rng.randrange(8)
    files[name] = bytes(text)
    return True


def lines(change):
    def changed(rng, files):
        name = rng.choice(sorted(files))
        found = files[name].splitlines(keepends=True)
        if len(found) < 4:
            return False
        at = rng.randrange(1, len(found) - 2)
        change(found, at)
        files[name] = b"".join(found)
        return True
    return changed


def exchange(found, at):
    found[at], found[at + 1] = found[at + 1], found[at]


def cut(rng, files):
    name = max(files)
    found = files[name].splitlines(keepends=True)
    keep = rng.randrange(1, len(found)) if len(found) > 1 else 0
    files[name] = b"".join(found[:keep])
    return keep > 0


BYTES = {
    "one bit": lambda rng, files: one_bit(rng, files, False),
    "line removed": lines(lambda found, at: found.pop(at)),
    "line doubled": lines(lambda found, at: found.insert(at, found[at])),
    "lines exchanged": lines(exchange),
    "end cut, digest kept": cut,
}
BYTES_VERIFY_ONLY = {"one bit of the last line": lambda rng, files: one_bit(rng, files, True), "end cut": cut}


def found_by(state_dir, digest, key):
    """Whether `tallyjaw verify` and the script find a fault, and what they say. Only journals are copied, no pictures."""
    kept = [*(["--digest", digest] if digest else []), *(["--key", key] if key else [])]
    said = subprocess.run([TALLYJAW, "--json", "verify", *kept, str(state_dir)], capture_output=True, text=True)
    if said.returncode not in (0, 1):
        sys.exit(f"verify: exit {said.returncode}: {said.stderr}")
    findings = [found for found in json.loads(said.stdout)["findings"] if not found["file"].startswith("pictures/")]
    trusted = {verify.fingerprint(key.read_text().split(" ", 2)[2])} if key else None
    verifier, _ = verify.verify(state_dir / "journal", digest, trusted)
    return (bool(findings), bool(verifier.faults)), f"{findings[:2]}\n{verifier.faults[:3]}"


def sound(state_dir):
    key = state_dir / "signing.allowed"
    found, said = found_by(state_dir, None, key if key.exists() else None)
    if any(found):
        sys.exit(f"{state_dir}: not sound for (verify, the script) = {found}: {said}")


def behind_removed(rng, source, scratch):
    """Both read on behind segments that were removed, where the digest of their last line was kept, and find what is wrong there.

    Returns the number of journals that this was, and in how many of them a verdict could be changed.
    """
    names = sorted(file.name for file in (source / "journal").glob("*.jsonl"))
    tried, found_wrong = 0, 0
    for gone in range(1, len(names)):
        state_dir = scratch / "behind"
        shutil.rmtree(state_dir, ignore_errors=True)
        shutil.copytree(source / "journal", state_dir / "journal")
        for name in names[:gone]:
            (state_dir / "journal" / name).unlink()
        kept = hashlib.sha256((source / "journal" / names[gone - 1]).read_bytes().splitlines()[-1]).hexdigest()
        files = load(state_dir)
        if next(iter(files.values()))[0]["prev"] != kept:
            continue  # damage that a person has accepted
        for digest, want in ((kept, False), (None, True), ("0" * 64, True)):
            found, said = found_by(state_dir, digest, None)
            if found != (want, want):
                sys.exit(f"{source} without {names[:gone]}, digest {digest}: (verify, the script) = {found}: {said}")
        tried += 1
        if BOTH["verdict"](rng, files):
            store(files, state_dir, kept)
            found, said = found_by(state_dir, kept, None)
            if found != (True, True):
                sys.exit(f"{source} without {names[:gone]}, a verdict changed: (verify, the script) = {found}: {said}")
            found_wrong += 1
    return tried, found_wrong


def changed(rng, source, name, state_dir):
    """Writes a changed copy; `None` where this journal has nothing of the kind, else the digest that was kept."""
    shutil.copytree(source / "journal", state_dir / "journal", dirs_exist_ok=True)
    raw = {file.name: file.read_bytes() for file in (source / "journal").glob("*.jsonl")}
    kept = hashlib.sha256(raw[max(raw)].splitlines()[-1]).hexdigest() if "digest kept" in name else ""
    if change := {**BYTES, **BYTES_VERIFY_ONLY}.get(name):
        files = dict(raw)
        if not change(rng, files):
            return None
        for file, text in files.items():
            (state_dir / "journal" / file).write_bytes(text)
        return kept
    files = load(source)
    before = copy.deepcopy(files)
    if name in BOTH and (len(files) > 1 or every(files, "pictured")):
        return None  # the state at the head of a segment, or a picture, may tell more
    if not {**BOTH, **VERIFY_ONLY}[name](rng, files) or files == before:
        return None
    store(files, state_dir)
    return kept


def main():
    rng = random.Random(SEED)
    with tempfile.TemporaryDirectory(prefix="tallyjaw-") as scratch:
        scratch = pathlib.Path(scratch)
        subprocess.run([TALLYJAW, "demo", "--fast", "--dir", str(scratch / "demo")], check=True, stdout=subprocess.DEVNULL)
        sources = [folder for parent in FOLDERS for folder in sorted(parent.iterdir()) if (folder / "journal").is_dir()]
        sources += [folder.parent for folder in (scratch / "demo").glob("**/journal")]
        for source in sources:
            sound(source)
        behind = [sum(known) for known in zip(*(behind_removed(rng, source, scratch) for source in sources))]
        print(f"{behind[0]} journals without their first segments, {behind[1]} of them with a changed verdict: found by both")
        if not all(behind):
            sys.exit("no journal has a second segment to begin with")
        names = list({**BYTES, **BOTH, **BYTES_VERIFY_ONLY, **VERIFY_ONLY})
        table, wrong = collections.defaultdict(collections.Counter), []
        for turn in range(TRIES):
            name = names[turn % len(names)]
            state_dir = scratch / "changed"
            for source in rng.sample(sources, len(sources)):
                shutil.rmtree(state_dir, ignore_errors=True)
                if (kept := changed(rng, source, name, state_dir)) is not None:
                    break
            else:
                sys.exit(f"no journal has anything to change: {name}")
            key = source / "signing.allowed" if "key kept" in name else None
            (by_verify, by_script), said = found_by(state_dir, kept, key)
            table[name].update(tries=1, verify=by_verify, script=by_script)
            may_differ = name in VERIFY_ONLY or name in BYTES_VERIFY_ONLY
            if by_script > by_verify or (by_verify != by_script and not may_differ):
                wrong.append(f"{name}, {source}: (verify, the script) = {(by_verify, by_script)}: {said}")
    print(f"{len(sources)} sound journals; changed ones, and how many of them each finds:")
    print(f"{'change':30} {'tries':>6} {'verify':>7} {'script':>7}")
    for name in names:
        found = table[name]
        print(f"{name:30} {found['tries']:6} {found['verify']:7} {found['script']:7}")
        if not found["script"] and (name in BOTH or name in BYTES) and name != "all sealed again":
            wrong.append(f"{name}: the script never found it")
    if wrong:
        sys.exit("\n".join(wrong[:8]))


if __name__ == "__main__":
    main()
