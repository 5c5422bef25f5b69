// What the page's own check finds in these checkable reports: a line of JSON for each.
//
//     node tests/scripts/recomputed.mjs FILE…

import { readFileSync } from "node:fs";
import { check, seals } from "../browser/recompute.mjs";

for (const file of process.argv.slice(2)) {
  const found = check(readFileSync(file, "utf8"));
  const broken = (await seals(found, globalThis.crypto.subtle)).filter(({ holds }) => holds === false).map(({ seq }) => `the seal of entry ${seq}`);
  const differs = found.differs.slice(0, 3).map(({ about, reported, recomputed }) => `${about}: ${reported} | ${recomputed}`);
  process.stdout.write(`${JSON.stringify({ compared: found.counts.compared + found.counts.marks, differs: [...differs, ...broken] })}\n`);
}
