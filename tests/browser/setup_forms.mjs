// Terminals, plans, tools, operators and jobs set up on the page: by touch alone, by keys alone, every form on every screen,
// by night and by day, in three languages; then measured by. Every wait is for what stands on the screen.
//
//     tests/browser/setup && node tests/browser/setup_forms.mjs target/release/tallyjaw [FOLDER FOR PICTURES]
//
// With TALLYJAW_ASSETS=src/page/assets the page's files are those of the folder, so that a change needs no build.

import { readFileSync } from "node:fs";
import { bodyHas, counted, faults, folder, opened, PATIENCE, run, same } from "./expect.mjs";
import { browser, clipped, faultsByAxe, faultsOfText } from "./look.mjs";
import { SCHEMES, SIZES } from "./screens.mjs";
import { Shop } from "./shop.mjs";

const [binary, pictures = "target/browser/seen"] = process.argv.slice(2);
const FINGER = 48; // px
// axe looks at the widest layout and the narrowest.
const SCREENS = Object.entries(SIZES).flatMap(([name, [width, height]]) =>
  SCHEMES.map((scheme) => ({ name: `${name}-${scheme}`, width, height, scheme, byAxe: name === "laptop" || (name === "phone" && scheme === "light") })),
);
const TOUCH = { width: 1280, height: 720, hasTouch: true };
folder(pictures);

async function until(page, what, expression, ...args) {
  counted();
  await page.waitForFunction(expression, { polling: 50, timeout: PATIENCE }, ...args).catch(async () => {
    faults.push(`never: ${what}; the view says ${JSON.stringify(await page.$eval("#setup", (view) => view.innerText.slice(0, 600)))}`);
  });
}

const shows = (page, selector, part) => until(page, `${selector} shows ${part}`, (selector, part) => document.querySelector(selector)?.textContent.replaceAll("\u00a0", " ").replaceAll("\u2060", "").includes(part), selector, part);
const there = (page, selector) => until(page, selector, (selector) => document.querySelector(selector)?.checkVisibility(), selector);

// In the page: what is wrong with the view on this screen. A list and a form may scroll in panes of their own.
function measure(finger) {
  const found = [];
  const root = document.documentElement;
  const view = document.querySelector("#setup");
  const seen = (element) => element.checkVisibility() && element.getBoundingClientRect().width > 0;
  const where = (element) => `${element.id || element.className || element.localName} “${element.textContent.replace(/\s+/g, " ").trim().slice(0, 50)}”`;
  for (const box of [root, document.body, view, ...view.querySelectorAll("*")]) {
    if (!seen(box) || box.matches("input, select, svg, svg *")) continue;
    const style = getComputedStyle(box);
    if (box.scrollWidth > box.clientWidth + 1 && style.display !== "inline") found.push(`reaches out at the side: ${where(box)}`);
    const mayScroll = box.matches(".setup-scroll, .setup-list, #setup-elsewhere, #setup-diff");
    if (!mayScroll && style.overflowY !== "visible" && box.scrollHeight > box.clientHeight + 1) found.push(`cut at the bottom: ${where(box)}`);
  }
  for (const target of view.querySelectorAll("button, select, summary, input:not([type=checkbox]), .field.choice")) {
    const box = target.getBoundingClientRect();
    if (seen(target) && (box.height < finger - 0.1 || box.width < finger - 0.1)) found.push(`too small for a finger: ${where(target)} is ${Math.round(box.width)} × ${Math.round(box.height)} px`);
  }
  for (const target of view.querySelectorAll(".setup-bar button, .setup-save button, .setup-save input")) {
    const box = target.getBoundingClientRect();
    if (seen(target) && (box.bottom > root.clientHeight + 1 || box.right > root.clientWidth + 1 || box.top < -1)) found.push(`is off the screen: ${where(target)}`);
  }
  const form = view.querySelector(".setup-scroll");
  if (form && seen(form) && root.clientWidth >= 1000 && form.scrollHeight > form.clientHeight + 1 && !view.querySelector("details[open], .fault:not(:empty), #setup-banner:not(:empty)")) found.push(`the form scrolls: ${form.scrollHeight} px in ${form.clientHeight}`);
  if (form && seen(form) && form.clientHeight < 200 && form.scrollHeight > form.clientHeight + 1) found.push(`the form has ${form.clientHeight} px of height`);
  const nonsense = /\b(Invalid Date|undefined|null|NaN|object Object)\b|\{\w+\}|setup\.\w+/.exec(view.innerText);
  if (nonsense) found.push(`shows ${nonsense[0]}`);
  for (const quoted of view.querySelectorAll("q[lang=en]")) found.push(`is left in English: ${where(quoted)}`);
  return [...new Set(found)].slice(0, 12);
}

// The view on every screen in every language.
async function look(page, name, languages = ["en", "de", "es"]) {
  for (const language of languages) {
    if (languages.length > 1) await speak(page, language);
    for (const screen of SCREENS) {
      await page.setViewport({ width: screen.width, height: screen.height, hasTouch: true });
      await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: screen.scheme }]);
      await page.evaluate(() => new Promise((wake) => requestAnimationFrame(() => requestAnimationFrame(wake))));
      const found = [...(await page.evaluate(measure, FINGER)), ...(await clipped(page, true)).filter((fault) => !fault.startsWith("is cut: input"))]; // its text moves
      if (screen.byAxe) found.push(...(await faultsByAxe(page)));
      faults.push(...found.map((fault) => `${name} in ${language} on ${screen.name}: ${fault}`));
      counted();
      await page.screenshot({ path: `${pictures}/setup-${name}-${language}-${screen.name}.png` });
    }
  }
  if (languages.length > 1) await speak(page, "en");
  await page.setViewport(TOUCH);
}

// The view as it is, drawn again in another language.
const speak = (page, language) => page.evaluate(async (language) => {
  const { choose } = await import("/texts.js");
  choose(language);
  const { redraw } = await import("/setup.js");
  redraw();
}, language);

// ---- by touch alone ----

async function tap(page, selector) {
  await there(page, selector);
  await page.$eval(selector, (element) => element.scrollIntoView({ block: "center" }));
  await page.tap(selector);
}

async function type(page, key, text) {
  const selector = `.setup-form [data-key="${key}"] input`;
  await tap(page, selector);
  await page.$eval(selector, (element) => { element.value = ""; });
  for (const letter of text) await page.keyboard.sendCharacter(letter);
}

// A button's label in the view.
async function press(page, label) {
  const find = (label) => [...document.querySelectorAll("#setup button")].find((one) => one.checkVisibility() && one.textContent.trim().endsWith(label));
  await until(page, `a button ${label}`, `(${find})(${JSON.stringify(label)})`);
  const handle = await page.evaluateHandle(find, label);
  await handle.evaluate((element) => element.scrollIntoView({ block: "center" }));
  await handle.tap();
}

const file = (name) => readFileSync(`${shop.folder}/${name}`, "utf8");

async function saved(page, part, name) {
  await tap(page, "[data-act=save]");
  await until(page, "saved", () => /Saved and in force/.test(document.querySelector("#setup").textContent));
  counted();
  if (!file(name).includes(part)) faults.push(`${name} has no ${part}: ${file(name)}`);
}

async function byTouch(page) {
  await tap(page, "#act-setup");
  await there(page, "[data-act=new]");
  await look(page, "list", ["en"]);
  // A terminal with its first row.
  await press(page, "Terminals");
  await press(page, "New terminal");
  await look(page, "terminal-new");
  await type(page, "id", "RB-090-M");
  await type(page, "source", "maker's sheet, rev A");
  await type(page, "wire", "0.5");
  await press(page, "mm²");
  await shows(page, "[data-key=wire] output", "0.5 mm² ≈ AWG 20");
  await type(page, "core_crimp_height", "1.10 ");
  await press(page, "±");
  for (const letter of "0,05 mm") await page.keyboard.sendCharacter(letter);
  await shows(page, "[data-key=core_crimp_height] .fault", "Write a decimal point and no comma");
  await look(page, "terminal-fault");
  await type(page, "core_crimp_height", "1.10 ±0.05 mm");
  await shows(page, "[data-key=core_crimp_height] output", "1.05 mm – 1.15 mm");
  // Nobody has signed it.
  await page.$eval("#setup-who", (input) => { input.value = ""; input.dispatchEvent(new Event("input")); });
  await tap(page, "[data-act=save]");
  await shows(page, "#setup-answer", "Give your name or initials");
  await tap(page, "#setup-who");
  for (const letter of "mara") await page.keyboard.sendCharacter(letter);
  await saved(page, '[[terminal]]\nid = "RB-090-M"\nsource = "maker\'s sheet, rev A"\n\n[[terminal.row]]\nwire = "0.5 mm²"\ncore_crimp_height = "1.10 ±0.05 mm"', "sheet.toml");
  // Another row, by gauge.
  await tap(page, "[data-act=new-row]");
  await shows(page, ".setup-careful", "Source of this terminal: maker's sheet, rev A");
  await type(page, "wire", "16");
  await press(page, "ga");
  await page.select(".setup-form [data-key=sizing] select", "sae_metric");
  await shows(page, "[data-key=wire] output", "16 ga = 1.0 mm²");
  await type(page, "core_crimp_height", "1.20..1.30 mm");
  await shows(page, "[data-key=core_crimp_height] output", "1.20 mm – 1.30 mm");
  await look(page, "row");
  await saved(page, 'wire = "16 ga"\nsizing = "sae_metric"\ncore_crimp_height = "1.20..1.30 mm"', "sheet.toml");
  // A tool with a nest.
  await press(page, "Tools");
  await press(page, "New tool");
  await type(page, "id", "T-08");
  await press(page, "RB-090-M");
  await press(page, "Add a nest");
  const nest = ".nest [data-key=id] input";
  await tap(page, nest);
  for (const letter of "1.0") await page.keyboard.sendCharacter(letter);
  await tap(page, ".nest [data-key=wires] input");
  for (const letter of "0.5 mm², 1.0 mm²") await page.keyboard.sendCharacter(letter);
  await look(page, "tool");
  await saved(page, '[[tool]]\nid = "T-08"\nclass = "production"\nterminals = ["RB-090-M"]\n\n[[tool.nest]]\nid = "1.0"\nwires = ["0.5 mm²", "1.0 mm²"]', "tools.toml");
  // A plan for it.
  await press(page, "Plans");
  await press(page, "New plan");
  await type(page, "id", "valve");
  await page.select(".setup-form [data-key=terminal] select", "RB-090-M");
  await press(page, "16 ga (SAE metric)");
  await shows(page, "[data-key=wire] output", "16 ga = 1.0 mm²");
  await press(page, "core crimp height");
  await page.select(".setup-form [data-key=tool] select", "T-08");
  await page.select(".setup-form [data-key=nest] select", "1.0");
  await look(page, "plan");
  await saved(page, 'id = "valve"\nterminal = "RB-090-M"\nwire = "16 ga"\nsizing = "sae_metric"\naxes = ["core_crimp_height"]\npieces = 5\npurpose = "first_off"\ntool = "T-08"\nnest = "1.0"', "plans.toml");
  // Who measures.
  await press(page, "Operators");
  await press(page, "New operator");
  await type(page, "name", "Jörg");
  await look(page, "operator");
  await saved(page, '[[operator]]\nname = "Jörg"', "tallyjaw.toml");
  // What it is for: a row of the list that a spreadsheet saved.
  const list = file("jobs.csv");
  await press(page, "Jobs");
  await look(page, "jobs", ["en"]);
  await press(page, "New job");
  await type(page, "job", "4711");
  await shows(page, "[data-key=job] .fault", "appears twice");
  await look(page, "job-fault");
  await type(page, "job", "4713");
  await type(page, "customer", "Jörg; Söhne");
  await press(page, "pump-own");
  await look(page, "job");
  await saved(page, '4713;"Jörg; Söhne";;;pump-own\n', "jobs.csv");
  same("the other rows are as they were", file("jobs.csv"), `${list}4713;"Jörg; Söhne";;;pump-own\n`);
  await tap(page, "[data-act=close]");
  await tap(page, "#chip-job");
  await tap(page, "#job-id");
  for (const letter of "söhne") await page.keyboard.sendCharacter(letter);
  await tap(page, '#job-known [data-key="4713"]');
  await tap(page, "#job-form [type=submit]");
  await shows(page, "#ask-more", "job 4713 · Jörg; Söhne");
  // And measured by.
  await shows(page, "#tiles", "RB-090-M");
  await tap(page, '.tile[data-key="valve"]');
  await shows(page, "#ask-words", "Close the jaws");
  shop.press("0.00");
  await shows(page, "#ask-words", "Measure piece 1 of 5");
  shop.press("1.25");
  await shows(page, "#face-word", "PASS");
  await tap(page, "#act-stop");
  await tap(page, "#confirm-yes");
  await until(page, "the series is over", () => document.querySelector("#face").dataset.kind === "over");
}

// ---- by keys alone ----

// Tab until this has the focus.
async function tabTo(page, selector) {
  for (let presses = 0; presses < 120; presses += 1) {
    if (await page.evaluate((selector) => document.activeElement?.matches(selector), selector)) return;
    await page.keyboard.press("Tab");
  }
  faults.push(`${selector} is never reached by Tab; the focus is on ${await page.evaluate(() => document.activeElement?.outerHTML.slice(0, 120))}`);
}

async function byKeys(page) {
  await page.evaluate(() => document.activeElement.blur());
  if (await page.$eval("#act-setup", (one) => one.hidden)) await page.keyboard.press("a");
  await there(page, "#act-setup");
  await page.keyboard.press("e");
  await there(page, "[data-act=new]");
  await tabTo(page, "[data-tab=plan]");
  // The files may come only now, and the view is drawn again.
  await page.evaluate(async () => (await import("/setup.js")).redraw());
  await page.keyboard.press("Enter");
  await tabTo(page, '.setup-item[data-key="valve"]');
  await page.keyboard.press("Enter");
  await there(page, ".setup-form [data-key=pieces] input");
  await tabTo(page, "[data-key=pieces] input");
  await page.keyboard.down("Control");
  await page.keyboard.press("a");
  await page.keyboard.up("Control");
  await page.keyboard.type("0");
  await shows(page, "[data-key=pieces] .fault", "pieces is 0");
  await page.keyboard.press("Backspace");
  await page.keyboard.type("3");
  await until(page, "no fault", () => document.querySelector("[data-key=pieces] .fault").textContent === "");
  await tabTo(page, "summary");
  await page.keyboard.press("Enter");
  await shows(page, "#setup-diff", "+ pieces = 3");
  await look(page, "diff", ["en"]);
  await tabTo(page, "[data-act=save]");
  await page.keyboard.press("Enter");
  await until(page, "saved", () => /Saved and in force/.test(document.querySelector("#setup")?.textContent));
  same("the pieces", /id = "valve"[^[]*pieces = (\d+)/.exec(file("plans.toml").replace(/axes = \[.*\]/g, ""))?.[1], "3");
  // What was typed is not lost by a slip of Escape.
  await tabTo(page, "[data-key=pieces] input");
  await page.keyboard.type("9");
  await page.keyboard.press("Escape");
  await there(page, "#confirm");
  await look(page, "discard", ["en"]);
  await tabTo(page, "#confirm-no");
  await page.keyboard.press("Enter");
  same("it stays", await page.$eval("[data-key=pieces] input", (one) => one.value), "9");
  // It is removed, after one more question.
  await tabTo(page, "[data-act=remove]");
  await page.keyboard.press("Enter");
  await shows(page, "#confirm-heading", "Remove valve?");
  await tabTo(page, "#confirm-yes");
  await page.keyboard.press("Enter");
  await until(page, "removed", () => /Removed and in force/.test(document.querySelector("#setup")?.textContent));
  same("the plan is gone", file("plans.toml").includes('"valve"'), false);
  // Somebody else saves the file meanwhile.
  await tabTo(page, '.setup-item[data-key="pump-own"]');
  await page.keyboard.press("Enter");
  await tabTo(page, "[data-key=pieces] input");
  shop.write("plans.toml", () => `# by hand\n${file("plans.toml")}`);
  await page.keyboard.type("50");
  await shows(page, "#setup-banner", "plans.toml was changed meanwhile");
  await look(page, "meanwhile");
  await tabTo(page, "[data-act=reload]");
  await page.keyboard.press("Enter");
  await until(page, "it goes on", () => document.querySelector("#setup-banner").textContent === "");
  await tabTo(page, "[data-act=save]");
  await page.keyboard.press("Enter");
  await until(page, "saved", () => /Saved and in force/.test(document.querySelector("#setup")?.textContent));
  same("both changes are there", [file("plans.toml").startsWith("# by hand"), /pieces = 50/.test(file("plans.toml"))], [true, true]);
  await page.keyboard.press("Escape");
  await until(page, "closed", () => !document.querySelector("#setup").open);
}

const shop = await Shop.open(binary, "edit = true");
const chromium = await browser();
// A daemon whose files say what is in force: with the port that it was given.
const first = await shop.start();
await shop.connected(first.address);
await shop.kill();
const at = await shop.start();
await shop.connected(at.address);
const stated = (page) => bodyHas(page, "document.body.dataset.seq");
const { page, live } = await opened(chromium, at.url, TOUCH);
page.on("dialog", (dialog) => faults.push(`asks by a dialog of the browser: ${dialog.message()}`));
await stated(page);
await run("set-up on the page", {
  touch: () => byTouch(page),
  keys: () => byKeys(page),
  entered: async () => {
    faults.push(...(await faultsOfText(await (await fetch(at.address)).text(), "page")));
    const entered = shop.journal().filter((entry) => entry.kind === "configuration_edited");
    same("what was entered", entered.map((entry) => `${entry.who} ${entry.change} ${entry.list} ${entry.name}`), [
      "mara add terminal RB-090-M", "mara add row RB-090-M 16 ga", "mara add tool T-08", "mara add plan valve", "mara add operator Jörg", "mara add job 4713",
      "mara set plan valve", "mara remove plan valve", "mara set plan pump-own",
    ]);
  },
  // Who may only look sees no way in.
  looker: async () => {
    const { page } = await opened(chromium, at.address);
    await stated(page);
    same("without the token", await page.$eval("#act-setup", (one) => one.hidden), true);
  },
}, async () => {
  // A refusal is an answer with a status of its own, which a browser notes on its console.
  faults.push(...live.filter((fault) => !/status of 409/.test(fault)));
  await chromium.close();
  await shop.close();
});
