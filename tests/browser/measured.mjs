// A terminal that no sheet has: factory pieces are measured without verdict. A tile without limits, the face before and
// after a value, the grid, the outcome. A shop of its own, whose plans are these.

import { bodyHas, check, heard, kind, opened, same, shows, text } from "./expect.mjs";
import { NO_ZERO, plan, Shop } from "./shop.mjs";

const TERMINAL = "RB-090-M";

const PLANS =
  plan("pump-ref", `axes = ["core_crimp_height", "core_crimp_width"]\npieces = 3\norder = "by_piece"\npurpose = "reference"\n${NO_ZERO}`)
    .replace("QF-250-F", TERMINAL).replace(/tool = .*\nnest = .*\n/, "") +
  plan("pump-own", `axes = ["core_crimp_height"]\npieces = 1\npurpose = "first_off"\n${NO_ZERO}`);

// `hands` are those of the script: how it looks at a state, presses and starts a plan.
export async function measured(binary, chromium, { look, pressed, start }) {
  const shop = await Shop.open(binary);
  shop.write("plans.toml", () => PLANS);
  shop.write("jobs.csv", () => "job;customer;item;reference;plans\n");
  const { address, url } = await shop.start();
  await shop.connected(address);
  const { page, live } = await opened(chromium, url);
  try {
    await bodyHas(page, "document.querySelectorAll('.tile').length === 2");
    const axes = () => page.$$eval('.tile[data-key="pump-ref"] .tile-axis', (all) => all.map((one) => one.textContent));
    same("no limits on the tile", await axes(), ["core crimp height no limits", "core crimp width no limits"]);
    same("it can be started", await page.$eval('.tile[data-key="pump-ref"]', (tile) => tile.disabled), false);
    await look(page, "tile-no-limits");
    await start(page, "pump-ref");
    await kind(page, "limits");
    same("nothing is promised", await text(page, ".limits-figures"), "no limits");
    await shows(page, "#warnings-first", "No sheet has RB-090-M: its pieces are measured without verdict");
    await look(page, "measured-before");
    const values = ["1.61", "2.38", "1.60", "2.41", "1.62"];
    for (const [index, value] of values.entries()) {
      shop.press(value);
      await shows(page, "#grid-count", `${index + 1} of 6`);
    }
    await shows(page, "#face-word", "MEASURED");
    same("the value", await text(page, "#face-value"), "1.62 mm");
    await shows(page, "#face-lead", "Measured without limits: no verdict");
    await heard(page, "measured");
    same("no scale of limits that are none", await page.$eval("#scale", (scale) => scale.hasAttribute("hidden")), true);
    same("each cell says it", await page.$$eval("#pieces .slot[data-tone=measured]", (all) => all.map((one) => one.lastElementChild.textContent.trim())), values.map(() => "measured"));
    await look(page, "measured");
    shop.press("2.40");
    await kind(page, "over");
    await shows(page, "#face-word", "MEASURED");
    await shows(page, "#face-lines", "6 measured");
    await shows(page, "#face-lead", "Measured without limits: no verdict");
    check("no word of good or bad", !/pass|fail|within|accepted/i.test(await text(page, "#face-body")), await text(page, "#face-body"));
    await heard(page, "series_measured");
    await look(page, "measured-over");
    await pressed(page, "#face-next");
    await shows(page, '.tile[data-key="pump-ref"] .tile-last', "MEASURED");
    await look(page, "tile-measured");
  } finally {
    await page.close();
    await shop.close();
  }
  return live;
}
