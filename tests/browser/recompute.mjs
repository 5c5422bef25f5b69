// The check that a checkable report makes of itself, for Node: the same text as the page has, without what shows it. What it
// knows of our style sheets it has from a page that the tests compare with the generator.
//
//     import { check, seals } from "./recompute.mjs";

import { readFileSync } from "node:fs";

const read = (path) => readFileSync(new URL(`../../${path}`, import.meta.url), "utf8");
const names = [...read("src/report/document/recomputed.rs").matchAll(/include_str!\("\.\.\/checkable\/(\w+\.js)"\)/g)].map(([, name]) => name);
const sources = names.filter((name) => name !== "show.js").map((name) => read(`src/report/checkable/${name}`));
const [styles] = /^const STYLES = .*$/m.exec(read("tests/golden/report/checkable.html"));

export const { check, seals, sha256 } = new Function(`${sources.join("\n")}\n${styles}\nreturn { check, seals, sha256 };`)();
