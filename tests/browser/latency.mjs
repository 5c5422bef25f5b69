// How long it takes from the bytes at the port to the frame with the verdict on the screen, beside a bare page that does no
// more than write down what one event source sends: both are open at once, and see the same 200 presses. The ratio is of
// the same run; each page has a frame each 17 ms, which both wait for.
//
//     tests/browser/setup && node tests/browser/latency.mjs target/release/tallyjaw [PRESSES]

import { browser } from "./look.mjs";
import { Shop } from "./shop.mjs";

const [binary, presses = "200"] = process.argv.slice(2);
const PATIENCE = 20000; // a limit for failing

const BARE = `<!DOCTYPE html><title>bare</title><p id="out"></p><script>
const source = new EventSource("/events");
source.onmessage = (event) => { if (event.data.includes('"kind":"reading"')) document.querySelector("#out").textContent = Number(JSON.parse(event.data).value).toFixed(2); };
</script>`;

// The bare page has the daemon's own origin, so that nothing stands between it and the events.
async function openBare(page, address) {
  await page.setRequestInterception(true);
  page.on("request", (request) => (request.url().endsWith("/bare") ? request.respond({ contentType: "text/html", body: BARE }) : request.continue()));
  await page.goto(new URL("/bare", address).href);
}

// The time of the frame with which a value comes on the screen, by the wall clock.
const painted = (page, selector, value) =>
  page.evaluate((selector, value, patience) => new Promise((resolve, reject) => {
    setTimeout(() => reject(new Error(`${selector} never shows ${value}: ${document.body.innerText.slice(0, 300)}`)), patience);
    const look = () => document.querySelector(selector)?.textContent.startsWith(value);
    const done = () => requestAnimationFrame((time) => resolve(performance.timeOrigin + time));
    const watch = new MutationObserver(() => { if (look()) { watch.disconnect(); done(); } });
    watch.observe(document.body, { subtree: true, childList: true, characterData: true });
  }), selector, value, PATIENCE);

const at = (sorted, share) => sorted[Math.min(sorted.length - 1, Math.floor(sorted.length * share))];

async function measure(shop, chromium) {
  const served = await shop.start();
  await shop.connected(served.address);
  // Each in a window of its own: a page behind another has no frames.
  const page = await chromium.newPage();
  const bare = await (await chromium.createBrowserContext()).newPage();
  for (const one of [page, bare]) await one.setViewport({ width: 1280, height: 720 });
  await page.goto(served.url);
  await openBare(bare, served.address);
  await page.waitForSelector('.tile[data-key="pump-many"]', { timeout: PATIENCE });
  await page.$eval('.tile[data-key="pump-many"]', (tile) => tile.click());
  await page.waitForFunction("document.querySelector('#face').dataset.kind === 'limits'", { polling: "mutation", timeout: PATIENCE });
  const took = { page: [], bare: [] };
  for (let press = 0; press < Number(presses); press += 1) {
    const value = `1.${57 + (press % 11)}`;
    const both = Promise.all([painted(page, "#face-value", value), painted(bare, "#out", value)]);
    both.catch(() => {}); // it is awaited below
    await new Promise((wake) => setTimeout(wake, 60 + (press % 7) * 10)); // a hand is slower than a page that rests 50 ms
    const from = performance.timeOrigin + performance.now();
    shop.press(value);
    const [ofPage, ofBare] = await both;
    took.page.push(ofPage - from);
    took.bare.push(ofBare - from);
  }
  return took;
}

const shop = await Shop.open(binary);
const chromium = await browser();
try {
  const took = await measure(shop, chromium);
  const [mine, theirs] = [took.page, took.bare].map((all) => all.toSorted((a, b) => a - b));
  for (const [name, share] of [["p50", 0.5], ["p99", 0.99]]) {
    console.log(`${name} of ${mine.length}: page ${at(mine, share).toFixed(1)} ms, bare page ${at(theirs, share).toFixed(1)} ms, ratio ${(at(mine, share) / at(theirs, share)).toFixed(2)}`);
  }
} finally {
  await chromium.close();
  await shop.close();
}
