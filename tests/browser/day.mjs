// A whole day at the bench by taps alone, and the same by keys alone, with bytes on real pseudo-terminals: what is measured
// is set up by forms first. Both must leave the same entries in the journal.
//
//     tests/browser/setup && node tests/browser/day.mjs target/release/tallyjaw

import { bodyHas, check, dialog, faults, kind, opened, PATIENCE, run, same, shows } from "./expect.mjs";
import { Keys, Touch, walk } from "./hands.mjs";
import { browser } from "./look.mjs";
import { Shop } from "./shop.mjs";

const [binary] = process.argv.slice(2);

// The last reading of a series may be announced before what came of the series.
const OUTCOMES = ["ACCEPTED", "REJECTED"];

// How often a screen reader is given something new.
const listen = (page) => page.evaluate(() => {
  window.announced = [];
  new MutationObserver(() => window.announced.push(document.querySelector("#said").textContent)).observe(document.querySelector("#said"), { childList: true, characterData: true, subtree: true });
});

async function measure(shop, page, value, word) {
  const before = await page.evaluate(() => window.announced.length);
  shop.press(value);
  await shows(page, "#face-word", word);
  await page.waitForFunction((before) => window.announced.length > before, { timeout: PATIENCE }, before);
  const said = await page.evaluate((before) => window.announced.slice(before), before);
  const once = (start) => said.filter((one) => one.startsWith(start)).length === 1;
  const ends = OUTCOMES.includes(word);
  check(`${word} ${value} is announced once, with its value`, once(ends ? word : `${word}, ${value} mm`) && said.length <= (ends ? 2 : 1), said);
}

// Starts a plan by its tile, which is found by typing where there is no room for it.
async function start(hand, page, plan) {
  const tile = `.tile[data-key="${plan}"]`;
  await page.waitForSelector(".tile", { visible: true, timeout: PATIENCE });
  if (!(await page.$(tile))) await hand.write("#search", plan);
  await hand.press(tile);
}

const field = (key) => `.setup-form [data-key="${key}"] input`;

// A new entry of a kind: texts by key, what is chosen from lists, and buttons.
async function setUp(hand, page, kind, { texts, choices = {}, buttons = [] }) {
  await hand.press(`[data-tab="${kind}"]`);
  await hand.press("[data-act=new]");
  for (const [key, words] of Object.entries(texts)) await hand.write(field(key), words);
  for (const [key, value] of Object.entries(choices)) await hand.choose(`.setup-form [data-key="${key}"] select`, value);
  for (const selector of buttons) await hand.press(`.setup-form ${selector}`);
  if (!(await page.$eval("#setup-who", (who) => who.value))) await hand.write("#setup-who", "mara");
  await hand.press("[data-act=save]");
  await shows(page, "#setup", "Saved and in force");
}

// The terminal, tool, plan and job of a new order, by forms alone.
async function byForms(hand, page) {
  await hand.press("#act-setup");
  await dialog(page, "setup");
  await setUp(hand, page, "terminal", { texts: { id: "RB-090-M", source: "maker's sheet, rev A", wire: "0.5 mm²", core_crimp_height: "1.10 ±0.05 mm" } });
  await hand.press("[data-act=new-row]");
  await hand.write(field("wire"), "1.0 mm²");
  await hand.write(field("core_crimp_height"), "1.25 ±0.05 mm");
  await hand.press("[data-act=save]");
  await shows(page, "#setup", "Saved and in force");
  await setUp(hand, page, "tool", { texts: { id: "T-08" }, buttons: ['[data-name="RB-090-M"]'] });
  await setUp(hand, page, "plan", { texts: { id: "valve" }, choices: { terminal: "RB-090-M", tool: "T-08" }, buttons: ['[data-name="1.0 mm²"]', '[data-name="core_crimp_height"]'] });
  await setUp(hand, page, "job", { texts: { job: "4713", customer: "Valley Irrigation", item: "valve harness, rev 3" }, buttons: ['[data-name="valve"]'] });
  await hand.press("[data-act=close]");
  await shows(page, "#ask-words", "Choose a plan");
}

// What was set up is chosen and measured, to its report.
async function newOrder(hand, shop, page, chromium) {
  await hand.press("#chip-tool");
  await dialog(page, "tool");
  await hand.press("#tool-known button:last-child");
  await shows(page, "#tool-now", "T-08");
  await hand.press("#chip-job");
  await dialog(page, "job");
  await hand.write("#job-id", "valve rev 3");
  await hand.press('#job-known [data-key="4713"]');
  await hand.write("#job-serial", "17");
  await hand.send("#job-form [type=submit]");
  await shows(page, "#ask-more", "job 4713 · Valley Irrigation · valve harness, rev 3 · serial 17");
  await hand.press("#chip-lots");
  await dialog(page, "lots");
  await hand.write("#lot-wire", "88-1407");
  await hand.send("#lots-form [type=submit]");
  await shows(page, "#lots-now", "– / 88-1407");
  await hand.press("#face-next");
  await start(hand, page, "valve");
  await shows(page, "#ask-words", "Close the jaws of caliper-1");
  shop.press("0.00");
  await kind(page, "limits");
  for (const value of ["1.25", "1.26", "1.24", "1.27"]) await measure(shop, page, value, "PASS");
  await measure(shop, page, "1.45", "FAIL");
  await hand.press("#act-retract");
  await kind(page, "retracted");
  await hand.press("#act-restore");
  await bodyHas(page, "document.querySelectorAll('#pieces .slot[data-tone]').length === 5");
  await hand.press("#act-retract");
  await kind(page, "retracted");
  shop.press("1.25");
  await shows(page, "#ask-words", "Close the jaws of caliper-1");
  await measure(shop, page, "0.00", "ACCEPTED");
  await reported(hand, page, chromium, "Valley Irrigation");
}

// The report of the series that is over, in a tab of its own.
async function reported(hand, page, chromium, part) {
  const opening = chromium.waitForTarget((target) => /\/report\/\d+$/.test(target.url()), { timeout: PATIENCE });
  await hand.press("#face-report");
  const report = await (await opening).page();
  await report.waitForFunction((part) => document.readyState === "complete" && document.body.innerText.includes(part), { timeout: PATIENCE }, part);
  await report.close();
  await page.bringToFront();
}

async function wholeDay(hand, shop, page, chromium) {
  const all = async (values, word = "PASS") => { for (const value of values) await measure(shop, page, value, word); };
  await shows(page, "#ask-words", "Choose a plan");
  await listen(page);
  await byForms(hand, page);
  // Who, and with what.
  await hand.press("#chip-operator");
  await hand.write("#operator-name", "mara");
  await hand.send("#operator-form [type=submit]");
  await shows(page, "#operator-now", "mara");
  await hand.press("#chip-tool");
  await dialog(page, "tool");
  await hand.press("#tool-known button:first-child");
  await shows(page, "#tool-now", "T-07, nest 2.0");
  // A plan by its tile, found by typing.
  await hand.write("#search", "first-off");
  await start(hand, page, "pump-own");
  await shows(page, "#ask-words", "Close the jaws of caliper-1");
  shop.press("0.00");
  await kind(page, "limits");
  await all(["1.63"]);
  // A slip: retracted, restored, retracted by the list of what happened, measured again.
  await all(["1.72"], "FAIL");
  await hand.press("#act-retract");
  await kind(page, "retracted");
  await hand.press("#act-restore");
  await bodyHas(page, "document.querySelectorAll('#pieces .slot[data-tone]').length === 2");
  await hand.press("#act-history");
  await hand.press("#history-list button[data-key]");
  await shows(page, "#history-list", "retracted");
  await hand.leave("history");
  await kind(page, "retracted");
  await all(["1.61", "1.62", "1.60", "1.64", "2.40", "2.41"]);
  // A piece that fails, and what is to be done with it.
  await all(["2.10"], "FAIL");
  await all(["2.42"]);
  shop.press("2.44");
  await shows(page, "#ask-words", "Close the jaws of caliper-1");
  await measure(shop, page, "0.00", "REJECTED");
  await shows(page, "#face-lead", "Set 1 piece aside");
  await shows(page, ".aside", "Piece 3 core crimp width 2.10 mm: too narrow, 0.20 mm below the lower limit");
  await reported(hand, page, chromium, "QF-250-F");
  // The same again; another plan, which stops it early; back to the first.
  await hand.press("#face-again");
  await shows(page, "#ask-words", "Close the jaws of caliper-1");
  shop.press("0.00");
  await kind(page, "limits");
  await all(["1.62"]);
  await hand.press("#act-switch");
  await start(hand, page, "pump-short");
  await dialog(page, "confirm");
  await hand.press("#confirm-yes");
  await shows(page, "#ask-more", "plan pump-short");
  await hand.press("#act-resume");
  await shows(page, "#ask-more", "plan pump-own");
  await bodyHas(page, "document.querySelectorAll('#pieces .slot[data-tone]').length === 1");
  await hand.press("#act-note");
  await hand.write("#note-text", "new reel of wire");
  await hand.send("#note-keep");
  await shows(page, "#answer", "The note is saved.");
  await hand.press("#act-stop");
  await dialog(page, "confirm");
  await hand.press("#confirm-yes");
  await shows(page, "#face-word", "STOPPED EARLY");
  // The next plan, to its end.
  await hand.press("#face-next");
  await start(hand, page, "pump-short");
  await kind(page, "limits");
  await all(["1.62"]);
  await measure(shop, page, "1.61", "ACCEPTED");
  // The other station: a piece that is destroyed, whose reading takes a reason to retract.
  await hand.press('#stations [data-key="bench-2"]');
  await bodyHas(page, "document.title.startsWith('bench-2')");
  await start(hand, page, "pump-pull");
  await kind(page, "limits");
  shop.press("150.0", 3);
  await shows(page, "#face-lead", "Too weak: 30 N below the lower limit");
  await hand.press("#act-retract");
  await hand.write("#why-reason", "slipped in the grip");
  await hand.send("#why-form [type=submit]");
  await kind(page, "retracted");
  await hand.press("#act-stop");
  await dialog(page, "confirm");
  await hand.press("#confirm-yes");
  await shows(page, "#face-word", "STOPPED EARLY");
  // What a person is asked after a pull.
  await hand.press("#face-next");
  await start(hand, page, "pump-asked");
  await kind(page, "limits");
  shop.press("191.0", 3);
  await hand.press("#face-broke_in_wire");
  await kind(page, "look");
  await hand.press("#face-good");
  await shows(page, "#face-word", "ACCEPTED");
  await hand.press('#stations [data-key="bench-1"]');
  await shows(page, "#face-word", "ACCEPTED");
  await newOrder(hand, shop, page, chromium);
}

// What was entered, without what differs from run to run.
const entered = (shop) => shop.journal().filter((one) => !["attached", "detached"].includes(one.kind)).map(({ seq, at, prev, ...entry }) => JSON.stringify(entry).replaceAll(shop.folder, "…").replace(/"(journal|config_digest|at|since|identity|socket)":"[^"]*"/g, ""));

const days = {};

async function dayBy(hand) {
  const shop = await Shop.open(binary, "edit = true");
  const chromium = await browser();
  try {
    // A daemon whose files say what is in force: with the port that it was given.
    await shop.connected((await shop.start()).address);
    await shop.kill();
    const served = await shop.start();
    await shop.connected(served.address);
    const { page, live } = await opened(chromium, served.url);
    await hand.prepare(page);
    await wholeDay(hand, shop, page, chromium);
    if (hand.name === "keys") await walk(page, [["#chip-operator", "operator"], ["#chip-tool", "tool"], ["#chip-job", "job"], ["#chip-lots", "lots"], ["#chip-instrument", "service"], ["#menu-open", "menu"], ["#act-note", "note"], ["#act-history", "history"]]);
    days[hand.name] = entered(shop);
    // A check that is overtaken by what is saved is refused, which a browser notes on its console.
    faults.push(...live.filter((one) => !/status of 409/.test(one)).map((one) => `${hand.name}: ${one}`));
  } finally {
    await chromium.close();
    await shop.close();
  }
}

await run("a day", {
  touch: () => dayBy(new Touch()),
  keys: () => dayBy(new Keys()),
  same: () => {
    const kinds = (name) => days[name].map((one) => JSON.parse(one.replace(/,,/g, ",").replace(/\{,/g, "{").replace(/,\}/g, "}")).kind);
    same("the kinds of entries of both days", kinds("keys"), kinds("touch"));
    const count = {};
    for (const kind of kinds("touch")) count[kind] = (count[kind] ?? 0) + 1;
    console.log(`  a day has ${days.touch.length} entries: ${Object.entries(count).map(([kind, n]) => `${n} ${kind}`).join(", ")}`);
  },
}, () => {});
