// The pictures of the README, docs/pictures/*.png: the bench page with a verdict, `watch` in colour, a report. All from
// the real thing: a daemon, a virtual caliper on a pseudo-terminal, Chromium.
//
//     tests/browser/setup && node tests/browser/pictures.mjs target/release/tallyjaw
//
// The binary may stand in TALLYJAW_BINARY instead. Each picture must stay below 60 kB.

import { spawn } from "node:child_process";
import { existsSync, mkdirSync, writeFileSync } from "node:fs";
import { resolve } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import { deflateSync } from "node:zlib";
import { browser } from "./look.mjs";
import { Shop } from "./shop.mjs";

const binary = process.argv[2] ?? process.env.TALLYJAW_BINARY ?? "target/release/tallyjaw";
const folder = fileURLToPath(new URL("../../docs/pictures/", import.meta.url));
const PATIENCE = 20000; // a limit for failing, never a pace
const LARGEST = 60_000; // bytes of a picture
const COLUMNS = 96; // of the terminal

// What is pressed, after the opening zero: five heights, of which the fourth is outside limits, and some widths.
const HEIGHTS = ["+1.63", "+1.61", "+1.62", "+1.69", "+1.62"];
const WIDTHS = ["+2.41", "+2.38", "+2.40", "+2.42", "+2.39"];

// What a program has printed, and waits for it.
class Output {
  text = "";
  #waiting = [];

  constructor(stream) {
    stream.setEncoding("utf8");
    stream.on("data", (part) => {
      this.text += part.replaceAll("\r", "");
      this.#waiting = this.#waiting.filter(({ is, done }) => !is() || done());
    });
  }

  until(what, is) {
    return new Promise((done, failed) => {
      if (is()) return done();
      setTimeout(() => failed(new Error(`${what} never came in:\n${this.text}`)), PATIENCE).unref();
      this.#waiting.push({ is, done });
    });
  }

  has(part) {
    return this.until(part, () => this.text.includes(part));
  }
}

// The colours of a terminal, as `watch` uses them, on its dark ground.
const COLOURS = { 31: "#ff7b72", 32: "#56d364", 33: "#e3b341", 34: "#79c0ff", 35: "#d2a8ff", 36: "#76e3ea" };

const escaped = (text) => text.replace(/&/g, "&amp;").replace(/</g, "&lt;");

// Text with escape sequences for colour, as HTML.
function coloured(ansi) {
  let style = {};
  return ansi
    .split(/(\x1b\[[0-9;]*m)/)
    .map((part) => {
      const codes = /^\x1b\[([0-9;]*)m$/.exec(part)?.[1];
      if (codes === undefined) {
        const css = `color:${style.colour ?? "inherit"};font-weight:${style.bold ? 700 : 400};opacity:${style.dim ? 0.65 : 1}`;
        return part && `<span style="${css}">${escaped(part)}</span>`;
      }
      for (const code of codes.split(";").map(Number)) {
        if (code === 0) style = {};
        else if (code === 1) style.bold = true;
        else if (code === 2) style.dim = true;
        else if (code % 60 in COLOURS) style.colour = COLOURS[code % 60];
      }
      return "";
    })
    .join("");
}

const terminal = (ansi) => `<!doctype html><meta charset="utf-8"><body style="margin:0;width:max-content"><pre style="margin:0;
  padding:20px 24px;background:#161b22;color:#e6edf3;font:15px/1.5 'DejaVu Sans Mono',monospace">${coloured(ansi)}</pre>`;

// The most frequent colours, at most 64, each at least a step from those before; a picture of text needs no more.
function palette(pixels) {
  const counts = new Map();
  for (let at = 0; at < pixels.length; at += 4) {
    const colour = (pixels[at] << 16) | (pixels[at + 1] << 8) | pixels[at + 2];
    counts.set(colour, (counts.get(colour) ?? 0) + 1);
  }
  const chosen = [];
  for (const [colour] of [...counts].sort((one, other) => other[1] - one[1])) {
    if (chosen.every((known) => distance(known, colour) > 300)) chosen.push(colour);
    if (chosen.length === 64) break;
  }
  return { chosen, counts };
}

const distance = (one, other) =>
  [16, 8, 0].reduce((sum, shift) => sum + (((one >> shift) & 255) - ((other >> shift) & 255)) ** 2, 0);

// The check of a part of a PNG; node:zlib has it from Node 20.15 on only.
function crc32(bytes) {
  let sum = 0xffffffff;
  for (const byte of bytes) {
    sum ^= byte;
    for (let bit = 0; bit < 8; bit += 1) sum = (sum >>> 1) ^ (sum & 1 ? 0xedb88320 : 0);
  }
  return (sum ^ 0xffffffff) >>> 0;
}

function chunk(kind, data) {
  const body = Buffer.concat([Buffer.from(kind), data]);
  const [length, sum] = [Buffer.alloc(4), Buffer.alloc(4)];
  length.writeUInt32BE(data.length);
  sum.writeUInt32BE(crc32(body));
  return Buffer.concat([length, body, sum]);
}

// Pixels (RGBA) as a PNG with a palette, a third of the size of one with every colour.
function png(width, height, pixels) {
  const { chosen, counts } = palette(pixels);
  const nearest = new Map();
  for (const colour of counts.keys()) {
    nearest.set(colour, chosen.reduce((best, known, at) => (distance(known, colour) < distance(chosen[best], colour) ? at : best), 0));
  }
  const rows = Buffer.alloc((width + 1) * height); // each begins with its filter, 0
  for (let at = 0; at < width * height; at += 1) {
    const colour = (pixels[4 * at] << 16) | (pixels[4 * at + 1] << 8) | pixels[4 * at + 2];
    rows[at + Math.floor(at / width) + 1] = nearest.get(colour);
  }
  const head = Buffer.alloc(13);
  head.writeUInt32BE(width, 0);
  head.writeUInt32BE(height, 4);
  head.set([8, 3, 0, 0, 0], 8);
  const colours = Buffer.from(chosen.flatMap((colour) => [colour >> 16, (colour >> 8) & 255, colour & 255]));
  const signature = Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]);
  const data = deflateSync(rows, { level: 9, memLevel: 9 });
  return Buffer.concat([signature, chunk("IHDR", head), chunk("PLTE", colours), chunk("IDAT", data), chunk("IEND", Buffer.alloc(0))]);
}

// Photographs a page or an element of it.
async function keep(target, name) {
  const shot = await target.screenshot({ encoding: "base64" });
  const desk = await chromium.newPage(); // Chromium decodes its own picture
  const { width, height, data } = await desk.evaluate(async (shot) => {
    const image = await createImageBitmap(await (await fetch(`data:image/png;base64,${shot}`)).blob());
    const canvas = new OffscreenCanvas(image.width, image.height);
    const context = canvas.getContext("2d");
    context.drawImage(image, 0, 0);
    const bytes = context.getImageData(0, 0, image.width, image.height).data;
    let data = "";
    for (let at = 0; at < bytes.length; at += 32768) data += String.fromCharCode(...bytes.subarray(at, at + 32768));
    return { width: image.width, height: image.height, data: btoa(data) };
  }, shot);
  await desk.close();
  const file = png(width, height, Buffer.from(data, "base64"));
  if (file.length >= LARGEST) throw new Error(`${name}.png would have ${file.length} bytes, want less than ${LARGEST}`);
  writeFileSync(`${folder}${name}.png`, file);
  console.log(`docs/pictures/${name}.png: ${width} × ${height}, ${file.length} bytes`);
}

mkdirSync(folder, { recursive: true });
if (!existsSync(binary)) throw new Error(`no ${binary}; build it: cargo build --release`);
// A daemon that a broken run left behind waits for the numbers of its old ports: these are taken first.
const TAKE = "import pty, sys; held = [pty.openpty() for _ in range(20)]; print('taken', flush=True); sys.stdin.read()";
const taken = spawn("python3", ["-c", TAKE], { stdio: ["pipe", "pipe", "inherit"] });
await new Output(taken.stdout).has("taken");
const shop = await Shop.open(binary);
const chromium = await browser();
try {
  const { url } = await shop.start();
  const command = (...args) => shop.run(...args);
  // On a terminal of its own, so that lines end at words.
  const shell = `stty cols ${COLUMNS} && exec '${resolve(binary)}' --config '${shop.folder}/tallyjaw.toml' watch --after 0`;
  const feed = spawn("script", ["--quiet", "--flush", "--return", "--command", shell, "/dev/null"], {
    env: { ...process.env, TERM: "xterm-256color", TZ: "UTC", SHELL: "/bin/sh" },
    stdio: ["ignore", "pipe", "ignore"],
  });
  const watch = new Output(feed.stdout);
  await watch.has("caliper-1 connected");
  command("operator", "mara", "--station", "bench-1");
  command("arm", "pump-own", "--station", "bench-1");

  const verdicts = () => (watch.text.match(/PASS|FAIL/g) ?? []).length;
  // Presses the data key, and waits until the verdict has come.
  const pressed = async (text) => {
    const before = verdicts();
    shop.press(text);
    await watch.until(`the verdict on ${text}`, () => verdicts() > before);
  };
  shop.press("+0.00");
  await watch.has("piece 1 of 5");
  for (const height of HEIGHTS) await pressed(height);
  for (const width of WIDTHS.slice(0, 2)) await pressed(width);
  await watch.has("piece 3 of 5: core crimp width");

  const page = await chromium.newPage();
  await page.emulateMediaFeatures([{ name: "prefers-reduced-motion", value: "reduce" }]);
  await page.setViewport({ width: 1280, height: 800 });
  await page.goto(url, { waitUntil: "domcontentloaded" });
  await page.waitForFunction(() => document.body.textContent.includes("2.38"), { polling: "mutation", timeout: PATIENCE });
  await page.evaluate(() => new Promise((wake) => requestAnimationFrame(() => requestAnimationFrame(wake))));
  await keep(page, "page");

  const screen = await chromium.newPage();
  await screen.setViewport({ width: 1000, height: 400 });
  const begins = watch.text.lastIndexOf("\n", watch.text.indexOf("opening zero")) + 1;
  await screen.setContent(terminal(watch.text.slice(begins).trim()));
  await keep(await screen.$("pre"), "watch");

  for (const width of WIDTHS.slice(2)) await pressed(width);
  shop.press("+0.00");
  await watch.has("REJECTED");
  feed.kill();
  const series = JSON.parse(command("--json", "series", "--limit", "1").split("\n")[0]).series;
  const report = `${shop.folder}/report.html`;
  command("report", String(series), "--out", report);
  const paper = await chromium.newPage();
  await paper.setViewport({ width: 900, height: 1100 });
  await paper.goto(pathToFileURL(report).href);
  await keep(paper, "report");
} finally {
  await chromium.close();
  await shop.close();
  taken.kill();
}
