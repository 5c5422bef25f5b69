// What a page is looked at with: html-validate for its text; a real Chromium with axe for structure and contrast,
// for what it asks of the network, and for how it prints. Each check gives a list of faults in words.
//
// Use it from a script of your own for a page that must be used first:
//
//     import { browser, faultsOnScreen } from "./look.mjs";
//     const chromium = await browser();
//     const page = await chromium.newPage();

import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { fileURLToPath } from "node:url";

const folder = fileURLToPath(new URL("../../target/browser/", import.meta.url));
const require = createRequire(folder);
const here = new URL("./", import.meta.url);

// Sheets of paper, in millimetres.
export const PAPERS = { A4: [210, 297], Letter: [215.9, 279.4] };
const PIXELS_PER_MM = 96 / 25.4;
// Wide, and as narrow as telephones are.
export const WIDTHS = [1280, 390, 360];

// A Chromium without a window, with `more` arguments. Close it when done. Its sandbox cannot start as root.
export async function browser(...more) {
  const puppeteer = require("puppeteer-core");
  const root = process.getuid() === 0;
  return (puppeteer.default ?? puppeteer).launch({
    executablePath: readFileSync(`${folder}chromium`, "utf8").trim(),
    headless: true,
    args: ["--disable-dev-shm-usage", "--font-render-hinting=none", ...more, ...(root ? ["--no-sandbox"] : [])],
  });
}

// A Firefox without a window, a second engine; `null` where there is none. It asks for everything by a proxy that is not there,
// also for what is on this machine: it has no network, and files are all that it can open.
export async function firefoxOffline() {
  const path = readFileSync(`${folder}firefox`, "utf8").trim();
  const puppeteer = require("puppeteer-core");
  const away = { "network.proxy.type": 1, "network.proxy.no_proxies_on": "", "network.proxy.allow_hijacking_localhost": true, "network.proxy.failover_direct": false };
  for (const kind of ["http", "ssl", "socks"]) Object.assign(away, { [`network.proxy.${kind}`]: "127.0.0.1", [`network.proxy.${kind}_port`]: 9 });
  return path ? (puppeteer.default ?? puppeteer).launch({ browser: "firefox", executablePath: path, headless: true, extraPrefsFirefox: away }) : null;
}

// Faults of the text, by html-validate with htmlvalidate.json.
export async function faultsOfText(html, name) {
  const { HtmlValidate, StaticConfigLoader } = require("html-validate");
  const config = JSON.parse(readFileSync(new URL("htmlvalidate.json", here), "utf8"));
  const report = await new HtmlValidate(new StaticConfigLoader(config)).validateString(html, name);
  return report.results.flatMap((result) =>
    result.messages.map((one) => `${one.line}:${one.column} ${one.message} (html-validate ${one.ruleId})`),
  );
}

// Collects what goes wrong while a page lives: requests for anything but itself (and what `allowed` lets through),
// errors on its console, exceptions. Call before it is opened; the answer gives the list.
export function watched(page, url, allowed = () => false) {
  const faults = [];
  page.on("request", (request) => {
    const asked = request.url();
    if (asked !== url && !asked.startsWith("data:") && !allowed(asked)) faults.push(`asks for ${asked}`);
  });
  page.on("console", (message) => {
    if (["error", "warn"].includes(message.type())) faults.push(`console: ${message.text()}`);
  });
  page.on("pageerror", (error) => faults.push(`script: ${error.message}`));
  return faults;
}

// Faults of the page as it stands, by axe: every rule of WCAG 2.2 AA, and axe's own of good practice.
export async function faultsByAxe(page) {
  await page.evaluate(readFileSync(require.resolve("axe-core/axe.min.js"), "utf8"));
  const violations = await page.evaluate(async () => {
    const tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
    return (await globalThis.axe.run(document, { runOnly: tags })).violations;
  });
  return violations.flatMap((one) =>
    one.nodes.map((node) => `${one.help} (axe ${one.id}): ${node.target.join(" ")} ${node.html.slice(0, 120)}`),
  );
}

// Elements whose text or box reaches out of the page to the right, or is cut by a box that does not scroll.
// With `scrolls` a box of its own may scroll; on paper nothing can.
export async function clipped(page, scrolls) {
  return page.evaluate((scrolls) => {
    const most = document.documentElement.clientWidth + 1;
    const found = [];
    const inScroller = (element) => {
      for (let box = element.parentElement; box && box !== document.body; box = box.parentElement) {
        if (["auto", "scroll"].includes(getComputedStyle(box).overflowX)) return true;
      }
      return false;
    };
    for (const element of document.body.querySelectorAll("*")) {
      const style = getComputedStyle(element);
      const box = element.getBoundingClientRect();
      if (box.width < 2 || style.visibility === "hidden" || style.clipPath !== "none") continue;
      if (element.closest(".drawing *")) continue; // a part of a drawing is as large as what is hidden of it
      const where = `${element.localName}${element.id && "#" + element.id} ${element.textContent.trim().slice(0, 60)}`;
      if (box.right > most && !(scrolls && inScroller(element))) {
        found.push(`reaches ${Math.round(box.right - most)} px out of the page: ${where}`);
      }
      const hides = ["hidden", "clip"].includes(style.overflowX) || (!scrolls && style.overflowX !== "visible");
      if (hides && element.scrollWidth > element.clientWidth + 1) found.push(`is cut: ${where}`);
    }
    return found.slice(0, 10);
  }, scrolls);
}

// A page of more elements is looked at by axe at the first width only, which takes it a minute.
const LARGE = 20000;

// All faults of an opened page on screens of every width.
export async function faultsOnScreen(page) {
  const faults = [];
  for (const width of WIDTHS) {
    await page.setViewport({ width, height: 900 });
    const elements = await page.evaluate(() => document.getElementsByTagName("*").length);
    const byAxe = width === WIDTHS[0] || elements <= LARGE ? await faultsByAxe(page) : [];
    for (const fault of [...byAxe, ...(await clipped(page, true))]) {
      faults.push(`${width} px wide: ${fault}`);
    }
  }
  return faults;
}

// The margins of @page, left and right together, in pixels.
async function margins(page) {
  return page.evaluate(() => {
    const rules = [...document.styleSheets].flatMap((sheet) => [...sheet.cssRules]);
    const rule = rules.findLast((rule) => rule instanceof CSSPageRule && rule.style.marginLeft);
    if (!rule) return null;
    const ruler = document.body.appendChild(document.createElement("div"));
    ruler.style.cssText = `position:absolute;width:calc(${rule.style.marginLeft} + ${rule.style.marginRight})`;
    const width = ruler.getBoundingClientRect().width;
    ruler.remove();
    return width;
  });
}

// All faults of an opened page on paper, and its pages: { faults, pdfs: { A4: { pdf, pages }, … } }. Chromium shrinks
// a page that is too wide, in silence; so it is measured at the width between its margins.
export async function onPaper(page) {
  const faults = [];
  const pdfs = {};
  await page.emulateMediaType("print");
  const margin = await margins(page);
  if (margin === null) faults.push("its style sheet has no @page with margins");
  for (const [format, [width]] of Object.entries(PAPERS)) {
    await page.setViewport({ width: Math.floor(width * PIXELS_PER_MM - margin), height: 900 });
    for (const fault of await clipped(page, false)) faults.push(`${format}: ${fault}`);
    const pdf = Buffer.from(await page.pdf({ format, preferCSSPageSize: false, printBackground: false }));
    const pages = pdf.toString("latin1").match(/\/Type\s*\/Page\b(?!s)/g)?.length ?? 0;
    if (pages === 0) faults.push(`${format}: no page was printed`);
    pdfs[format] = { pdf, pages };
  }
  await page.emulateMediaType(null);
  return { faults, pdfs };
}
