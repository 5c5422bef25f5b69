// The check that a checkable report makes of itself, for Node: the same text as the page has, without what shows it.
//
//     import { check, seals } from "./recompute.mjs";

import { readFileSync } from "node:fs";

const folder = new URL("../../src/report/checkable/", import.meta.url);
const text = ["journal.js", "check.js"].map((name) => readFileSync(new URL(name, folder), "utf8")).join("\n");

export const { check, seals, sha256 } = new Function(`${text}\nreturn { check, seals, sha256 };`)();
