// Labels as a thermal printer of 203 dpi prints them: drawn by a real Chromium at 8 dots/mm, made black or white, worn and
// out of focus, and read by jsqr, which shares no code with the encoder. What is read must agree with the journal, and no
// line may reach out of the label. The PDF has a page of the label's size for each.
//
//     tests/browser/setup && node tests/browser/labels.mjs target/release/tallyjaw CONFIGURATION [FOLDER FOR PICTURES]

import { execFileSync } from "node:child_process";
import { mkdirSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { fileURLToPath, pathToFileURL } from "node:url";
import { browser, faultsOfText, watched } from "./look.mjs";

const [binary, config, pictures = "target/browser/seen"] = process.argv.slice(2);
const jsqr = createRequire(fileURLToPath(new URL("../../target/browser/", import.meta.url)))("jsqr");
const DOTS = 8;
const SIZES = ["62x29", "50x25", "40x20", "30x40", "100x50"];
const folder = mkdtempSync(`${tmpdir()}/labels-`);
mkdirSync(pictures, { recursive: true });
const faults = [];
let read = 0;

const tallyjaw = (...args) => execFileSync(binary, ["--config", config, ...args], { encoding: "utf8" });

// Knuth's constants of a linear congruential generator, in 32 bits: the same dust each time.
function* dust(seed) {
  for (let at = seed; ; ) yield (at = (Math.imul(at, 1664525) + 1013904223) >>> 0);
}

// One dot in a hundred turned over; then as a camera sees it, two pixels to a dot, each the mean of those up to `blur`
// pixels away. A scanner takes pictures until it can read one.
const BLURS = [1, 2, 3];
function worn({ width, height, black: dots }, seed, blur) {
  const black = Array.from(dots, (dot) => dot === "1");
  const random = dust(seed);
  for (let left = black.length / 100; seed && left > 0; left -= 1) {
    const at = Math.floor((random.next().value / 2 ** 32) * black.length);
    black[at] = !black[at];
  }
  const [wide, high] = [2 * width, 2 * height];
  const seen = new Uint8ClampedArray(4 * wide * high).fill(255);
  for (let y = 0; y < high; y += 1) {
    for (let x = 0; x < wide; x += 1) {
      let [sum, all] = [0, 0];
      for (let row = Math.max(y - blur, 0); row < Math.min(y + blur + 1, high); row += 1)
        for (let column = Math.max(x - blur, 0); column < Math.min(x + blur + 1, wide); column += 1, all += 1)
          sum += black[(row >> 1) * width + (column >> 1)] ? 0 : 255;
      seen.fill(sum / all, 4 * (y * wide + x), 4 * (y * wide + x) + 3);
    }
  }
  return [seen, wide, high];
}

// Texts that reach out of the label, or are wider than was reckoned.
const reaching = (svg) => {
  const label = svg.getBoundingClientRect();
  const out = (box) => box.left < label.left - 0.5 || box.right > label.right + 0.5 || box.top < label.top - 0.5 || box.bottom > label.bottom + 0.5;
  return [...svg.querySelectorAll("text")].filter((text) => out(text.getBoundingClientRect())).map((text) => text.textContent);
};

const series = tallyjaw("series", "--json").trim().split("\n").map((line) => JSON.parse(line).series);
const chromium = await browser();
const page = await chromium.newPage();
// The page of labels lets no picture in, and a page behind another one stands still.
const second = await browser();
const blank = await second.newPage();
await page.setViewport({ width: 800, height: 600, deviceScaleFactor: (DOTS * 25.4) / 96 });
for (const language of ["en", "de", "es"]) {
  for (const size of language === "en" ? SIZES : SIZES.slice(0, 1)) {
    const file = `${folder}/${size}-${language}.html`;
    const wanted = series.flatMap((id) => ["--series", String(id)]);
    const { labels } = JSON.parse(tallyjaw("label", ...wanted, "--size", size, "--language", language, "--out", file, "--json"));
    const url = pathToFileURL(file).href;
    faults.push(...(await faultsOfText(readFileSync(file, "utf8"), file)).map((fault) => `${size} ${language}: ${fault}`));
    const asked = watched(page, url);
    await page.goto(url);
    faults.push(...asked);
    const drawn = await page.$$("svg");
    for (const [at, label] of labels.entries()) {
      const name = `${size} ${language} ${label.text.slice(0, 30)}`;
      faults.push(...(await drawn[at].evaluate(reaching)).map((text) => `${name}: ${text} reaches out of the label`));
      const png = await drawn[at].screenshot({ path: `${pictures}/label-${language}-${size}-${at}.png`, encoding: "base64" });
      const dots = await blank.evaluate(async (png) => {
        const image = new Image();
        image.src = `data:image/png;base64,${png}`;
        await image.decode();
        const canvas = new OffscreenCanvas(image.width, image.height).getContext("2d");
        canvas.drawImage(image, 0, 0);
        const { width, height, data } = canvas.getImageData(0, 0, image.width, image.height);
        let black = "";
        for (let at = 0; at < data.length; at += 4) black += data[at] < 128 ? "1" : "0";
        return { width, height, black };
      }, png);
      for (const seed of [0, 1]) {
        const got = BLURS.map((blur) => jsqr(...worn(dots, seed, blur))?.data).find((text) => text);
        if (got !== label.text) faults.push(`${name}, damage ${seed}: read ${JSON.stringify(got)}`);
        read += 1;
      }
      if (size === SIZES[0] && language === "en") tallyjaw("verify", "--label", label.text);
    }
    const pdf = Buffer.from(await page.pdf({ preferCSSPageSize: true })).toString("latin1");
    const boxes = [...pdf.matchAll(/\/MediaBox \[([0-9. ]+)\]/g)].map(([, box]) => box.split(" ").slice(2).map((points) => Math.round((points * 25.4) / 72)).join("x"));
    if (boxes.length !== labels.length || boxes.some((box) => box !== size)) faults.push(`${size} ${language}: the PDF has pages of ${boxes}`);
  }
}
await chromium.close();
await second.close();
rmSync(folder, { recursive: true });
for (const fault of faults) console.log(fault);
console.log(`labels: ${read} codes read, ${faults.length} faults`);
process.exit(faults.length || !read ? 1 : 0);
