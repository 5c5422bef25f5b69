// Contact sheets of what `bench.mjs` has seen, to be looked at one by one: of each state one sheet, with every size and
// every language, and the night among them. Needs the pictures of all screens:
//
//     TALLYJAW_PICTURES=all node tests/browser/bench.mjs target/release/tallyjaw FOLDER
//     node tests/browser/sheet.mjs FOLDER SHEETS

import { readdirSync, readFileSync } from "node:fs";
import { folder } from "./expect.mjs";
import { browser } from "./look.mjs";
import { SIZES } from "./screens.mjs";

const [from, to] = process.argv.slice(2);
const ROWS = ["en light", "de dark", "es light"];
const HEIGHT = 420; // px of a picture on a sheet

folder(to);
const names = new Set(readdirSync(from).flatMap((file) => /^page-(.+)-phone-es-dark\.png$/.exec(file)?.[1] ?? []));
const picture = (name, size, row) => `data:image/png;base64,${readFileSync(`${from}/page-${name}-${size}-${row.replace(" ", "-")}.png`).toString("base64")}`;
const chromium = await browser();
const page = await chromium.newPage();
for (const name of names) {
  for (const [sheet, sizes] of Object.entries({ "": ["laptop", "tablet", "phone"], "-wide": ["wide"] })) {
    const row = (row) => sizes.map((size) => `<img alt="" height="${sizes.length === 1 ? SIZES.wide[1] / 2 : HEIGHT}" src="${picture(name, size, row)}">`).join(" ");
    await page.setContent(`<body style="margin:0;background:#777;width:max-content">${ROWS.slice(0, sizes.length === 1 ? 2 : 3).map((one) => `<div style="display:flex;gap:6px;margin-bottom:6px">${row(one)}</div>`).join("")}`);
    await (await page.$("body")).screenshot({ path: `${to}/${name}${sheet}.png` });
  }
}
await chromium.close();
console.log(`${names.size} states on ${names.size * 2} sheets in ${to}`);
