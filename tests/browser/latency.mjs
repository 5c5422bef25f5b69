// How long it takes from the bytes at the port to the frame with the verdict on the screen, beside a bare page that does no
// more than write down what one event source sends: both are open at once, and see the same 200 presses. The ratio is of
// the same run; each page has a frame each 17 ms, which both wait for.
//
//     tests/browser/setup && node tests/browser/latency.mjs target/release/tallyjaw [PRESSES]

import { createServer } from "node:http";
import { browser } from "./look.mjs";
import { Shop } from "./shop.mjs";

const [binary, presses = "200"] = process.argv.slice(2);
const PATIENCE = 20000; // a limit for failing

const BARE = `<!DOCTYPE html><title>bare</title><p id="out"></p><script>
const source = new EventSource("/events");
source.onmessage = (event) => { if (event.data.includes('"kind":"reading"')) document.querySelector("#out").textContent = JSON.parse(event.data).value; };
</script>`;

// The bare page has the entries of the daemon by a relay of its own origin.
async function relay(address) {
  const server = createServer(async (request, response) => {
    if (request.url !== "/events") return response.setHeader("content-type", "text/html").end(BARE);
    response.writeHead(200, { "content-type": "text/event-stream" });
    const events = await fetch(new URL("/events", address));
    try {
      for await (const bytes of events.body) response.write(bytes);
    } catch { /* the daemon has ended */ }
  });
  await new Promise((listening) => server.listen(0, "127.0.0.1", listening));
  return server;
}

// The time of the frame with which a value comes on the screen, by the wall clock.
const painted = (page, selector, value) =>
  page.evaluate((selector, value) => new Promise((resolve) => {
    const look = () => document.querySelector(selector)?.textContent.startsWith(value);
    const done = () => requestAnimationFrame((time) => resolve(performance.timeOrigin + time));
    const watch = new MutationObserver(() => { if (look()) { watch.disconnect(); done(); } });
    watch.observe(document.body, { subtree: true, childList: true, characterData: true });
  }), selector, value);

const at = (sorted, share) => sorted[Math.min(sorted.length - 1, Math.floor(sorted.length * share))];

const shop = await Shop.open(binary);
const chromium = await browser();
const served = await shop.start();
await shop.connected(served.address);
const bareServer = await relay(served.address);
const [page, bare] = [await chromium.newPage(), await (await chromium.createBrowserContext()).newPage()];
for (const one of [page, bare]) await one.setViewport({ width: 1280, height: 720 });
await page.goto(served.url);
await bare.goto(`http://127.0.0.1:${bareServer.address().port}/`);
await page.waitForSelector('.tile[data-key="pump-many"]', { timeout: PATIENCE });
await page.$eval('.tile[data-key="pump-many"]', (tile) => tile.click());
await page.waitForFunction("document.querySelector('#face').dataset.kind === 'limits'", { timeout: PATIENCE });
const took = { page: [], bare: [] };
for (let press = 0; press < Number(presses); press += 1) {
  const value = `1.${57 + (press % 11)}`;
  const waits = [painted(page, "#face-value", value), painted(bare, "#out", value)];
  await new Promise((wake) => setTimeout(wake, 60 + (press % 7) * 10)); // a hand is slower than a page that rests 50 ms
  const from = performance.timeOrigin + performance.now();
  shop.press(value);
  const [ofPage, ofBare] = await Promise.all(waits);
  took.page.push(ofPage - from);
  took.bare.push(ofBare - from);
}
const [mine, theirs] = [took.page, took.bare].map((all) => all.toSorted((a, b) => a - b));
for (const [name, share] of [["p50", 0.5], ["p99", 0.99]]) {
  console.log(`${name} of ${mine.length}: page ${at(mine, share).toFixed(1)} ms, bare page ${at(theirs, share).toFixed(1)} ms, ratio ${(at(mine, share) / at(theirs, share)).toFixed(2)}`);
}
bareServer.closeAllConnections();
bareServer.close();
await chromium.close();
await shop.close();
