// The bench page in a real browser: armed, zeroed, measured and retracted, with bytes on real pseudo-terminals; the
// daemon killed, its journal failed; a hostile page of another origin. Every wait is for what stands on the screen.
//
//     tests/browser/setup && node tests/browser/bench.mjs target/release/tallyjaw [FOLDER FOR PICTURES]

import { mkdirSync } from "node:fs";
import { createServer } from "node:http";
import { browser, clipped, faultsByAxe, faultsOfText, watched } from "./look.mjs";
import { Shop } from "./shop.mjs";

const [binary, pictures = "target/browser/seen"] = process.argv.slice(2);
const PATIENCE = 20000; // a limit for failing, never a pace
mkdirSync(pictures, { recursive: true });

const faults = [];
let done = 0;

function check(what, is, got) {
  done += 1;
  if (!is) faults.push(`${what}: got ${JSON.stringify(got)}`);
}

function same(what, got, want) {
  check(`${what}, want ${JSON.stringify(want)}`, JSON.stringify(got) === JSON.stringify(want), got);
}

const text = (page, selector) => page.$eval(selector, (element) => element.textContent.trim());

// Waits until an element's text has this in it.
async function shows(page, selector, part) {
  const wait = (selector, part) => document.querySelector(selector)?.textContent.includes(part);
  await page.waitForFunction(wait, { polling: "mutation", timeout: PATIENCE }, selector, part).catch(async () => {
    faults.push(`${selector} never shows ${JSON.stringify(part)}: it shows ${JSON.stringify(await text(page, selector))}`);
  });
  done += 1;
}

const bodyHas = (page, expression) => page.waitForFunction(expression, { polling: "mutation", timeout: PATIENCE });

// How big a finger finds what can be pressed.
const tooSmall = (page) =>
  page.evaluate(() =>
    [...document.querySelectorAll("button, select, input:not([type=checkbox], [type=radio]), .choice")]
      .map((element) => [element.id || element.textContent, element.getBoundingClientRect()])
      .filter(([, box]) => box.width > 0 && (box.height < 47.9 || box.width < 47.9))
      .map(([name, box]) => `${name} is ${Math.round(box.width)} × ${Math.round(box.height)} px, want 48`),
  );

// Axe, what is cut, and what a finger misses, on screens of all kinds; and a picture of each.
const SCREENS = [
  ["wide", 1920, 1080, "light"], ["wide-dark", 1920, 1080, "dark"], ["tablet", 1024, 768, "light"], ["phone", 360, 740, "light"],
  ["phone-dark", 360, 740, "dark"], ["huge", 3840, 2160, "light"],
];

async function look(page, name, screens = SCREENS, fullPage = true) {
  for (const [screen, width, height, scheme] of screens) {
    await page.setViewport({ width, height });
    await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }, { name: "prefers-reduced-motion", value: "reduce" }]);
    await page.evaluate(() => new Promise((wake) => requestAnimationFrame(() => requestAnimationFrame(wake))));
    for (const fault of [...(await faultsByAxe(page)), ...(await clipped(page, true)), ...(await tooSmall(page))]) {
      faults.push(`${name} on ${screen}: ${fault}`);
    }
    done += 1;
    await page.screenshot({ path: `${pictures}/page-${name}-${screen}.png`, fullPage: fullPage && width < 1000 });
  }
  await page.setViewport({ width: 1920, height: 1080 });
}

async function opened(chromium, url) {
  const page = await chromium.newPage();
  await page.setViewport({ width: 1920, height: 1080 });
  const origin = new URL(url).origin;
  const live = watched(page, url.replace(/#.*/, ""), (asked) => asked.startsWith(`${origin}/`));
  await page.goto(url, { waitUntil: "domcontentloaded" });
  return { page, live };
}

// A day at the bench.
async function day(shop, page) {
  await shows(page, "#prompt-words", "Arm a plan");
  await shows(page, "#instrument-list", "no zero yet");
  same("the address keeps no token", await page.evaluate(() => location.href.includes("token")), false);
  await look(page, "start");

  await page.click("#sound");
  same("sound is on", await page.$eval("#sound", (one) => one.getAttribute("aria-pressed")), "true");
  await page.evaluate(() => document.activeElement.blur());
  await page.keyboard.press("a");
  await page.waitForSelector("#arm[open]", { timeout: PATIENCE });
  await look(page, "arm");
  await page.type("#arm-operator", "mara");
  await page.keyboard.press("Enter");
  await shows(page, "#prompt-words", "Close the jaws of caliper-1 and press its data key to check the zero: before the first reading");
  await shows(page, "#who", "mara measures");
  same("what is armed", await text(page, "#prompt-more"), "QF-250-F · 14 ga = 2.0 mm² (SAE metric size; the AWG area is 2.08 mm²) · tool T-07 nest 2.0");

  shop.press("0.00");
  await shows(page, "#prompt-words", "Measure piece 1 of 5: core crimp height");
  await shows(page, "#instrument-list", "zero good");
  await bodyHas(page, "document.body.dataset.heard === 'zero_ok'");

  const from = performance.now();
  shop.press("1.63");
  await shows(page, "#verdict-word", "PASS");
  console.log(`  ${Math.round(performance.now() - from)} ms from the bytes at the port to the verdict on the screen`);
  same("the value", await text(page, "#value"), "1.63 mm");
  await shows(page, "#scale-words", "Core crimp height 1.63 mm, asked for 1.62 ±0.05 mm");
  await shows(page, "#said", "PASS");
  await bodyHas(page, "document.body.dataset.heard === 'pass'");
  await look(page, "pass");

  shop.press("1.72");
  await shows(page, "#verdict-word", "FAIL: too high");
  await bodyHas(page, "document.body.dataset.heard === 'fail_high'");
  await look(page, "fail-high");
  shop.press("1.50");
  await shows(page, "#verdict-word", "FAIL: too low");
  await bodyHas(page, "document.body.dataset.heard === 'fail_low'");
  await look(page, "fail-low", SCREENS.slice(0, 4));
  same("slots", (await page.$$("#slots td[data-tone]")).length, 3);

  await page.click("#recent-list button");
  await shows(page, "#verdict-word", "Retracted");
  await shows(page, "#answer", "Retracted.");
  same("a slot is free again", (await page.$$("#slots td[data-tone]")).length, 2);
  shop.press("16.2");
  await shows(page, "#verdict-word", "Not counted");
  await bodyHas(page, "document.body.dataset.heard === 'not_counted'");
  await page.focus("main");
  await page.keyboard.press("r");
  await shows(page, "#series-words", "2 retracted");
  await look(page, "not-counted", SCREENS.slice(0, 4));

  const markup = '<img src=x onerror="document.body.dataset.owned=1"><b>bold</b> &amp; "quoted"';
  await page.keyboard.press("n");
  await page.type("#note-text", markup);
  await page.keyboard.press("Enter");
  await shows(page, "#recent-list", `note: ${markup}`);
  same("no markup of a note is live", await page.evaluate(() => [document.body.dataset.owned, document.querySelectorAll("main img, main b:not(#instrument-list b)").length]), [null, 0]);
  await page.evaluate(() => document.activeElement.blur());
  await page.keyboard.press("h");
  await page.waitForSelector("#help[open]", { timeout: PATIENCE });
  await look(page, "keys", SCREENS.slice(1, 4));
  await page.keyboard.press("Escape");
}

// Verdicts that are unsure, an own choice, a series too long for slots, a whole series.
async function more(shop, page) {
  // An open series is asked about once.
  const armed = async (plan) => {
    await page.click("#act-arm");
    await page.waitForSelector("#arm[open]", { timeout: PATIENCE });
    await page.evaluate((plan) => document.querySelector(`#arm input[value="${plan}"]`).click(), plan);
    await page.click("#arm-go");
    await shows(page, "#arm-answer", "still open");
    await shows(page, "#arm-answer", "again within ten seconds");
    await page.click("#arm-go");
  };
  await armed("pump-guarded");
  await shows(page, "#series-words", "plan pump-guarded");
  shop.press("1.66");
  await shows(page, "#verdict-word", "UNSURE");
  await bodyHas(page, "document.body.dataset.heard === 'unsure'");
  await shows(page, "#scale-words", "dotted");
  await look(page, "unsure", SCREENS.slice(0, 4));
  for (const value of ["1.62", "1.61"]) {
    shop.press(value);
    await shows(page, "#value", `${value} mm`);
  }
  await shows(page, "#prompt-more", "undecided: 2 passed, 1 unsure");
  await shows(page, "#slots", "UNDECIDED");
  await bodyHas(page, "document.body.dataset.heard === 'undecided'");
  await look(page, "completed", SCREENS.slice(0, 4));

  await page.click("#act-arm");
  await page.waitForSelector("#arm[open]", { timeout: PATIENCE });
  await page.select("#arm-wire", "5.0 mm²");
  await page.select("#arm-tool", "R-02");
  await page.$eval("#arm-pieces", (input) => { input.value = "0"; });
  await page.click("#arm-go");
  same("a form with a fault is not sent", await page.$eval("#arm", (dialog) => dialog.open), true);
  await page.$eval("#arm-pieces", (input) => { input.value = "2"; });
  await page.click("#arm-go");
  await shows(page, "#prompt-more", "5.0 mm²");
  await shows(page, "#alerts", "repair");
  await shows(page, "#verdict-why", "of what was measured before");
  await look(page, "own-choice", SCREENS.slice(0, 4));
  await armed("pump-many");
  await page.waitForSelector("#slots progress", { timeout: PATIENCE });
  shop.press("1.60");
  await shows(page, "#verdict-word", "PASS");

  await page.keyboard.press("2");
  await bodyHas(page, "document.title.startsWith('bench-2')");
  await shows(page, "#prompt-words", "Arm a plan");
  await page.keyboard.press("1");
  await shows(page, "#verdict-word", "PASS");
}

async function killed(shop, page) {
  await shop.kill();
  await shows(page, "#trouble", "The daemon does not answer");
  same("what is old says so", await page.evaluate(() => [document.body.classList.contains("old"), document.querySelector("#act-retract").disabled]), [true, true]);
  await look(page, "gone", SCREENS.slice(0, 4));
  await shop.start();
  await bodyHas(page, "!document.body.classList.contains('old')");
  same("no trouble is left", await text(page, "#trouble"), "");
  await shows(page, "#instrument-list", "zero");
  shop.press("1.64");
  await shows(page, "#value", "1.64 mm");
  await page.keyboard.press("r");
  await shows(page, "#verdict-word", "Retracted");
}

async function failed(shop, page) {
  await shop.kill();
  await shows(page, "#trouble", "The daemon does not answer");
  await shop.start("trap '' XFSZ; ulimit -f 60; exec \"$@\"");
  await bodyHas(page, "!document.body.classList.contains('old')");
  for (let round = 0; round < 100; round += 1) {
    await page.$eval("#note-text", (input) => { input.value = "x".repeat(400); });
    await page.click("#note button");
    await page.waitForFunction("document.querySelector('#answer').textContent || document.body.classList.contains('old')", { polling: "mutation", timeout: PATIENCE });
    if (await page.$eval("body", (body) => body.classList.contains("old"))) break;
  }
  await shows(page, "#trouble", "The journal has failed: nothing is recorded.");
  await shows(page, "#trouble", "File too large");
  await page.$eval("#note-text", (input) => { input.value = ""; }); // a text longer than its field counts as cut
  await look(page, "journal-failed", SCREENS.slice(0, 4));
  same("the daemon's end", await shop.ended, 4);
  await shop.start();
  await bodyHas(page, "!document.body.classList.contains('old')");
  same("it is over", await text(page, "#trouble"), "");
}

// A page of another origin tries all that a page can.
async function hostile(shop, chromium, { address, token }) {
  const evil = createServer((_, response) => response.setHeader("content-type", "text/html").end("<!doctype html><title>evil</title>"));
  await new Promise((listening) => evil.listen(0, "127.0.0.1", listening));
  const page = await chromium.newPage();
  await page.goto(`http://localhost:${evil.address().port}/`);
  const before = shop.journal().length;
  const got = await page.evaluate(async (address, token) => {
    const tried = async (act) => { try { return await act(); } catch (error) { return error.name; } };
    const command = JSON.stringify({ jsonrpc: "2.0", id: 1, method: "note", params: { station: "bench-1", text: "owned" } });
    const events = () => new Promise((resolve) => {
      const source = new EventSource(`${address}events`);
      source.onerror = () => { source.close(); resolve("error"); };
      source.onmessage = source.onopen = () => resolve("open");
    });
    const script = () => new Promise((resolve) => {
      const tag = Object.assign(document.createElement("script"), { src: `${address}page.js`, onload: () => resolve("loaded"), onerror: () => resolve("error") });
      document.head.append(tag);
    });
    const frame = () => new Promise((resolve) => {
      const tag = Object.assign(document.createElement("iframe"), { src: address, onload: () => resolve(tag.contentDocument ? "readable" : "closed") });
      document.body.append(tag);
    });
    return {
      read: await tried(async () => (await fetch(`${address}state`)).text()),
      metrics: await tried(async () => (await fetch(`${address}metrics`)).text()),
      command: await tried(async () => (await fetch(`${address}control`, { method: "POST", headers: { "Content-Type": "application/json", Authorization: `Bearer ${token}` }, body: command })).text()),
      blind: await tried(async () => (await fetch(`${address}control`, { method: "POST", mode: "no-cors", headers: { "Content-Type": "text/plain" }, body: command })).type),
      events: await events(), script: await script(), frame: await frame(),
    };
  }, address, token);
  same("a hostile page", got, { read: "TypeError", metrics: "TypeError", command: "TypeError", blind: "TypeError", events: "error", script: "error", frame: "closed" });
  same("nothing was entered", shop.journal().length, before);
  await page.close();
  evil.close();
}

async function onlyLooking(chromium, address) {
  const context = await chromium.createBrowserContext();
  const { page } = await opened(context, address);
  await shows(page, "#prompt-words", "easure");
  await shows(page, "#answer", "This page may only look.");
  same("no button commands", await page.$$eval("#acts button:not([disabled]), #recent button", (all) => all.length), 0);
  await look(page, "only-looking", SCREENS.slice(0, 4));
  await context.close();
}

const shop = await Shop.open(binary);
const chromium = await browser();
try {
  const served = await shop.start();
  const html = await (await fetch(served.address)).text();
  faults.push(...(await faultsOfText(html, "page")));
  const { page, live } = await opened(chromium, served.url);
  await day(shop, page);
  await more(shop, page);
  await hostile(shop, chromium, served);
  await onlyLooking(chromium, served.address);
  faults.push(...live.splice(0));
  await killed(shop, page);
  await failed(shop, page);
  // What the browser says of the daemon's absence is no fault of the page.
  faults.push(...live.filter((one) => !one.includes("net::ERR_")));
} catch (error) {
  faults.push(`it went no further: ${error.stack}`);
} finally {
  await chromium.close();
  await shop.close();
}
console.log(`bench page: ${done} things looked at, ${faults.length || "no"} faults`);
for (const fault of faults.slice(0, 40)) console.log(`  ${fault}`);
process.exit(faults.length === 0 ? 0 : 1);
