// A production run at the bench page: crimps are counted by a finger and by keys, a sample becomes due, a bad one holds the
// crimps since the last good one, and a person settles what is held. A shop of its own, so that no other step has a run.

import { bodyHas, dialog, kind, opened, PATIENCE, same, shows, text } from "./expect.mjs";
import { HEIGHT, NO_ZERO, plan, Shop } from "./shop.mjs";

const RUN = `
[[run]]
id = "pump-day"
first_off = "day-first"
in_process = "day-sample"
last_off = "day-last"
every_crimps = 100
`;

const PLANS =
  plan("day-first", `${HEIGHT}pieces = 1\npurpose = "first_off"\n${NO_ZERO}`) +
  plan("day-sample", `${HEIGHT}pieces = 2\npurpose = "in_process"\n${NO_ZERO}`) +
  plan("day-last", `${HEIGHT}pieces = 1\npurpose = "last_off"\n${NO_ZERO}`);

// `hands` are those of the script: how it looks at a state, presses, types and starts a plan.
export async function production(binary, chromium, hands) {
  const shop = await Shop.open(binary, RUN);
  shop.write("plans.toml", () => PLANS);
  shop.write("jobs.csv", () => "job;customer;item;reference;plans\n4711;Example Pumps Ltd;pump harness B;PO-8832;\n");
  const { address, url } = await shop.start();
  await shop.connected(address);
  const { page, live } = await opened(chromium, url);
  try {
    await counted(shop, page, hands);
    await held(shop, page, hands);
    await settled(shop, page, hands);
  } finally {
    await page.close();
    await shop.close();
  }
  return live;
}

const series = async (shop, page, { start }, plan, ...values) => {
  await start(page, plan);
  for (const value of values) {
    shop.press(value);
    await shows(page, "#pieces", value);
  }
};

// By keys alone.
async function count(page, { key }, crimps) {
  await key(page, "k");
  await dialog(page, "crimps");
  await page.keyboard.type(crimps);
  await page.keyboard.press("Enter");
  await bodyHas(page, "!document.querySelector('#crimps').open");
}

async function counted(shop, page, hands) {
  const { look, pressed, type } = hands;
  await bodyHas(page, "document.querySelectorAll('.tile').length === 3");
  same("no run, nothing to count", await page.$eval("#act-crimps", (one) => one.hidden), true);
  await series(shop, page, hands, "day-first", "1.62");
  await shows(page, "#ask-words", "100 of 100 crimps until the next sample");
  await shows(page, "#ask-more", "run pump-day · crimps since the last good sample: 0 · until the next: 100");
  await shows(page, "#face-lines", "Run pump-day opened by the first-off of series");
  await look(page, "run-open");
  const crimps = async () => { await pressed(page, "#act-crimps"); await dialog(page, "crimps"); };
  await crimps();
  for (const key of ["more-50", "more-10", "5", "delete"]) await pressed(page, `#crimps [data-key="${key}"]`);
  same("by fingers", await page.$eval("#crimps-number", (field) => field.value), "60");
  await look(page, "crimps", crimps);
  const refused = async () => {
    if (!(await page.$("#crimps[open]"))) await crimps();
    await type(page, "#crimps-number", "0");
    await pressed(page, "#crimps-form [type=submit]");
    await page.waitForSelector("#crimps-answer p", { timeout: PATIENCE });
  };
  await refused();
  await shows(page, "#crimps-answer", "Got 0 crimps, want 1 to");
  await look(page, "crimps-refused", refused);
  for (const key of ["delete", "6", "0"]) await pressed(page, `#crimps [data-key="${key}"]`);
  await pressed(page, "#crimps-form [type=submit]");
  await shows(page, "#answer", "The crimps are counted.");
  await shows(page, "#ask-more", "last good sample: 60 · until the next: 40");
  await kind(page, "crimping");
  same("what is left", await text(page, "#face-word"), "40 LEFT");
  await shows(page, "#ask-words", "Go on crimping");
  await look(page, "crimping");
  await count(page, hands, "60");
  await kind(page, "sample");
  same("the word", await text(page, "#face-word"), "SAMPLE DUE");
  same("how many", await text(page, "#face-value"), "120 crimps");
  await shows(page, "#face-lead", "since the last good sample; one is due every 100");
  await shows(page, "#ask-words", "Measure a sample: start day-sample");
  await shows(page, "#ask-more", "last good sample: 120 · until the next: 0");
  await look(page, "sample-due");
}

async function held(shop, page, hands) {
  const { look, key } = hands;
  await series(shop, page, hands, "day-sample", "1.62");
  same("what is done is not asked for", await page.$eval("#warnings", (line) => line.textContent.includes("A sample is due")), false);
  await look(page, "sampling");
  shop.press("1.72");
  await kind(page, "held");
  same("the word", await text(page, "#face-word"), "HELD");
  same("how many", await text(page, "#face-value"), "120 crimps");
  await shows(page, "#face-lines", "Crimps 1 to 120 of run");
  await shows(page, "#face-lines", "counted since the last good sample; cause: series");
  await shows(page, "#face-lines", "Piece 2 core crimp height 1.72 mm: too high");
  await shows(page, "#ask-words", "The last sample was bad: start day-sample");
  same("said once", await page.$eval("#warnings", (one) => one.hidden), true);
  await look(page, "held");
  await count(page, hands, "5");
  await shows(page, "#ask-more", "crimps since the bad sample: 5 · held: 120");
  await series(shop, page, hands, "day-sample", "1.73", "1.50");
  await shows(page, "#face-value", "125 crimps");
  await look(page, "held-twice");
  await key(page, "a");
  await bodyHas(page, "document.body.dataset.view === 'plans'");
  await shows(page, "#warnings-first", "125 crimps held: set them aside, then settle them");
  await look(page, "held-plans");
}

async function settled(shop, page, hands) {
  const { look, key, pressed, type } = hands;
  const settle = async () => { await key(page, "g"); await dialog(page, "settle"); };
  await settle();
  same("what is held", await page.$$eval("#settle-which button", (all) => all.map((one) => one.firstChild.textContent)), ["5 crimps", "120 crimps"]);
  await look(page, "settle", settle);
  await pressed(page, "#settle-form [type=submit]");
  await shows(page, "#settle-what", "give the reason");
  await pressed(page, "#settle-which button:last-child");
  const refused = async () => {
    if (!(await page.$("#settle[open]"))) await settle();
    await pressed(page, "#settle-which button:last-child");
    await pressed(page, '#settle-how [data-key="release"]');
    await type(page, "#settle-number", "200");
    await type(page, "#settle-reason", "each measured");
    await pressed(page, "#settle-form [type=submit]");
    await page.waitForSelector("#settle-answer p", { timeout: PATIENCE });
  };
  await refused();
  await shows(page, "#settle-answer", "Got 200 crimps, want 1 to 120");
  await look(page, "settle-refused", refused);
  await type(page, "#settle-number", "20");
  await pressed(page, "#settle-form [type=submit]");
  await shows(page, "#answer", "The decision is entered.");
  await shows(page, "#warnings-first", "105 crimps held");
  await pressed(page, "#act-back");
  await kind(page, "held");
  for (const [how, reason] of [["scrap", "the die was worn"], ["rework", "crimped anew"]]) {
    await pressed(page, "#face-settle");
    await dialog(page, "settle");
    await pressed(page, `#settle-how [data-key="${how}"]`);
    if (how === "rework") await type(page, "#settle-number", "");
    await page.focus("#settle-reason");
    await page.keyboard.type(reason);
    await page.keyboard.press("Enter");
    await bodyHas(page, "!document.querySelector('#settle').open");
    if (how === "scrap") await shows(page, "#face-value", "100 crimps");
  }
  await kind(page, "sample");
  await shows(page, "#face-lead", "The last one was bad: measure a good one before crimping goes on");
  await look(page, "sample-bad");
  await series(shop, page, hands, "day-sample", "1.62", "1.61");
  await kind(page, "over");
  await series(shop, page, hands, "day-last", "1.63");
  await kind(page, "over");
  await shows(page, "#face-word", "ACCEPTED");
  await shows(page, "#face-lines", "closed by the last-off of series");
  same("nothing to count any more", await page.$eval("#act-crimps", (one) => one.hidden), true);
  await look(page, "run-closed");
  const entered = shop.journal().filter((entry) => entry.kind === "settled");
  same("entered", entered.map((entry) => [entry.settlement, entry.crimps, entry.reason]), [["release", 20, "each measured"], ["scrap", 5, "the die was worn"], ["rework", 100, "crimped anew"]]);
}
