// The same station on two screens at once, on one that comes anew in every state, and on one that slept: all show the same.
//
//     tests/browser/setup && node tests/browser/tabs.mjs target/release/tallyjaw

import { bodyHas, check, faults, kind, opened, PATIENCE, run, shows, text } from "./expect.mjs";
import { browser } from "./look.mjs";
import { Shop } from "./shop.mjs";

const [binary] = process.argv.slice(2);
const ENTRIES_ASLEEP = 1500; // more than any buffer between daemon and page holds

// All that a person sees and can press; not the answer to a command, which only its own page has, and no live value.
const screen = (page) => page.evaluate(() => {
  const face = document.querySelector("#face").dataset.kind;
  const text = (selector) => (document.querySelector(selector).checkVisibility() ? document.querySelector(selector).innerText : "");
  return JSON.stringify({
    view: document.body.dataset.view, old: document.body.classList.contains("old"), face, header: text("header"), ask: text("#ask"), main: text("main").replace(face === "moving" ? /\d\.\d\d mm/ : /$^/, "…"),
    warnings: text("#warnings"), pieces: [...document.querySelectorAll("#pieces .slot")].map((one) => one.dataset.tone),
    buttons: [...document.querySelectorAll("button")].filter((one) => one.checkVisibility()).map((one) => [one.id || one.dataset.key, one.disabled]),
  });
});

const seq = (page) => page.evaluate(() => Number(document.body.dataset.seq));

// Waits until a page has drawn what another one has.
async function alike(what, page, other) {
  let [mine, theirs] = ["", ""];
  for (const from = performance.now(); performance.now() - from < PATIENCE;) {
    await page.waitForFunction((least) => Number(document.body.dataset.seq) >= least, { polling: "mutation", timeout: PATIENCE }, await seq(other));
    [mine, theirs] = [await screen(page), await screen(other)];
    if (mine === theirs) break;
    await page.evaluate(() => new Promise((wake) => { setTimeout(wake, 50); })); // a page behind another has no frames
  }
  const [got, want] = [mine, theirs].map((one) => JSON.parse(one));
  const differ = Object.keys(want).filter((key) => JSON.stringify(got[key]) !== JSON.stringify(want[key]));
  check(`${what}: the same screen`, differ.length === 0, differ.map((key) => [key, got[key], want[key]]));
}

const tap = async (page, selector) => (await page.waitForSelector(selector, { visible: true, timeout: PATIENCE }).catch(async () => { throw new Error(`there is no ${selector}: ${await page.evaluate(() => document.body.innerText.slice(0, 900))}`); })).evaluate((element) => element.click());

async function tabs(shop, chromium, { url }) {
  const { page: one } = await opened(chromium, url);
  const { page: two } = await opened(chromium, url);
  const { page: fresh } = await opened(chromium, url);
  const state = async (name, wanted) => {
    await kind(one, wanted);
    await alike(`${name} on two screens`, two, one);
    await fresh.reload();
    await shows(fresh, "#ask-words", await text(one, "#ask-words"));
    await alike(`${name} after a reload`, fresh, one);
  };
  const press = (value, number) => shop.press(value, number);
  await shows(one, ".tile", "QF-250-F");
  await alike("idle on two screens", two, one);
  await tap(one, '.tile[data-key="pump-own"]');
  await state("zero", "zero");
  press("0.00");
  await state("limits", "limits");
  press("1.63");
  await state("pass", "verdict");
  press("1.72");
  await shows(one, "#face-word", "FAIL");
  await state("fail", "verdict");
  // Both hands at once: what one retracts is retracted on the other too.
  await tap(two, "#act-retract");
  await state("retracted by the other", "retracted");
  await tap(one, "#act-restore");
  await state("restored", "limits");
  press("16.2");
  await state("not counted", "not_counted");
  press("no number");
  await state("unread", "unread");
  press("tj/tool/T-99", 2);
  await state("refused", "refused");
  press("1.62");
  await state("pass again", "verdict");
  press("0.05");
  await state("zero off", "zero_off");
  press("0.00");
  await state("doubted", "doubted");
  press("unplug");
  await state("unplugged", "unplugged");
  press("plug");
  await bodyHas(one, "!document.querySelector('#chip-instrument').textContent.includes('not connected')");
  await tap(one, "#act-stop");
  await tap(one, "#confirm-yes");
  await state("stopped early", "over");
  await tap(one, "#face-next");
  await tap(one, '.tile[data-key="pump-short"]');
  await shows(one, "#ask-more", "plan pump-short");
  await alike("started on the other", two, one);
  press("1.62");
  press("1.61");
  await shows(one, "#face-word", "ACCEPTED");
  await state("accepted", "over");
  for (const page of [one, two, fresh]) await tap(page, '#stations [data-key="bench-2"]');
  await tap(one, '.tile[data-key="pump-short"]');
  await kind(one, "limits");
  const stop = shop.stream(["2.31", "2.39", "2.35"]);
  await kind(two, "moving");
  await kind(fresh, "moving");
  await state("moving", "moving");
  stop();
  await kind(one, "limits");
  await tap(one, "#act-stop");
  await tap(one, "#confirm-yes");
  for (const page of [one, two, fresh]) await page.close();
}

// A page that the browser has put to sleep takes nothing; the daemon goes on. A tablet that sleeps has lost its connection.
async function slept(shop, chromium, { url }) {
  const { page: awake } = await opened(chromium, url);
  await tap(awake, '#stations [data-key="bench-1"]');
  for (const how of ["frozen", "offline"]) {
    const { page: asleep } = await opened(await chromium.createBrowserContext(), url);
    await shows(asleep, "#stations", "bench-1");
    const session = await asleep.createCDPSession();
    if (how === "frozen") await session.send("Page.setWebLifecycleState", { state: "frozen" });
    else await asleep.setOfflineMode(true);
    if (await awake.$eval("body", (body) => body.dataset.view !== "plans")) await tap(awake, (await awake.$eval("#act-switch", (one) => !one.hidden)) ? "#act-switch" : "#face-next");
    await tap(awake, '.tile[data-key="pump-many"]');
    if (how === "offline") { await awake.waitForSelector("#confirm[open]", { timeout: PATIENCE }); await tap(awake, "#confirm-yes"); }
    await kind(awake, "limits");
    const before = await seq(awake);
    for (let sent = 0; sent < 250; sent += 1) shop.press(`1.${60 + (sent % 7)}`);
    await awake.waitForFunction((least) => Number(document.body.dataset.seq) >= least, { timeout: PATIENCE }, before + 250);
    for (let sent = 250; sent < ENTRIES_ASLEEP; sent += 1) shop.press("no number");
    await kind(awake, "unread");
    shop.press("1.61");
    await kind(awake, "verdict");
    if (how === "frozen") await session.send("Page.setWebLifecycleState", { state: "active" });
    else await asleep.setOfflineMode(false);
    await alike(`after it was ${how}`, asleep, awake);
    shop.press("1.65");
    await shows(awake, "#face-value", "1.65");
    await alike(`what comes after it was ${how}`, asleep, awake);
    await asleep.close();
  }
  await awake.close();
}

const shop = await Shop.open(binary);
const chromium = await browser();
const served = await shop.start();
await shop.connected(served.address);
await run("two screens", {
  tabs: () => tabs(shop, chromium, served),
  slept: () => slept(shop, chromium, served),
}, async () => {
  await chromium.close();
  await shop.close();
});
