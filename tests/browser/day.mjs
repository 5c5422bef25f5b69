// A whole day at the bench by taps alone, and the same by keys alone, with bytes on real pseudo-terminals. Both must leave
// the same entries in the journal.
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

async function wholeDay(hand, shop, page, chromium) {
  const all = async (values, word = "PASS") => { for (const value of values) await measure(shop, page, value, word); };
  await shows(page, "#ask-words", "Choose a plan");
  await listen(page);
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
  const reported = chromium.waitForTarget((target) => /\/report\/\d+$/.test(target.url()), { timeout: PATIENCE });
  await hand.press("#face-report");
  const report = await (await reported).page();
  await report.waitForFunction("document.readyState === 'complete' && document.body.innerText.includes('QF-250-F')", { timeout: PATIENCE });
  await report.close();
  await page.bringToFront();
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
  await hand.press('#stations [data-key="bench-1"]');
  await shows(page, "#face-word", "ACCEPTED");
}

// What was entered, without what differs from run to run.
const entered = (shop) => shop.journal().filter((one) => !["attached", "detached"].includes(one.kind)).map(({ seq, at, prev, ...entry }) => JSON.stringify(entry).replaceAll(shop.folder, "…").replace(/"(journal|config_digest|at|since|identity|socket)":"[^"]*"/g, ""));

const days = {};

async function dayBy(hand) {
  const shop = await Shop.open(binary);
  const chromium = await browser();
  try {
    const served = await shop.start();
    await shop.connected(served.address);
    const { page, live } = await opened(chromium, served.url);
    await hand.prepare(page);
    await wholeDay(hand, shop, page, chromium);
    if (hand.name === "keys") await walk(page, [["#chip-operator", "operator"], ["#chip-tool", "tool"], ["#chip-instrument", "service"], ["#menu-open", "menu"], ["#act-note", "note"], ["#act-history", "history"]]);
    days[hand.name] = entered(shop);
    faults.push(...live.map((one) => `${hand.name}: ${one}`));
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
