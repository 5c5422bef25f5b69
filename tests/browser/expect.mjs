// What the scripts that use the bench page share: what was expected and is not, and waiting for what stands on the
// screen. Every wait is for a change of the page, never for a time.

import { mkdirSync, readFileSync } from "node:fs";
import { watched } from "./look.mjs";

export const PATIENCE = 20000; // a limit for failing, never a pace

export const faults = [];
let done = 0;

export const counted = (n = 1) => { done += n; };

export function check(what, is, got) {
  done += 1;
  if (!is) faults.push(`${what}: got ${JSON.stringify(got)}`);
}

export function same(what, got, want) {
  check(`${what}, want ${JSON.stringify(want)}`, JSON.stringify(got) === JSON.stringify(want), got);
}

// What holds words together in a line is no part of what is said.
export const text = (page, selector) => page.$eval(selector, (element) => element.textContent.trim().replaceAll("\u00a0", " ").replaceAll("\u2060", ""));

// Waits until an element's text has this in it.
export async function shows(page, selector, part) {
  const wait = (selector, part) => document.querySelector(selector)?.textContent.replaceAll("\u00a0", " ").replaceAll("\u2060", "").includes(part);
  await page.waitForFunction(wait, { polling: "mutation", timeout: PATIENCE }, selector, part).catch(async () => {
    faults.push(`${selector} never shows ${JSON.stringify(part)}: it shows ${JSON.stringify(await text(page, selector).catch(() => null))}`);
  });
  done += 1;
}

export const bodyHas = (page, expression) => page.waitForFunction(expression, { polling: "mutation", timeout: PATIENCE });

export const kind = (page, name) => bodyHas(page, `document.querySelector('#face').dataset.kind === '${name}'`).catch(async () => {
  faults.push(`the face is never ${name}: it is ${await page.$eval("#face", (face) => face.dataset.kind)}, ${JSON.stringify(await text(page, "#face-body"))}`);
});

export const heard = (page, tone) => bodyHas(page, `document.body.dataset.heard === '${tone}'`);

export const dialog = (page, id) => page.waitForSelector(`#${id}[open]`, { timeout: PATIENCE });

// A page of the browser at an address of the daemon, and what goes wrong in it.
export async function opened(chromium, url, viewport = { width: 1920, height: 1080 }) {
  const page = await chromium.newPage();
  await page.setViewport(viewport);
  await fromFolder(page, process.env.TALLYJAW_ASSETS);
  const origin = new URL(url).origin;
  const live = watched(page, url.replace(/#.*/, ""), (asked) => asked.startsWith(`${origin}/`));
  await page.goto(url, { waitUntil: "domcontentloaded" });
  return { page, live };
}

// With TALLYJAW_ASSETS=src/page/assets the page's files are those of the folder, so that a change needs no build.
async function fromFolder(page, folder) {
  if (!folder) return;
  const kinds = { html: "text/html", css: "text/css", js: "text/javascript", json: "application/json" };
  await page.setRequestInterception(true);
  page.on("request", (request) => {
    const path = new URL(request.url()).pathname.replace(/^\/$/, "/index.html").slice(1);
    const kind = kinds[path.split(".")[1]];
    if (!kind || path.includes("/")) return request.continue();
    request.respond({ contentType: kind, headers: { "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:" }, body: readFileSync(path === "texts.json" ? `${folder}/../../texts/texts.json` : `${folder}/${path}`) });
  });
}

// Runs named steps in order (with TALLYJAW_STEPS=day,forJob those only, where they need no other), says how long each took, and ends the process.
export async function run(name, steps, always) {
  const began = performance.now();
  try {
    const only = process.env.TALLYJAW_STEPS?.split(",");
    for (const [step, act] of Object.entries(steps).filter(([step]) => !only || only.includes(step))) {
      const from = performance.now();
      await act();
      console.log(`  ${step}: ${((performance.now() - from) / 1000).toFixed(1)} s`);
    }
  } catch (error) {
    faults.push(`it went no further: ${error.stack}`);
  } finally {
    await always();
  }
  console.log(`${name}: ${done} things looked at in ${Math.round((performance.now() - began) / 1000)} s, ${faults.length || "no"} faults`);
  for (const fault of faults.slice(0, 80)) console.log(`  ${fault}`);
  process.exit(faults.length === 0 ? 0 : 1);
}

export function folder(path) {
  mkdirSync(path, { recursive: true });
  return path;
}
