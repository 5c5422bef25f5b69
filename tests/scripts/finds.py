"""Who finds what, of changed bits and of what a forger would do, in each thing that a bench hands on?

Usage: finds.py TALLYJAW      (SEED, BITS and CHANGES from the environment: any, 300 and 60 of each thing; NODE: node)

A bench with a key measures; then copies of its report, exports, picture and journal are changed. Four look at each: `tallyjaw
verify` without a signature, `tallyjaw verify --key` with the signature beside the file, examples/verify.py, which shares no code with it,
and `ssh-keygen` by hand; and at a checkable report its own check, run by Node (finds_page.mjs). The table says how many each found. It fails where somebody missed what he must find; a bit that
`tallyjaw verify` does not find must be one of those that change nothing for a reader (`harmless`). Exit status 77: all that was looked at is as it must be,
but there is no Node, so nothing was given to the page's own check.
"""

import base64
import collections
import csv
import functools
import hashlib
import io
import json
import os
import pathlib
import random
import re
import shutil
import subprocess
import sys
import tempfile
from multiprocessing.pool import ThreadPool

import finds_page
import pump_job
import verifier
from bench import Feed

SEED, BITS, CHANGES = (int(os.environ.get(name, default)) for name, default in (("SEED", random.randrange(10**6)), ("BITS", 300), ("CHANGES", 60)))
COLUMNS = ("verify", "--key", "verify.py", "page", "ssh-keygen")
ALL, KEYED = frozenset(("verify", "--key", "ssh-keygen")), frozenset(("--key", "ssh-keygen"))
FORMS = ("csv", "parquet", "jsonl")
FILES_OF = [["report", "--job", "4711", "--out", "report.html"], ["report", "--job", "4711", "--checkable", "--out", "checkable.html"],
            *(["export", form, "-o", f"all.{form}"] for form in FORMS)]
NARROWER = [[*arguments[:-2], "--terminal", "QF-250-F", *arguments[-2:]] for arguments in FILES_OF]
FILES = {"report": "report.html", "checkable": "checkable.html", "csv": "all.csv", "parquet": "all.parquet", "jsonl": "all.jsonl"}


class Heard(Feed):
    """Without the seals, which come when they are made."""

    def read(self):
        line, entry = super().read()
        return self.read() if entry["kind"] in ("sealed", "key_begun") else (line, entry)


def measured(binary, folder):
    """A bench that has measured and made its files; returns a copy of its folder."""
    pump_job.Feed = Heard
    job = pump_job.Job(binary)
    job.tallyjaw("key", "make")
    with job:
        pump_job.open_up(job)
        job.scan("operator/Ada", "operator_said", operator="Ada")
        job.scan("job/4711/12", "job_said")
        pump_job.lots(job, "R-2031", "88-1407", "2.0")
        pump_job.pump_circuit(job, bad=2)
        job.own = str(job.series)
        job.tallyjaw("report", "--job", "4711", "--out", "early.html")
        pump_job.cross_sections(job)
        for serial, heights in (("12", ["0.98", "1.05", "0.97", "0.98", "1.00"]), ("13", ["0.98", "0.99", "0.97", "0.98", "1.00"])):
            job.scan(f"job/4711/{serial}", "job_said")
            pump_job.lots(job, "R-0915", "88-1533", "0.5")
            job.arm("level-own")
            job.zero("opening")
            for piece, height in enumerate(heights, 1):
                job.measure(piece, pump_job.HEIGHT, height, "fail_high" if height == "1.05" else "pass")
            job.look(1, "good")
            job.zero("closing")
            job.completed("rejected" if "1.05" in heights else "accepted")
        job.stop()
        for arguments in FILES_OF:
            job.tallyjaw(*arguments)
        (job.root / "kept.allowed").write_text(job.tallyjaw("key", "show"))
        shutil.copytree(job.root, folder, ignore=shutil.ignore_patterns("run"))




class Bench:
    """The folder of a bench, its key as it was kept, and who looks at changed copies."""

    def __init__(self, binary, folder, scratch, page):
        self.page = page
        self.binary, self.root, self.scratch = binary, folder, scratch
        self.kept = folder / "kept.allowed"
        self.seal_by_hand = functools.lru_cache(None)(self.by_hand)
        self.trusted = verifier.verify.fingerprint(re.search("ssh-ed25519 .*", self.kept.read_text())[0])

    def run(self, root, *arguments):
        command = [self.binary, "--config", str(root / "tallyjaw.toml"), *map(str, arguments)]
        return subprocess.run(command, cwd=root, capture_output=True, text=True)

    def files(self, name, root=None):
        """A file with its question and their signatures."""
        found = sorted((root or self.root).glob(f"{name}*"))
        return {file.name: file.read_bytes() for file in found}

    def state(self):
        names = [file for file in (self.root / "state").rglob("*") if file.is_file() and file.parent.name != "state"]
        return {str(file.relative_to(self.root / "state")): file.read_bytes() for file in names}

    def made_elsewhere(self, state, commands):
        """What the commands make of a state folder that a forger has, without the key."""
        with tempfile.TemporaryDirectory(dir=self.scratch) as folder:
            root = pathlib.Path(folder)
            for file in self.root.glob("*"):
                if file.is_file() and not file.name.startswith(("all.", "report.", "checkable.", "early.")):
                    shutil.copy(file, root)
            put(root / "state", state)
            for arguments in commands:
                done = self.run(root, *arguments)
                assert done.returncode == 0, f"{arguments}: {done.stderr}"
            return {thing: self.files(name, root) for thing, name in FILES.items()}

    def by_hand(self, signature, signed):
        """Whether `ssh-keygen -Y verify` refuses it."""
        with tempfile.NamedTemporaryFile(dir=self.scratch) as file:
            file.write(signature)
            file.flush()
            command = ["ssh-keygen", "-Y", "verify", "-n", "tallyjaw", "-I", "tallyjaw", "-f", self.kept, "-s", file.name]
            return subprocess.run(command, input=signed, capture_output=True).returncode != 0

    def look_at_file(self, name, files):
        """Who finds something wrong, and what `tallyjaw verify` says."""
        with tempfile.TemporaryDirectory(dir=self.scratch) as folder:
            put(pathlib.Path(folder), files)
            file = pathlib.Path(folder, name)
            done = self.run(self.root, "--json", "verify", file, "--key", self.kept, "--state-dir", self.root / "state")
            by_page = {"page": self.page.finds(file)} if name == FILES["checkable"] and self.page.node else {}
        assert done.returncode in (0, 1, 2), f"{name}: exit {done.returncode}: {done.stderr}"
        said = {line["kind"]: line for line in map(json.loads, done.stdout.splitlines())}
        content = said.get("verified_report", said.get("verified_export", {"agrees": False}))
        signed = [(text, files.get(f"{of}.sig")) for of, text in files.items() if not of.endswith(".sig")]
        by_hand = any(signature is None or self.by_hand(signature, text) for text, signature in signed)
        return {"verify": not content["agrees"], "--key": done.returncode != 0, "ssh-keygen": by_hand, **by_page}, content

    def look_at_state(self, files):
        with tempfile.TemporaryDirectory(dir=self.scratch) as folder:
            state = pathlib.Path(folder)
            put(state, files)
            said = {}
            for column, key in (("verify", []), ("--key", ["--key", self.kept])):
                done = self.run(self.root, "--json", "verify", state, *key)
                assert done.returncode in (0, 1), f"exit {done.returncode}: {done.stderr}"
                said[column] = done.returncode != 0
            found, _ = verifier.verify.verify(state / "journal", None, {self.trusted})
        hand = self.seals_by_hand(b"".join(files[name] for name in sorted(files) if name.startswith("journal/")))
        return {**said, "verify.py": bool(found.faults), "ssh-keygen": hand}, {}

    def seals_by_hand(self, journal):
        """Whether a seal, or the line that it is of, does not hold, as docs/verify.md checks one by hand; or there is none."""
        digests, held = {}, 0
        for line in journal.split(b"\n"):
            try:
                entry = json.loads(line)
                digests[entry["seq"]] = hashlib.sha256(line).hexdigest()
                if entry["kind"] != "sealed":
                    continue
                text = f"tallyjaw seal 1\njournal {entry['journal']}\nentry {entry['up_to']}\nsha256 {entry['digest']}\n"
                signature = f"-----BEGIN SSH SIGNATURE-----\n{entry['signature']}\n-----END SSH SIGNATURE-----\n"
                if digests.get(entry["up_to"]) != entry["digest"] or self.seal_by_hand(signature.encode(), text.encode()):
                    return True
                held += 1
            except (ValueError, KeyError, TypeError, AttributeError):
                continue  # not a line that he would look at
        return not held


def put(folder, files):
    for name, content in files.items():
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(content)


def one_bit(rng, files, folder=""):
    """A bit of the files of a folder, each as likely, but of no signature."""
    names = [name for name in sorted(files) if name.startswith(folder) and not name.endswith(".sig")]
    at = rng.randrange(sum(len(files[name]) for name in names))
    for name in names:
        if at < len(files[name]):
            break
        at -= len(files[name])
    text = bytearray(files[name])
    text[at] ^= 1 << rng.randrange(8)
    return {**files, name: bytes(text)}


def one_bit_of(folder):
    return lambda rng, files: one_bit(rng, files, folder)


def one_bit_of_a_seal(rng, files):
    name = rng.choice([name for name in files if name.startswith("journal/") and b'"sealed"' in files[name]])
    line = rng.choice([line for line in files[name].split(b"\n") if b'"kind":"sealed"' in line])
    changed = one_bit(rng, {name: line})
    return {**files, name: files[name].replace(line, changed[name])}


# What a forger does to a text. Each gets the text and returns another, or the same where there is nothing of the kind.

def at_one(pattern, change):
    def changed(rng, text):
        found = list(re.finditer(pattern, text))
        if not found:
            return text
        match = rng.choice(found)
        return text[:match.start()] + change(rng, match) + text[match.end():]
    return changed


def everywhere(what, other):
    return lambda rng, text: re.sub(what, other, text)


def another_digit(rng, match):
    at = rng.choice([at for at, letter in enumerate(match[0]) if letter.isdigit()])
    digit = rng.choice([digit for digit in "0123456789" if digit != match[0][at]])
    return match[0][:at] + digit + match[0][at + 1:]


def rows(pattern, change):
    """Rows of a page, or lines: `change` gets the list and a place in it that has a next one."""
    def changed(rng, text):
        found = re.split(pattern, text)
        places = [at for at in range(1, len(found) - 2, 2) if found[at] != found[at + 2]]
        if places:
            change(found, rng.choice(places))
        return "".join(found)
    return changed


def exchanged(found, at):
    found[at], found[at + 2] = found[at + 2], found[at]


def doubled(found, at):
    found[at] += found[at]


def without(found, at):
    found[at] = ""


def other_copy(rng, text):
    """A picture in the report exchanged for another of the same bench."""
    found = re.findall(r'<img class="copy" id="\w+" src="([^"]*)"', text)
    one, other = rng.sample(found, 2)
    return text.replace(one, other)


def foreign_copy(rng, text):
    """A picture in the report exchanged for one that was never at the bench."""
    found = re.findall(r'<img class="copy" id="\w+" src="([^"]*)"', text)
    png = base64.b64encode(pump_job.cross_section(rng.randrange(100, 200))).decode()
    return text.replace(rng.choice(found), f"data:image/png;base64,{png}")


VERDICT = at_one(r"\b(pass|fail_high|ACCEPTED|REJECTED|accepted|rejected)\b", lambda rng, match: {
    "pass": "fail", "fail_high": "pass", "ACCEPTED": "REJECTED", "REJECTED": "ACCEPTED", "accepted": "rejected", "rejected": "accepted"}[match[0]])
ROW, LINE = r"(<tr.*?</tr>)", r"([^\n]*\n)"
REPORT = {
    "verdict": VERDICT,
    "value": at_one(r">[01]\.\d\d<", another_digit),
    "value, everywhere": everywhere(r"1\.05", "1.02"),
    "limit or nominal": at_one(r">\d\.\d\d mm<", another_digit),
    "count": at_one(r"\d+ (passed|failed|readings|pieces|series)", another_digit),
    "row taken out": rows(ROW, without),
    "rows exchanged": rows(ROW, exchanged),
    "customer, everywhere": everywhere("Hof Aulinger", "Gut Rosenau"),
    "operator, everywhere": everywhere(r"\bAda\b", "Eva"),
    "date, but of the zone": at_one(r"(?<!\[\")20\d\d-\d\d-\d\d", another_digit),
    "picture for another of the bench": other_copy,
    "picture of elsewhere": foreign_copy,
    "rule that hides a row": lambda rng, text: text.replace("</style>", f"tr:nth-child({rng.randrange(2, 9)}){{display:none}}</style>", 1),
    "sentence put in": at_one("</p>", lambda rng, match: " All pieces are released.</p>"),
    "line of the chart": at_one(r' d="[^"]*"', another_digit),
    "digest or journal": at_one(r">[0-9a-f]{32,64}<", another_digit),
}
TABLE = {
    "verdict": VERDICT,
    "value or limit": at_one(r",[012]\.\d\d?\b", another_digit),
    "customer, everywhere": everywhere("Hof Aulinger", "Gut Rosenau"),
    "operator": at_one(r"\bAda\b", lambda rng, match: "Eva"),
    "date": at_one(r"20\d\d-\d\d-\d\d", another_digit),
    "row taken out": rows(LINE, without),
    "row doubled": rows(LINE, doubled),
    "unit": at_one(r",mm,", lambda rng, match: ",in,"),
    "column renamed": everywhere(r"\blower_mm\b", "lower_n"),
}
LINES = {**{kind: TABLE[kind] for kind in ("verdict", "customer, everywhere", "operator", "date", "row taken out", "row doubled")},
         "value or limit": at_one(r'(value|lower|upper)_nm":\d+', another_digit)}


def in_line(change):
    """The change in a line of the journal that a checkable page holds."""
    return at_one(r'{"v":1,"seq"[^\n]*', lambda rng, match: change(rng, match[0]))


LINE_OF_PAGE = r'(<code data-about="entry[^\n]*\n)'
PAGE = {
    "journal: value": in_line(at_one(r'(?<="value":)[\d.]+', another_digit)),
    "journal: verdict": in_line(at_one(r'(?<="verdict":")(pass|fail_high)', lambda rng, match: "fail_low" if match[0] == "pass" else "pass")),
    "journal: limit": in_line(at_one(r'"(lower|upper|nominal)_nm":\d+', another_digit)),
    "journal: tally": in_line(at_one(r'"(pass|fail|good|bad)":\d+', another_digit)),
    "journal: value renamed": in_line(at_one('"value_nm"', lambda rng, match: '"value_mm"')),
    "journal: line taken out": rows(LINE_OF_PAGE, without),
    "journal: lines exchanged": rows(LINE_OF_PAGE, exchanged),
    "journal: line doubled": rows(LINE_OF_PAGE, doubled),
    "script that finds nothing, digest fitted": finds_page.another_script,
}
# What the page's own check must find: always, or where the first change is of a text that it recomputes.
ALWAYS = frozenset([*[kind for kind in PAGE if kind.startswith("journal")], "value, everywhere", "customer, everywhere", "operator, everywhere",
                    "picture for another of the bench", "picture of elsewhere", "row taken out", "rows exchanged", "rule that hides a row", "digest or journal", "made of a changed journal, digests fitted",
                    "the same, signed with another key"])
WHERE_RECOMPUTED = frozenset(("verdict", "value", "limit or nominal", "count"))


class Forger:
    """The changes of a file, by kind: what it makes of the files, and who must find each."""

    def __init__(self, bench, thing, elsewhere, narrower):
        self.bench, self.name = bench, FILES[thing]
        self.files, self.elsewhere, self.narrower = bench.files(self.name), elsewhere, narrower
        texts = {"report": REPORT, "checkable": REPORT | PAGE, "csv": TABLE, "jsonl": LINES}.get(thing, {})
        self.kinds = {kind: (self.text(change), ALL) for kind, change in texts.items()}
        self.kinds.update({
            "made of a changed journal, digests fitted": (lambda rng: rng.choice(elsewhere), ALL),
            "the same, signed with another key": (lambda rng: self.signed_by_another(rng.choice(elsewhere)), ALL),
            "signed with another key": (lambda rng: self.signed_by_another(self.files), KEYED),
            ".sig taken away": (lambda rng: {name: text for name, text in self.files.items() if not name.endswith(".sig")}, KEYED),
            ".sig of another file": (self.other_signature, KEYED),
            "narrower question, unsigned": (lambda rng: narrower, KEYED),
        })
        if thing in ("report", "checkable"):
            self.kinds["letterhead, everywhere"] = (self.text(everywhere("Quellgrund Pump Harnesses", "Brunn Harnesses")), KEYED)
        if thing in ("csv", "jsonl"):
            self.kinds["lines exchanged, which is only said"] = (self.text(rows(LINE, exchanged)), KEYED)
            self.kinds["question taken away, and a row"] = (self.unasked, KEYED)
            self.kinds["question: its end, number of rows or digest"] = (self.question("last|rows|digest"), ALL)
            self.kinds["question: its beginning"] = (self.question("first"), KEYED)

    def text(self, change):
        def changed(rng):
            text = change(rng, self.files[self.name].decode())
            return {**self.files, self.name: text.encode()}
        return changed

    def signed_by_another(self, files):
        with tempfile.TemporaryDirectory(dir=self.bench.scratch) as folder:
            put(pathlib.Path(folder), {name: text for name, text in files.items() if not name.endswith(".sig")})
            own = pathlib.Path(folder, "own")
            subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-C", "", "-f", own], check=True)
            signed = [file for file in pathlib.Path(folder).glob(f"{self.name}*")]
            subprocess.run(["ssh-keygen", "-q", "-Y", "sign", "-n", "tallyjaw", "-f", own, *signed], check=True, capture_output=True)
            return self.bench.files(self.name, pathlib.Path(folder))

    def other_signature(self, rng):
        other = rng.choice([name for name in FILES.values() if name != self.name])
        return {**self.files, f"{self.name}.sig": (self.bench.root / f"{other}.sig").read_bytes()}

    def unasked(self, rng):
        files = self.text(rows(LINE, without))(rng)
        return {name: text for name, text in files.items() if "question" not in name and not name.endswith(".sig")}

    def question(self, fields):
        name, change = f"{self.name}.question.json", at_one(rf'"({fields})":"?\w+', another_digit)
        return lambda rng: {**self.files, name: change(rng, self.files[name].decode()).encode()}


def state_changes(bench, folder):
    """What somebody does to journal and seals: the changes of verifier.py, with digests made to fit; by kind."""
    raw = bench.state()

    def journal(change):
        def changed(rng):
            files = verifier.load(folder)
            if not change(rng, files):
                return None
            with tempfile.TemporaryDirectory(dir=bench.scratch) as other:
                (pathlib.Path(other) / "journal").mkdir()
                verifier.store(files, pathlib.Path(other))
                return {**raw, **{f"journal/{name}": (pathlib.Path(other) / "journal" / name).read_bytes() for name in files}}
        return changed

    def lines(change):
        def changed(rng):
            files = {name.removeprefix("journal/"): text for name, text in raw.items() if name.startswith("journal/")}
            return {**raw, **{f"journal/{name}": text for name, text in files.items()}} if change(rng, files) else None
        return changed

    seen = frozenset(("--key", "verify.py"))
    changes = {kind: change for kind, change in {**verifier.BOTH, **verifier.VERIFY_ONLY}.items() if "key kept" not in kind}
    is_of_seal = {"signature of a seal", "digest of a seal", "all sealed again", "seal taken out", "key_begun taken out"}
    entries = {kind: (journal(change), seen) for kind, change in changes.items() if kind not in is_of_seal}
    entries.update({kind: (lines(verifier.BYTES[kind]), seen | {"verify"}) for kind in ("line removed", "line doubled", "lines exchanged")})
    seals = {kind: (journal(change), seen) for kind, change in changes.items() if kind in is_of_seal - {"seal taken out"}}
    seals.update({
        "key and seals taken out": (journal(verifier.unsealed), seen),
        "seal, not the last, taken out": (journal(inner_seal_out), frozenset()),
        "seal moved behind a later line": (journal(moved), seen | {"verify"}),
        "seal of another entry": (journal(of_another_entry), seen | {"verify"}),
        "seal named for another journal": (journal(of_another_journal), seen | {"verify"}),
        "seal named for another key": (journal(of_another_key), seen | {"verify"}),
        "entry changed, digest of the seal fitted": (journal(fitted), seen | {"verify"}),
    })
    return entries, seals


def inner_seal_out(rng, files):
    found = verifier.every(files, "sealed")[:-1]
    verifier.take_out(files, rng.choice(found))
    return True


def moved(rng, files):
    """Exchanges the signed fields of two seals."""
    one, other = rng.sample(verifier.every(files, "sealed"), 2)
    for field in ("up_to", "digest", "signature"):
        one[field], other[field] = other[field], one[field]
    return True


def of_another_entry(rng, files):
    rng.choice(verifier.every(files, "sealed"))["up_to"] -= 1
    return True


def of_another_journal(rng, files):
    rng.choice(verifier.every(files, "sealed"))["journal"] = f"{rng.getrandbits(128):032x}"
    return True


def of_another_key(rng, files):
    rng.choice(verifier.every(files, "sealed"))["key"] = "SHA256:" + base64.b64encode(rng.randbytes(32)).decode()[:-1]
    return True


def fitted(rng, files):
    """An operator changed, and the digests of all seals made to fit, but not their signatures."""
    said = rng.choice(verifier.every(files, "operator_said"))
    said["operator"] = rng.choice(["Eva", "Jon", "Mara"])
    with tempfile.TemporaryDirectory() as folder:
        (pathlib.Path(folder) / "journal").mkdir()
        for seal in verifier.every(files, "sealed"):
            verifier.store(files, pathlib.Path(folder))
            text = b"".join(file.read_bytes() for file in sorted(pathlib.Path(folder, "journal").iterdir()))
            seal["digest"] = hashlib.sha256(text.split(b"\n")[seal["up_to"] - 1]).hexdigest()
    return True


def picture_changes(bench):
    """What somebody does to a picture in the state folder."""
    raw = bench.state()
    pictures = sorted(name for name in raw if name.startswith("pictures/") and "/small/" not in name)
    small = sorted(name for name in raw if name.startswith("pictures/") and "/small/" in name)

    def at_picture(change, names):
        return lambda rng: {**raw, **change(rng, rng.choice(names))}

    def for_another(names):
        return lambda rng, name: {name: raw[rng.choice([other for other in names if raw[other] != raw[name]])]}

    def taken_out(rng):
        gone = rng.choice(pictures)
        return {name: text for name, text in raw.items() if name != gone}

    found = frozenset(("verify", "--key"))
    return {
        "picture for another of the bench": (at_picture(for_another(pictures), pictures), found),
        "small copy for another": (at_picture(for_another(small), small), found),
        "picture of elsewhere": (at_picture(lambda rng, name: {name: pump_job.cross_section(rng.randrange(100, 200))}, pictures), found),
        "cut short": (at_picture(lambda rng, name: {name: raw[name][:rng.randrange(len(raw[name]))]}, pictures), found),
        "bytes put behind it": (at_picture(lambda rng, name: {name: raw[name] + rng.randbytes(9)}, pictures), found),
        "taken out": (taken_out, found),
        "picture and its entry, digests fitted": (lambda rng: with_entry(rng, raw, pictures), frozenset(("--key", "verify.py"))),
    }


def with_entry(rng, raw, pictures):
    """A picture of elsewhere under its own digest, with the entry and the chain made to fit."""
    old, new = rng.choice(pictures), pump_job.cross_section(rng.randrange(100, 200))
    digest = hashlib.sha256(new).hexdigest()
    files = {name: text for name, text in raw.items() if name != old}
    files[old.replace(pathlib.Path(old).stem, digest)] = new
    prev = "0" * 64
    for name in sorted(name for name in raw if name.startswith("journal/")):
        text = b""
        for line in raw[name].replace(pathlib.Path(old).stem.encode(), digest.encode()).split(b"\n")[:-1]:
            line = re.sub(rb'"prev":"\w+"', b'"prev":"' + prev.encode() + b'"', line, count=1)
            prev = hashlib.sha256(line).hexdigest()
            text += line + b"\n"
        files[name] = text
    return files


QUESTION = "the release, mark or beginning that the question names: `verify` shows it"
OFFSETS = "from when on the zone has another offset, where no time of the page is near: `verify` says that it does not vouch for the zone"
LAST = "the last line, which no other covers: its digest must be kept"


def harmless(thing, files, changed, content):
    """Why a changed bit changes nothing for a reader; `None` where that is not known."""
    name = next(name for name in files if files[name] != changed[name])
    if name.endswith("question.json"):
        before, after = (json.loads(known[name]) for known in (files, changed))
        fields = {field for field in before if before[field] != after.get(field)}
        return QUESTION if fields <= {"tallyjaw", "since_last", "first"} else None
    if thing == "parquet" and content.get("saved_by"):
        return "the writer's name in the file: `verify` says whose it is, and compares the rows"
    if thing == "parquet" and fields_of_question(files[name]) != fields_of_question(changed[name]):
        return QUESTION
    if thing in ("report", "checkable"):
        at = finds_page.first_change(files[name], changed[name])
        begins = files[name].find(b'"offsets":[[')
        return OFFSETS if begins < at < files[name].find(b"]]", begins) else None
    if thing == "csv":
        before, after = (list(csv.reader(io.StringIO(known[name].decode()))) for known in (files, changed))
        return "a number or time written in another way" if same_cells(before, after) else None
    last = [text.splitlines()[-1] for text in (files[name], changed[name])]
    return LAST if name.startswith("journal/") and last[0] != last[1] else None


def left_by_page(files, changed):
    """What the page's own check does not recompute at the place that is changed; `None` where it must find it."""
    name = FILES["checkable"]
    if name not in files:
        return None
    before, after = (known[name].decode("latin-1") for known in (files, changed))
    return finds_page.left(before, finds_page.first_change(before, after))


def of_bit(files, changed):
    """Where a bit was changed, and what stands around it."""
    name = next(name for name in files if files[name] != changed[name])
    at = finds_page.first_change(files[name], changed[name])
    return f"{name}, byte {at}, {changed[name][max(0, at - 20):at + 20]}"


def fields_of_question(text):
    """Those of its question in a Parquet file that no row shows."""
    return re.findall(rb'"(?:tallyjaw|since_last|first)":[^,}]*', text)


def same_cells(before, after):
    def known(cell):
        try:
            return float(cell)
        except ValueError:
            return cell.upper() if re.fullmatch(r"20[\d:.T-]+Z", cell, re.IGNORECASE) else cell
    return [[known(cell) for cell in row] for row in before] == [[known(cell) for cell in row] for row in after]


class Table:
    """What was found, by thing and kind of change."""

    def __init__(self):
        self.found, self.wrong, self.left = {}, [], collections.Counter()

    def add(self, thing, kind, by, must, what=""):
        counts = self.found.setdefault((thing, kind), collections.Counter())
        counts["tries"] += 1
        counts.update({column: found for column, found in by.items()})
        for column in sorted(must & set(by)):
            if not by[column]:
                self.wrong.append(f"{thing}, {kind}: {column} did not find it{what}")

    def write(self):
        print(f"{'thing':8} {'change':44} {'tries':>6}" + "".join(f"{column:>11}" for column in COLUMNS))
        for (thing, kind), counts in self.found.items():
            cells = "".join(f"{counts[column] if column in counts else '-':>11}" for column in COLUMNS)
            print(f"{thing:8} {kind:44} {counts['tries']:6}{cells}")
        for (thing, who, why), number in sorted(self.left.items()):
            print(f"{thing}: {number} changed bits that {who} does not find: {why}")


def main():
    print(f"seed {SEED}: {BITS} changed bits and {CHANGES} changes of a forger in each thing, and who finds them", flush=True)
    rng = random.Random(SEED)
    table = Table()
    verifier.verify.is_signed = functools.lru_cache(None)(verifier.verify.is_signed)
    with tempfile.TemporaryDirectory(prefix="tallyjaw-") as scratch, ThreadPool(os.cpu_count()) as pool:
        scratch = pathlib.Path(scratch)
        measured(verifier.TALLYJAW, scratch / "bench")
        bench = Bench(verifier.TALLYJAW, scratch / "bench", scratch, page := finds_page.Page())
        raw = bench.state()
        entries, seals = state_changes(bench, bench.root / "state")
        forged = [kind for kind in ("verdict", "limit of a series", "value moved, not its bytes", "reading taken out")]
        states = [entries[kind][0](rng) for kind in forged for _ in range(2)]
        elsewhere = pool.map(lambda state: bench.made_elsewhere(state, FILES_OF), states)
        narrower = bench.made_elsewhere(raw, NARROWER)
        early = {"report.html": (bench.root / "early.html").read_bytes(), "report.html.sig": (bench.root / "early.html.sig").read_bytes()}
        by, content = bench.look_at_file("report.html", early)
        assert not any(by.values()) and content["entries_since_about_it"], f"an older report: {by}, {content}"

        def bits(thing, files, flip, look, must):
            changed = [flip(rng, files) for _ in range(BITS)]
            for other, (by, content) in zip(changed, pool.imap(look, changed)):
                reason = None if by["verify"] and by.get("verify.py", True) else harmless(thing, files, other, content)
                table.left.update([(thing, "`tallyjaw verify` alone", reason)] if reason and not by["verify"] else [])
                excused = {LAST: must, None: frozenset()}.get(reason, {"verify"})
                if not by.get("page", True) and (place := left_by_page(files, other)):
                    table.left.update([(thing, "the page's own check", place)])
                    excused = excused | {"page"}
                table.add(thing, "one bit", by, must - excused, f": {of_bit(files, other)}")

        def changes(thing, kinds, look):
            names = list(kinds)
            made = []
            for turn in range(CHANGES):
                kind = names[turn % len(names)]
                change, must = kinds[kind]
                for _ in range(20):
                    if (files := change(rng)) not in (None, table_of[thing]):
                        made.append((kind, must, files))
                        break
                else:
                    names = [name for name in names if name != kind]
            for (kind, must, files), (by, _) in zip(made, pool.imap(lambda one: look(one[2]), made)):
                if kind in ALWAYS or kind in WHERE_RECOMPUTED and left_by_page(table_of[thing], files) is None:
                    must = must | {"page"}
                table.add(thing, kind, by, must)

        table_of = {thing: bench.files(name) for thing, name in FILES.items()} | dict.fromkeys(("picture", "seal", "journal"), raw)
        for thing, name in FILES.items():
            look = functools.partial(bench.look_at_file, name)
            by, content = look(table_of[thing])
            assert not any(by.values()), f"{name} is sound: {by}, {content}"
            bits(thing, table_of[thing], one_bit, look, ALL | {"page"})
            changes(thing, Forger(bench, thing, [made[thing] for made in elsewhere], narrower[thing]).kinds, look)
        by, _ = bench.look_at_state(raw)
        assert not any(by.values()), f"the state folder is sound: {by}"
        found = frozenset(("verify", "--key"))
        bits("picture", raw, one_bit_of("pictures/"), bench.look_at_state, found)
        changes("picture", picture_changes(bench), bench.look_at_state)
        bits("journal", raw, one_bit_of("journal/"), bench.look_at_state, found | {"verify.py"})
        changes("journal", entries, bench.look_at_state)
        bits("seal", raw, one_bit_of_a_seal, bench.look_at_state, found | {"verify.py"})
        changes("seal", seals, bench.look_at_state)
    page.end()
    table.write()
    print(f"checkable: of those that the page's own check finds, a browser refuses to run the script of {page.refused}: the page says so")
    if table.wrong:
        sys.exit("\n".join(sorted(set(table.wrong))[:20]))
    if not page.node:
        print("finds: SKIPPED, it cannot run here: the page's own check, for there is no node\nhelp: install nodejs", file=sys.stderr)
        sys.exit(77)


if __name__ == "__main__":
    main()
