// Looks at HTML files and addresses and reports every fault: invalid text, faults of structure or contrast, requests to
// anywhere, what does not fit on a screen or a paper. Exit status 1 if there was one.
//
//     tests/browser/setup && node tests/browser/check.mjs [--screens FOLDER] [--screen-only] FILE|URL…
//
// --screens keeps what was seen: pictures of every width (and one in grey), and what A4 and Letter get as PDF.

import { mkdirSync, readFileSync, writeFileSync } from "node:fs";
import { basename, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { parseArgs } from "node:util";
import { browser, faultsOfText, faultsOnScreen, onPaper, watched, WIDTHS } from "./look.mjs";

// Lines about one page; one cause often has many faults.
const MOST = 30;

const { values: options, positionals: named } = parseArgs({
  allowPositionals: true,
  options: { screens: { type: "string" }, "screen-only": { type: "boolean" } },
});
if (named.length === 0) {
  console.error("browser: nothing to look at; name files or addresses");
  process.exit(2);
}
if (options.screens) mkdirSync(options.screens, { recursive: true });

async function pictures(page, name) {
  const seen = (what) => `${options.screens}/${name}.${what}`;
  for (const width of WIDTHS) {
    await page.setViewport({ width, height: 900 });
    await page.screenshot({ path: seen(`${width}.png`), fullPage: true });
  }
  await page.setViewport({ width: WIDTHS[0], height: 900 });
  await page.emulateVisionDeficiency("achromatopsia");
  await page.screenshot({ path: seen("grey.png"), fullPage: true });
  await page.emulateVisionDeficiency("none");
}

// All faults of one, and how many sheets of paper it is.
async function look(chromium, one) {
  const url = /^https?:/.test(one) ? one : pathToFileURL(resolve(one)).href;
  const page = await chromium.newPage();
  const live = watched(page, url);
  const response = await page.goto(url, { waitUntil: "load" });
  const text = url.startsWith("file:") ? readFileSync(resolve(one), "utf8") : await response.text();
  const faults = [...(await faultsOfText(text, one)), ...(await faultsOnScreen(page))];
  const sheets = {};
  if (!options["screen-only"]) {
    const paper = await onPaper(page);
    faults.push(...paper.faults);
    for (const [format, { pdf, pages }] of Object.entries(paper.pdfs)) {
      sheets[format] = pages;
      if (options.screens) writeFileSync(`${options.screens}/${basename(one)}.${format}.pdf`, pdf);
    }
  }
  if (options.screens) await pictures(page, basename(one));
  await page.close();
  return { faults: [...faults, ...live], bytes: Buffer.byteLength(text), sheets };
}

const chromium = await browser();
let found = 0;
try {
  for (const one of named) {
    const { faults, bytes, sheets } = await look(chromium, one);
    const paper = Object.entries(sheets).map(([format, pages]) => `, ${pages} × ${format}`);
    console.log(`${one}: ${bytes} bytes${paper.join("")}, ${faults.length || "no"} faults`);
    for (const fault of faults.slice(0, MOST)) console.log(`  ${fault}`);
    if (faults.length > MOST) console.log(`  … and ${faults.length - MOST} more`);
    found += faults.length;
  }
} finally {
  await chromium.close();
}
process.exit(found === 0 ? 0 : 1);
