// What the page's own check finds in checkable reports: the path of one a line in, a line out: how many differences; or "refused",
// where a browser does not run the script, because its SHA-256 is not the one in the policy of the page.
//
//     node tests/scripts/finds_page.mjs         # the first page must be sound: its script is taken for ours
//
// The script of a page runs in no sandbox here: tests/browser/recompute.mjs runs the same text from the sources. Where a page
// has another script, and its policy lets that run, it says what it likes: 0.

import { createHash } from "node:crypto";
import { readFileSync } from "node:fs";
import { createInterface } from "node:readline";
import { check, seals } from "../browser/recompute.mjs";

const sha256 = (text) => createHash("sha256").update(text).digest("base64");

// The digest of the script that a browser would run; null if it runs none.
function running(html) {
  const policy = /http-equiv="Content-Security-Policy" content="([^"]*)"/.exec(html)?.[1].replaceAll("&#39;", "'");
  const allowed = policy && /(?:^|;)\s*script-src\s+'sha256-([^']*)'/.exec(policy)?.[1];
  const scripts = [...html.matchAll(/<script((?:\s[^>]*)?)>([^]*?)<\/script>/g)].filter(([, attributes]) => !attributes.includes("type="));
  const digests = scripts.map(([, , text]) => sha256(text));
  return (policy === undefined ? digests[0] : digests.find((digest) => digest === allowed)) ?? null;
}

let ours;
for await (const path of createInterface({ input: process.stdin })) {
  const html = readFileSync(path, "utf8");
  const script = running(html);
  ours ??= script;
  let says = 0;
  if (script === null) says = "refused";
  else if (script === ours) {
    const found = check(html);
    const broken = (await seals(found, globalThis.crypto.subtle)).filter(({ holds }) => holds === false);
    says = found.differs.length + broken.length;
  }
  process.stdout.write(`${says}\n`);
}
