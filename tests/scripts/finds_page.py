"""What a forger does to a checkable report besides, and what the page's own check finds: finds_page.mjs, in one program of Node."""

import base64
import hashlib
import os
import pathlib
import re
import shutil
import subprocess
import threading

# What the check recomputes, by the names of `data-about`: a change of its text must be found.
RECOMPUTED = re.compile(r", (value|deviation|verdict|nominal|lower limit|upper limit|outcome|readings)$|, visual check \d+, |, limits of .*, axis$|, (unsure within|test uncertainty ratio|uncertainty budget)$|"
                        r", reading \d+ (in the appendix|that does not count), |the outcome$|, its line$|, pulls, |, capability\b|, how the pulls failed$|^how to check it, |"
                        r", (opened|closed|station|report made)$")
OPENED = re.compile(r'<(\w+) data-about="([^"]*)"[^>]*>')
DATA = "the data for programs, but for values, verdicts and outcomes"
MARKUP = "names and classes of elements, but not of charts"
LAST = "the last line of the journal in the page, which no other covers"
WORDS = "headings, labels, names, remarks, dates, what was required, what stands between cells"
CHART = re.compile(r'<svg data-about="the (picture|time line)')


class Page:
    def __init__(self):
        self.node = shutil.which(os.environ.get("NODE", "node"))
        self.lock, self.refused = threading.Lock(), 0
        if self.node:
            script = pathlib.Path(__file__).with_name("finds_page.mjs")
            self.process = subprocess.Popen([self.node, script], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def finds(self, path):
        """Whether the page says that something differs, or cannot say anything."""
        with self.lock:
            self.process.stdin.write(f"{path}\n")
            self.process.stdin.flush()
            said = self.process.stdout.readline().strip()
            self.refused += said == "refused"
        assert said == "refused" or said.isdigit(), f"finds_page.mjs says {said!r} about {path}"
        return said != "0"

    def end(self):
        if self.node:
            self.process.stdin.close()
            assert self.process.wait() == 0


def left(text, at):
    """What the page's own check does not recompute at a place of the page; `None` where it must find a change."""
    before = text[:at]
    if before.rfind("<style") > before.rfind("</style>"):
        return None
    if before.rfind('id="tallyjaw-report"') > before.rfind("</script>"):
        return DATA
    if before.rfind('<script data-about="the script">') > 0 and "</script>" in text[at:]:
        return None
    if (svg := before.rfind("<svg")) > before.rfind("</svg>") and CHART.match(text, svg):
        return of_chart(text, at)
    if text[at:at + 1] == "<" or before.rfind("<") > before.rfind(">"):
        return MARKUP
    if before.rfind('<code data-about="entry') == text.rfind('<code data-about="entry'):
        return LAST
    around = [found[2] for found in OPENED.finditer(before) if f"</{found[1]}>" not in before[found.end():]]
    return None if around and RECOMPUTED.search(around[-1]) else WORDS


def of_chart(text, at):
    """In a chart: each attribute that is seen and each word must be found, and what a shape is."""
    opened = text.rfind("<", 0, at)
    if (closed := text.find(">", opened)) < at:
        return None if re.match(r"<(text|title|desc)\b", text[opened:]) else MARKUP
    for attribute in re.finditer(r' ([\w-]+)="[^"]*"', text[opened:closed]):
        if opened + attribute.start() <= at < opened + attribute.end():
            return MARKUP if attribute[1] in ("id", "role", "aria-labelledby", "data-about") else None
    return MARKUP if text[at] == "<" else None


def first_change(one, other):
    """Where two texts differ first."""
    return next((at for at, (a, b) in enumerate(zip(one, other)) if a != b), min(len(one), len(other)))


def another_script(rng, text):
    """The script exchanged for one that finds nothing, and its digest in the policy made to fit."""
    script = '\ndocument.getElementById("recomputed").textContent = "All that was recomputed agrees";\n'
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    head, _, tail = text.partition('<script data-about="the script">')
    head = re.sub(r"sha256-[\w+/]+=", f"sha256-{digest}", head, count=1)
    return f'{head}<script data-about="the script">{script}{tail[tail.index("</script>"):]}'
