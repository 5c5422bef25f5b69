// How long it takes from the bytes at the port to the painted frame with the verdict, beside a bare page that does no more
// than write down what one event source sends.
//
//     tests/browser/setup && node tests/browser/latency.mjs target/release/tallyjaw [PRESSES OF EACH PAGE]
//
// - One clock: CLOCK_MONOTONIC. The process that writes to the pseudo-terminal reads it before the write; the browser says
//   at which time of it a page's own clock began. Each time that a page is opened, it is checked that the two agree.
// - The end is a task behind the frame's drawing. Both pages wait for the next frame, up to 17 ms.
// - The pages take turns in blocks, in an order that is shuffled, so that both see the same load of the machine. The page
//   whose turn it is not is closed. Both see the same values.

import { browser } from "./look.mjs";
import { Shop } from "./shop.mjs";

const [binary, presses = "200"] = process.argv.slice(2);
const PATIENCE = 20000; // a limit for failing
const BLOCK = 20; // presses of one turn
const DRAWN_AGAIN = 2000; // resamples for the intervals

const BARE = `<!DOCTYPE html><title>bare</title><p id="out"></p><script>
const source = new EventSource("/events");
source.onmessage = (event) => { if (event.data.includes('"kind":"reading"')) document.querySelector("#out").textContent = Number(JSON.parse(event.data).value).toFixed(2); };
source.onopen = () => { document.body.dataset.open = ""; };
</script>`;

const monotonic = () => Number(process.hrtime.bigint()) / 1e6;

// Random numbers that are the same in each run.
let seed = 20240;
const random = () => (seed = (seed * 1103515245 + 12345) % 2147483648) / 2147483648;
const shuffled = (all) => all.map((one) => [random(), one]).toSorted(([a], [b]) => a - b).map(([, one]) => one);

// A page in a window of its own, since one behind another has no frames.
class Measured {
  took = [];

  constructor(context, selector, open) {
    Object.assign(this, { context, selector, open });
  }

  // Opens the page, and finds out when its clock began.
  async begin() {
    this.page = await this.context.newPage();
    await this.page.setViewport({ width: 1280, height: 720 });
    await this.open(this.page);
    const session = await this.page.createCDPSession();
    await session.send("Performance.enable");
    const { metrics } = await session.send("Performance.getMetrics");
    this.origin = metrics.find((one) => one.name === "NavigationStart").value * 1000;
    const before = monotonic();
    const inside = this.origin + (await this.page.evaluate("performance.now()"));
    const after = monotonic();
    if (!(before - 1 < inside && inside < after + 1)) throw new Error(`the page's clock says ${inside} ms between ${before} and ${after} ms`);
  }

  end = () => this.page.close();

  // The time at which a frame with this value was drawn.
  async painted(value) {
    const time = await this.page.evaluate((selector, value, patience) => new Promise((resolve, reject) => {
      setTimeout(() => reject(new Error(`${selector} never shows ${value}: ${document.body.innerText.slice(0, 300)}`)), patience);
      const behind = new MessageChannel();
      behind.port1.onmessage = () => resolve(performance.now());
      const watch = new MutationObserver(() => {
        if (!document.querySelector(selector)?.textContent.startsWith(value)) return;
        watch.disconnect();
        requestAnimationFrame(() => behind.port2.postMessage(0));
      });
      watch.observe(document.body, { subtree: true, childList: true, characterData: true });
    }), this.selector, value, PATIENCE);
    return this.origin + time;
  }
}

const ofPage = async (chromium, served) => new Measured(await chromium.createBrowserContext(), "#face-value", async (page) => {
  await page.goto(served.url);
  await page.waitForFunction("document.querySelector('#face').dataset.kind === 'limits'", { polling: "mutation", timeout: PATIENCE });
});

// The bare page has the daemon's own origin, so that nothing stands between it and the events.
const ofBare = async (chromium, served) => new Measured(await chromium.createBrowserContext(), "#out", async (page) => {
  await page.setRequestInterception(true);
  page.on("request", (request) => (request.url().endsWith("/bare") ? request.respond({ contentType: "text/html", body: BARE }) : request.continue()));
  await page.goto(new URL("/bare", served.address).href);
  await page.waitForSelector("[data-open]", { timeout: PATIENCE });
});

// Each turn has a series of its own, of 25 pieces on two axes; one that is open is stopped early.
async function startSeries({ address, token }) {
  const headers = { "Content-Type": "application/json", Authorization: `Bearer ${token}` };
  const params = { station: "bench-1", plan: "pump-25", cut: true };
  const answer = await fetch(new URL("/control", address), { method: "POST", headers, body: JSON.stringify({ jsonrpc: "2.0", id: 1, method: "arm", params }) });
  const said = await answer.json();
  if (said.error) throw new Error(said.error.message);
}

async function turn(shop, served, measured) {
  await startSeries(served);
  await measured.begin();
  for (let press = 0; press < BLOCK; press += 1) {
    const value = press % 2 ? `2.${30 + press}` : `1.${57 + press / 2}`; // by turns of the two axes
    const drawn = measured.painted(value);
    drawn.catch(() => {}); // it is awaited below
    // A hand is slower than a page that rests 50 ms, and no hand keeps step with the frames.
    await new Promise((wake) => setTimeout(wake, 80 + random() * 40));
    const written = await shop.timedPress(value);
    measured.took.push((await drawn) - written);
  }
  await measured.end();
}

const at = (all, share) => all.toSorted((a, b) => a - b)[Math.min(all.length - 1, Math.floor(all.length * share))];

// The ratio of two shares, and what holds it in 95 % of samples drawn again from the same presses.
function ratio(page, bare, share) {
  const again = (all) => all.map(() => all[Math.floor(random() * all.length)]);
  const drawn = Array.from({ length: DRAWN_AGAIN }, () => at(again(page), share) / at(again(bare), share));
  return [at(page, share) / at(bare, share), at(drawn, 0.025), at(drawn, 0.975)].map((one) => one.toFixed(2));
}

const shop = await Shop.open(binary);
const chromium = await browser();
try {
  const served = await shop.start();
  await shop.connected(served.address);
  const [page, bare] = [await ofPage(chromium, served), await ofBare(chromium, served)];
  const turns = Array.from({ length: Math.ceil(Number(presses) / BLOCK) }, () => [page, bare]).flat();
  for (const measured of shuffled(turns)) await turn(shop, served, measured);
  for (const [name, share] of [["p50", 0.5], ["p99", 0.99]]) {
    const [is, low, high] = ratio(page.took, bare.took, share);
    console.log(`${name} of ${page.took.length} presses: page ${at(page.took, share).toFixed(1)} ms, bare page ${at(bare.took, share).toFixed(1)} ms, ratio ${is} (95 %: ${low} to ${high})`);
  }
} finally {
  await chromium.close();
  await shop.close();
}
