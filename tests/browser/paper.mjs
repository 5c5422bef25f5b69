// Looks at a report as it is printed, page by page: how many pages, no heading at a page's end, no page that is half
// empty, and the paper that the page itself asks for. Exit status 1 if there was a fault.
//
//     tests/browser/setup && node tests/browser/paper.mjs FOLDER FILE=PAGES…
//
// Each FILE is printed on A4, on Letter and on its own paper into FOLDER. Where pdftotext is not installed, the pages are
// counted and the paper is looked at, and it says so.

import { spawnSync } from "node:child_process";
import { mkdirSync, writeFileSync } from "node:fs";
import { basename, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { browser, onPaper, PAPERS } from "./look.mjs";

// How much of a page must be filled, from its first line to its last.
const LEAST_FILLED = 0.5;
// How much of it may be empty between two lines; a picture has its numbers.
const MOST_EMPTY = 0.35;
const POINTS_PER_MM = 72 / 25.4;
// The line at the foot of every page stands below this share of it.
const FOOT = 0.955;

const [folder, ...asked] = process.argv.slice(2);
if (!folder || asked.length === 0) {
  console.error("paper: nothing to look at; name a folder, then FILE=PAGES");
  process.exit(2);
}
mkdirSync(folder, { recursive: true });
const canRead = spawnSync("pdftotext", ["-v"]).status === 0;
if (!canRead) console.log("paper: no pdftotext, so pages are counted and not read");

// The lines of each page of a PDF, without the foot: { text, end }, `end` as a share of the page's height.
function linesOf(pdf) {
  const done = spawnSync("pdftotext", ["-bbox-layout", pdf, "-"], { encoding: "utf8", maxBuffer: 1 << 27 });
  if (done.status !== 0) throw new Error(`${pdf}: ${done.stderr}`);
  return done.stdout.split("<page ").slice(1).map((page) => {
    const height = Number(/height="([\d.]+)"/.exec(page)[1]);
    const lines = page.split("<line ").slice(1).map((line) => ({
      end: Number(/yMax="([\d.]+)"/.exec(line)[1]) / height,
      text: [...line.matchAll(/<word [^>]*>([^<]*)<\/word>/g)].map((word) => word[1]).join(" "),
    }));
    return lines.filter((line) => line.end < FOOT).toSorted((a, b) => a.end - b.end);
  });
}

function faultsOfPages(pages, headings) {
  const faults = [];
  pages.forEach((lines, at) => {
    const last = lines.at(-1);
    const page = `page ${at + 1} of ${pages.length}`;
    if (!last) faults.push(`${page} is empty`);
    else if (last.end < LEAST_FILLED) faults.push(`${page} is filled to ${Math.round(last.end * 100)} %, want ${LEAST_FILLED * 100} %`);
    lines.slice(1).forEach((line, nth) => {
      const empty = line.end - lines[nth].end;
      if (empty > MOST_EMPTY) faults.push(`${page} is empty for ${Math.round(empty * 100)} % behind "${lines[nth].text}"`);
    });
    // a heading in the margin stands beside what it is of; at a page's end it stands alone
    const beside = lines.filter((line) => last.end - line.end < 0.012);
    if (last && at + 1 < pages.length && beside.every((line) => headings.includes(line.text))) faults.push(`${page} ends with the heading "${last.text}"`);
  });
  return faults;
}

// The size of a PDF's first page, in millimetres.
function sizeOf(pdf) {
  const [, width, height] = /\/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]/.exec(pdf.toString("latin1")) ?? [];
  return [width / POINTS_PER_MM, height / POINTS_PER_MM];
}

async function look(chromium, file, want) {
  const page = await chromium.newPage();
  await page.goto(pathToFileURL(resolve(file)).href);
  const headings = await page.evaluate(() => [...document.querySelectorAll("h1, h2, h3, h4")].map((one) => one.innerText.replace(/\s+/g, " ").trim()));
  const own = await page.evaluate(() => {
    const rules = [...document.styleSheets].flatMap((sheet) => [...sheet.cssRules]);
    return rules.filter((rule) => rule instanceof CSSPageRule).map((rule) => rule.style.getPropertyValue("size")).find(Boolean) ?? "";
  });
  const { faults, pdfs } = await onPaper(page);
  const kept = (format) => `${folder}/${basename(file)}.${format}.pdf`;
  for (const [format, { pdf, pages }] of Object.entries(pdfs)) {
    writeFileSync(kept(format), pdf);
    if (pages !== want) faults.push(`${format}: ${pages} pages, want ${want}`);
    if (canRead) faults.push(...faultsOfPages(linesOf(kept(format)), headings).map((fault) => `${format}: ${fault}`));
  }
  if (own) {
    const asked = Object.entries(PAPERS).find(([name]) => name.toLowerCase() === own.toLowerCase());
    const got = sizeOf(Buffer.from(await page.pdf({ preferCSSPageSize: true })));
    if (!asked?.[1].every((side, at) => Math.abs(side - got[at]) < 0.5)) faults.push(`its own paper is ${own}, and it is printed on ${got.map(Math.round).join(" × ")} mm`);
  }
  await page.close();
  return { faults, own };
}

const chromium = await browser();
let found = 0;
try {
  for (const one of asked) {
    const at = one.lastIndexOf("=");
    const [file, want] = [one.slice(0, at), Number(one.slice(at + 1))];
    const { faults, own } = await look(chromium, file, want);
    console.log(`${file}: ${want} pages on ${own || "no paper of its own"}, ${faults.length || "no"} faults`);
    for (const fault of faults) console.log(`  ${fault}`);
    found += faults.length;
  }
} finally {
  await chromium.close();
}
process.exit(found === 0 ? 0 : 1);
