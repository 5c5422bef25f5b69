// Two tablets at the bench page in a real browser, over TLS: paired by the address of the code, by touch, each with a
// profile of its own; the certificate known by its key alone; revoked while they are open.
//
//     tests/browser/setup && node tests/browser/tablet.mjs target/release/tallyjaw [FOLDER FOR PICTURES]

import { createHash, X509Certificate } from "node:crypto";
import { mkdirSync, readFileSync } from "node:fs";
import { browser, faultsOfText, watched } from "./look.mjs";
import { judge, SCHEMES, SIZES } from "./screens.mjs";
import { Shop } from "./shop.mjs";

const [binary, pictures = "target/browser/seen"] = process.argv.slice(2);
const PATIENCE = 20000; // a limit for failing, never a pace
const TABLET = { width: 1024, height: 768 };
mkdirSync(pictures, { recursive: true });

const faults = [];
let done = 0;

function same(what, got, want) {
  done += 1;
  if (JSON.stringify(got) !== JSON.stringify(want)) faults.push(`${what}: got ${JSON.stringify(got)}, want ${JSON.stringify(want)}`);
}

async function shows(page, selector, part) {
  const wait = (selector, part) => document.querySelector(selector)?.textContent.replaceAll("\u00a0", " ").replaceAll("\u2060", "").includes(part);
  await page.waitForFunction(wait, { timeout: PATIENCE }, selector, part).catch(async () => {
    const text = await page.$eval(selector, (element) => element.textContent).catch(() => "nothing");
    faults.push(`${selector} never shows ${JSON.stringify(part)}: it shows ${JSON.stringify(text)} at ${page.url()}`);
  });
  done += 1;
}

async function look(page, name) {
  for (const size of Object.keys(SIZES)) {
    for (const scheme of SCHEMES) {
      const found = await judge(page, size, scheme);
      await page.screenshot({ path: `${pictures}/tablet-${name}-${size}-${scheme}.png` });
      faults.push(...found.map((fault) => `${name} on ${size} ${scheme}: ${fault}`));
      done += 1;
    }
  }
  await page.setViewport(TABLET);
}

// A browser that takes the certificate of this key, and no other that no authority vouches for.
function knowing(certificate) {
  const key = certificate.publicKey.export({ type: "spki", format: "der" });
  return browser(`--ignore-certificate-errors-spki-list=${createHash("sha256").update(key).digest("base64")}`, "--touch-events=enabled");
}

async function device(chromium) {
  const context = await chromium.createBrowserContext();
  const page = await context.newPage();
  await page.setViewport(TABLET);
  return page;
}

// Pairs by the scanned address; the person compares and presses.
async function pair(page, pairing, name) {
  const live = watched(page, pairing.url.replace(/#.*/, ""), (asked) => asked.startsWith(pairing.addresses[0]));
  await page.goto(pairing.url);
  await shows(page, "#heading", "This device is not paired");
  same("the code is taken from the address", await page.evaluate(() => location.href), `${pairing.addresses[0]}pair`);
  same("the code is in the field", await page.$eval("#code", (input) => input.value), pairing.code);
  same("the fingerprint to compare", await page.$eval("#fingerprint", (one) => one.textContent), pairing.sha256);
  if (name === "bench-left") await look(page, "pair");
  await page.tap("#go");
  await shows(page, "#heading", `Paired as ${name}`);
  if (name === "bench-left") await look(page, "paired");
  await page.tap("#open");
  await shows(page, "#ask-words", "Choose a plan");
  faults.push(...live.map((fault) => `${name}: ${fault}`));
}

const shop = await Shop.open(binary, 'tablet = true\ntablet_listen = "127.0.0.1:0"');
let chromium;
try {
  const { address } = await shop.start();
  await shop.connected(address);
  const pairing = (name) => JSON.parse(shop.run("--json", "page", "--pair", name));
  const pem = readFileSync(`${shop.folder}/state/page.certificate`, "utf8");
  const certificate = new X509Certificate(/-----BEGIN CERTIFICATE-----[^]*?-----END CERTIFICATE-----/.exec(pem)[0]);
  const first = pairing("bench-left");
  same("the fingerprint", first.sha256, certificate.fingerprint256);

  // One that was not told of the key goes no further.
  const wary = await browser();
  const refused = await (await wary.newPage()).goto(first.url).catch((error) => error.message);
  same("a browser that does not know the key warns", /ERR_CERT_AUTHORITY_INVALID/.test(String(refused)), true);
  await wary.close();

  chromium = await knowing(certificate);
  faults.push(...(await faultsOfText(readFileSync(new URL("../../src/page/assets/pairing.html", import.meta.url), "utf8"), "pairing.html")));
  const stranger = await device(chromium);
  await stranger.goto(first.addresses[0]);
  await shows(stranger, "#heading", "This device is not paired");
  same("nothing of the bench", await stranger.evaluate(() => fetch("/state").then((answer) => answer.status)), 401);
  await stranger.type("#code", "wrong");
  await stranger.tap("#go");
  await shows(stranger, "#answer", "This code is wrong, was used already, or has expired");
  await look(stranger, "wrong");

  const [left, right] = [await device(chromium), await device(chromium)];
  await pair(left, first, "bench-left");
  await pair(right, pairing("bench-right"), "bench-right");
  same("a script cannot read the token", await left.evaluate(() => document.cookie), "");
  await left.goto(first.url); // The code again, by a device that is in: it is used up.
  await left.tap("#go");
  await shows(left, "#answer", "was used already");
  await left.goto(first.addresses[0]);

  // By touch on one, seen on the other.
  await left.waitForSelector('.tile[data-key="pump-ten"]', { timeout: PATIENCE });
  await left.tap('.tile[data-key="pump-ten"]');
  await shows(right, "#ask-words", "Measure piece 1 of 10");
  shop.press("1.62");
  for (const page of [left, right]) await shows(page, "#face-body", "1.62");
  await right.tap("#act-retract");
  await shows(left, "#ask-words", "Measure piece 1 of 10");
  await left.screenshot({ path: `${pictures}/tablet-measuring.png` });

  shop.run("page", "--revoke", "bench-left");
  await shows(left, "#heading", "This device was unpaired");
  await shows(left, "#words", "The pairing as bench-left was revoked");
  await look(left, "revoked");
  shop.press("1.60");
  await shows(right, "#face-body", "1.60");
  for (const [code, heading] of [["de", "Dieses Gerät wurde entkoppelt"], ["es", "Este dispositivo fue desemparejado"]]) {
    await left.evaluate((code) => localStorage.setItem("language", code), code);
    await left.goto(first.addresses[0]);
    await shows(left, "#heading", heading);
    await look(left, `revoked-${code}`);
  }
  const kinds = shop.journal().filter((entry) => ["paired", "revoked", "tablet_said"].includes(entry.kind));
  same("the journal", kinds.map((entry) => `${entry.kind} ${entry.tablet}`), ["paired bench-left", "paired bench-right", "tablet_said bench-left", "tablet_said bench-right", "revoked bench-left"]);
} finally {
  await chromium?.close();
  await shop.close();
}
for (const fault of faults) console.error(`tablet: ${fault}`);
console.log(`tablet: ${done} checks, ${faults.length} faults`);
process.exitCode = faults.length ? 1 : 0;
