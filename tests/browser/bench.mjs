// The bench page in a real browser, with bytes on real pseudo-terminals: a day at the bench, every state on every screen,
// the daemon killed, its journal failed; a hostile page of another origin. Every wait is for what stands on the screen.
//
//     tests/browser/setup && node tests/browser/bench.mjs target/release/tallyjaw [FOLDER FOR PICTURES]
//
// With TALLYJAW_ASSETS=src/page/assets the page's files are those of the folder, so that a change needs no build.

import { createServer } from "node:http";
import { bodyHas, check, counted, dialog, faults, folder, heard, kind, opened, PATIENCE, run, same, shows, text } from "./expect.mjs";
import { browser, faultsOfText } from "./look.mjs";
import { measured } from "./measured.mjs";
import { production } from "./production.mjs";
import { recovered } from "./recovered.mjs";
import { sealed } from "./sealed.mjs";
import { everywhere } from "./screens.mjs";
import { Shop } from "./shop.mjs";
import { standIn } from "./stand_in.mjs";
import { hear } from "./tones.mjs";

const [binary, pictures = "target/browser/seen"] = process.argv.slice(2);
folder(pictures);

// A state on every screen, in every language, by night and by day; `reopen` opens the dialog again that is looked at.
async function look(page, name, reopen) {
  const { faults: found, looked } = await everywhere(page, name, pictures, reopen);
  faults.push(...found);
  counted(looked);
}

// Found and pressed in one step: the page may draw it again between two.
const pressed = (page, selector) => page.evaluate((selector) => document.querySelector(selector).click(), selector);
// Writes over what stands in a field.
const type = (page, selector, words) => page.$eval(selector, (input, words) => { input.value = words; input.dispatchEvent(new Event("input", { bubbles: true })); }, words);
const key = async (page, name) => {
  await page.evaluate(() => document.activeElement.blur());
  await page.keyboard.press(name);
};
// Starts a plan by its tile; where a series is open, it is stopped early.
async function start(page, plan, stops = false) {
  if (await page.$eval("body", (body) => body.dataset.view !== "plans")) await key(page, "a");
  const tile = `.tile[data-key="${plan}"]`;
  await page.waitForSelector(tile, { timeout: PATIENCE });
  await pressed(page, tile);
  if (stops) {
    await page.waitForSelector("#confirm[open]", { timeout: PATIENCE });
    await shows(page, "#confirm-words", "is still open");
    await pressed(page, "#confirm-yes");
  }
  await shows(page, "#ask-more", `plan ${plan}`);
}

// A day at the bench: every state that bytes can make.
async function day(shop, page) {
  await bodyHas(page, "document.querySelectorAll('.tile').length === 9 || document.querySelector('#tiles-page').textContent");
  await shows(page, "#ask-words", "Choose a plan");
  await shows(page, "#chip-instrument", "connected");
  same("the address keeps no token", await page.evaluate(() => location.href.includes("token")), false);
  await look(page, "idle");
  await page.type("#search", "guarded qual");
  same("found", await page.$$eval(".tile", (tiles) => tiles.map((one) => one.dataset.key)), ["pump-guarded"]);
  await page.type("#search", " nothing like this");
  await shows(page, "#tiles-none", "No plan has these words");
  await page.$eval("#search", (input) => { input.value = ""; input.dispatchEvent(new Event("input")); });

  await pressed(page, "#sound");
  same("sound is on", await page.$eval("#sound", (one) => one.getAttribute("aria-pressed")), "true");
  await key(page, "o");
  await page.waitForSelector("#operator[open]", { timeout: PATIENCE });
  await page.type("#operator-name", "mara");
  await page.keyboard.press("Enter");
  await shows(page, "#operator-now", "mara");
  const tools = async () => { await key(page, "t"); await dialog(page, "tool"); };
  await tools();
  await look(page, "tool", tools);
  await page.$$eval("#tool-known button", (all) => all.find((one) => one.textContent.includes("T-07")).click());
  await shows(page, "#tool-now", "T-07, nest 2.0");

  shop.press("1.60");
  await kind(page, "not_counted");
  await shows(page, "#face-lead", "No series is open");
  await look(page, "not-started");
  await start(page, "pump-own");
  await kind(page, "zero");
  await shows(page, "#ask-words", "Close the jaws of caliper-1, then press the data key");
  same("what is started", await text(page, "#ask-more"), "QF-250-F · 14 ga = 2.0 mm² (SAE metric size; the AWG area is 2.08 mm²) · plan pump-own");
  await look(page, "zero");

  shop.press("0.00");
  await kind(page, "limits");
  same("the limits", await text(page, ".limits-figures"), "1.57 – 1.67 mm");
  await shows(page, "#ask-words", "Measure piece 1 of 5: core crimp height");
  await shows(page, "#chip-instrument", "zero good");
  await heard(page, "zero_ok");
  await look(page, "limits");

  const from = performance.now();
  shop.press("1.63");
  await shows(page, "#face-word", "PASS");
  console.log(`  ${Math.round(performance.now() - from)} ms from the bytes at the port to the verdict on the screen`);
  same("the value", await text(page, "#face-value"), "1.63 mm");
  same("how far", await text(page, "#face-lead"), "0.04 mm below the upper limit");
  same("the scale in words", await page.$eval("#scale", (scale) => scale.getAttribute("aria-label")), "1.63 mm between the limits 1.62 ±0.05 mm");
  await shows(page, "#said", "PASS, 1.63 mm");
  await heard(page, "pass");
  await look(page, "pass");

  shop.press("1.72");
  await shows(page, "#face-word", "FAIL");
  same("how far above", await text(page, "#face-lead"), "Too high: 0.05 mm above the upper limit");
  await heard(page, "fail_high");
  await look(page, "fail-high");
  shop.press("1.50");
  await shows(page, "#face-lead", "Too low: 0.07 mm below the lower limit");
  await heard(page, "fail_low");
  await look(page, "fail-low");
  same("slots", (await page.$$("#pieces .slot[data-tone]")).length, 3);

  await key(page, "r");
  await kind(page, "retracted");
  await shows(page, "#answer", "Retracted.");
  same("a slot is free again", (await page.$$("#pieces .slot[data-tone]")).length, 2);
  await look(page, "retracted");
  await pressed(page, "#act-restore");
  await shows(page, "#answer", "Restored");
  await bodyHas(page, "document.querySelectorAll('#pieces .slot[data-tone]').length === 3");
  const history = async () => { await pressed(page, "#act-history"); await page.waitForSelector("#history[open] button[data-key]", { timeout: PATIENCE }); };
  await history();
  await look(page, "history", history);
  await pressed(page, "#history button[data-key]");
  await shows(page, "#history-list", "retracted");
  await pressed(page, "#history [data-close]");
  await kind(page, "retracted");

  shop.press("16.2");
  await kind(page, "not_counted");
  await shows(page, "#face-lead", "The value is not plausible here");
  await heard(page, "not_counted");
  await look(page, "not-counted");
  shop.press("no number");
  await kind(page, "unread");
  await look(page, "unread");
  await scanned(shop, page);
  await zeroOff(shop, page);
  await noted(page);
}

// What the scanner says and the station cannot do.
async function scanned(shop, page) {
  shop.press("tj/tool/T-99", 2);
  await kind(page, "refused");
  await shows(page, "#face-lead", "T-99");
  await heard(page, "alert");
  await look(page, "refused");
  // Each with its own sentence, and nothing of the verdict before.
  for (const [card, why] of [["tj/tool/T-07/9.9", "9.9"], ["tj/arm/pump-gone", "pump-gone"], ["tj/wash/hands", "o card of that kind"], ["tj/tool/R-02/wide", "R-02"], ["tj/arm/pump-short", "still open"]]) {
    shop.press(card, 2);
    await shows(page, "#face-body", why);
    await kind(page, "refused");
    same(`${card}: no value, no scale`, await page.evaluate(() => [document.querySelector("#face-value") === null, document.querySelector("#scale").hasAttribute("hidden")]), [true, true]);
    check(`${card} has a sentence of what to do`, (await page.$$("#face-lines p")).length >= 2, await text(page, "#face-lines"));
  }
  same("a card in words", await text(page, "#face-lead"), "Start plan pump-short");
  await look(page, "refused-open");
  await pressed(page, "#face-cut");
  await shows(page, "#ask-more", "plan pump-short");
  await bodyHas(page, "!document.querySelector('#act-resume').hidden");
  await pressed(page, "#act-resume");
  await shows(page, "#ask-more", "plan pump-own");
  shop.press("1.62");
  await kind(page, "verdict");
}

async function zeroOff(shop, page) {
  shop.press("0.05");
  await kind(page, "zero_off");
  same("by how much", await text(page, "#face-value"), "0.05 mm");
  await shows(page, "#ask-words", "Clean the jaws, press ZERO, then the data key");
  await shows(page, "#face-lead", "3 readings are doubted");
  await heard(page, "zero_off");
  same("hatched", (await page.$$("#pieces .slot[data-tone=doubted]")).length, 3);
  await look(page, "zero-off");
  shop.press("0.00");
  await kind(page, "doubted");
  await shows(page, "#face-lead", "Measure 3 readings again");
  await look(page, "doubted");
  shop.press("1.62");
  await kind(page, "verdict");
  same("one less", (await page.$$("#pieces .slot[data-tone=doubted]")).length, 2);
}

async function noted(page) {
  const markup = '<img src=x onerror="document.body.dataset.owned=1"><b>bold</b> &amp; "quoted"';
  await key(page, "n");
  await page.waitForSelector("#note[open]", { timeout: PATIENCE });
  await page.type("#note-text", markup);
  await page.keyboard.press("Enter");
  await shows(page, "#answer", "The note is saved.");
  await key(page, "l");
  await shows(page, "#history-list", `note: ${markup}`);
  same("no markup of a note is live", await page.evaluate(() => [document.body.dataset.owned, document.querySelectorAll("#history img, #history .words b").length]), [null, 0]);
  await page.keyboard.press("Escape");
  for (const [name, pressed, id] of [["menu", "h", "menu"], ["service", "i", "service"], ["operator", "o", "operator"], ["note", "n", "note"]]) {
    const open = async () => { await key(page, pressed); await dialog(page, id); };
    await open();
    if (id === "service") await shows(page, "#service-instruments", "/tty-1");
    await look(page, name, open);
    await page.keyboard.press("Escape");
  }
  await shownByNobody(page);
}

// Qualifications, from the menu: nothing was tried yet.
async function shownByNobody(page) {
  const open = async () => { await key(page, "h"); await page.click("#menu-qualified"); await dialog(page, "qualified"); await page.waitForSelector("#qualified-list li", { timeout: PATIENCE }); };
  await open();
  same("standings", await page.evaluate(() => [...new Set([...document.querySelectorAll("#qualified-list li")].map((one) => one.dataset.standing))]), ["never_tried"]);
  await look(page, "qualified", open);
  await page.keyboard.press("Escape");
}

// A plan that requires job and lots: what is missing is said by a finger, then it starts. Another job is refused in place.
async function forJob(shop, page) {
  await start(page, "pump-short", true);
  shop.press("1.62");
  await kind(page, "verdict");
  const jobs = async () => { await key(page, "j"); await dialog(page, "job"); };
  await jobs();
  await shows(page, "#job-now", "No job is named");
  await shows(page, "#job-known", "pump harness B");
  await look(page, "job", jobs);
  await type(page, "#job-id", "harness rev");
  same("found", await page.$$eval("#job-known button", (all) => all.map((one) => one.dataset.key)), ["4720"]);
  await type(page, "#job-id", "K-9");
  await shows(page, "#job-new", "Job K-9 is not in the list of jobs");
  const refused = async () => {
    if (!(await page.$("#job[open]"))) await jobs();
    await type(page, "#job-id", "4720");
    await pressed(page, "#job-form [type=submit]");
    await page.waitForSelector("#job-answer p", { timeout: PATIENCE });
  };
  await refused();
  await shows(page, "#job-answer", "a job cannot change within a series");
  await look(page, "job-refused", refused);
  await pressed(page, "#job-stop");
  await dialog(page, "confirm");
  await pressed(page, "#confirm-yes");
  await shows(page, "#job-chip-now", "4720");
  await shows(page, "#ask-more", "job 4720 · Valley Irrigation · valve harness, rev 2");
  await jobs();
  await shows(page, "#job-now", "Now: job 4720");
  await look(page, "job-now", jobs);
  await pressed(page, "#job-over");
  await shows(page, "#job-chip-now", "not named");

  await key(page, "a");
  await pressed(page, '.tile[data-key="pump-job"]');
  await kind(page, "refused");
  await shows(page, "#face-lines", "the job, the terminal lot and the wire lot");
  same("what can be said", await page.$$eval("#face-buttons button", (all) => all.map((one) => one.textContent)), ["Name the job", "Name the lots", "OK"]);
  await look(page, "asked");
  await pressed(page, "#face-say-job");
  await dialog(page, "job");
  await pressed(page, '#job-known [data-key="4711"]');
  await page.type("#job-serial", "17");
  await pressed(page, "#job-form [type=submit]");
  await kind(page, "refused");
  await shows(page, "#face-lines", "requires it: the terminal lot and the wire lot");
  const lots = async () => { await pressed(page, "#chip-lots"); await dialog(page, "lots"); };
  await pressed(page, "#face-say-lots");
  await dialog(page, "lots");
  await page.type("#lot-terminal", "R-2031");
  await page.type("#lot-wire", "88-1407");
  await pressed(page, "#lots-form [type=submit]");
  await shows(page, "#ask-more", "plan pump-job · job 4711 · Example Pumps Ltd · pump harness B · serial 17 · reference PO-8832");
  await shows(page, "#lots-now", "R-2031 / 88-1407");
  await look(page, "for-job");
  // A new spool within the series; a number that cannot be one is refused in place.
  await lots();
  await look(page, "lots", lots);
  await type(page, "#lot-wire", "88\u202e07");
  await pressed(page, "#lots-form [type=submit]");
  await shows(page, "#lots-answer", "characters that can be shown");
  await type(page, "#lot-wire", "88-1408");
  await pressed(page, "#lots-form [type=submit]");
  await shows(page, "#lots-now", "R-2031 / 88-1408");
  // By a card, the same: what is missing is said by a finger.
  await stopEarly(page);
  await lots();
  await type(page, "#lot-wire", "");
  await pressed(page, "#lots-form [type=submit]");
  await shows(page, "#lots-now", "R-2031 / –");
  shop.press("tj/arm/pump-job", 2);
  await kind(page, "refused");
  await pressed(page, "#face-say-lots");
  await dialog(page, "lots");
  await pressed(page, '#lot-wire-known [data-key="88-1407"]');
  await pressed(page, "#lots-form [type=submit]");
  await bodyHas(page, "!document.querySelector('#act-stop').hidden");
  await stopEarly(page);
  await jobs();
  await pressed(page, "#job-over");
  await shows(page, "#job-chip-now", "not named");
}

// Series that come to an end, those of many pieces, an own choice.
async function more(shop, page) {
  await start(page, "pump-guarded", true);
  await bodyHas(page, "!document.querySelector('#act-resume').hidden");
  await pressed(page, "#act-resume");
  await shows(page, "#ask-more", "plan pump-own");
  await start(page, "pump-guarded", true);
  shop.press("1.66");
  await shows(page, "#face-word", "UNSURE");
  await heard(page, "unsure");
  same("dotted", await page.$eval("#scale", (scale) => scale.getAttribute("aria-label").includes("dotted")), true);
  await look(page, "unsure");
  for (const value of ["1.62", "1.61"]) {
    shop.press(value);
    await shows(page, "#pieces", value);
  }
  await kind(page, "over");
  await shows(page, "#face-word", "UNDECIDED");
  await shows(page, "#face-lead", "1 piece is not decided: set it aside");
  await heard(page, "undecided");
  await look(page, "undecided");

  await pressed(page, "#face-again");
  await shows(page, "#ask-more", "plan pump-guarded");
  await start(page, "pump-short", true);
  for (const value of ["1.62", "1.61"]) {
    shop.press(value);
    await shows(page, "#pieces", value);
  }
  await shows(page, "#face-word", "ACCEPTED");
  await heard(page, "accepted");
  await look(page, "accepted");
  await pressed(page, "#face-next");
  await shows(page, ".tile", "ACCEPTED");
  same("the last used is first", await page.$eval(".tile", (tile) => tile.dataset.key), "pump-short");
  await look(page, "idle-used");

  await start(page, "pump-ten");
  const ten = ["1.62", "1.72", "1.60", "1.61", "1.50", "1.63", "1.64", "1.62", "1.61", "1.62"];
  const wide = ["2.40", "2.41", "2.10", "2.42", "2.44", "2.38", "2.39", "2.40", "2.41", "2.42"];
  for (const [index, value] of [...ten, ...wide].entries()) {
    shop.press(value);
    if (index < 19) await shows(page, "#grid-count", `${index + 1} of 20`);
    if (index === 9) await look(page, "ten");
    if (index === 12) await shows(page, "#face-lead", "Too narrow: 0.20 mm below the lower limit");
  }
  await shows(page, "#face-word", "REJECTED");
  await shows(page, "#face-lead", "Set 3 pieces aside");
  await shows(page, ".aside", "Piece 3 core crimp width 2.10 mm: too narrow, 0.20 mm below the lower limit");
  await heard(page, "rejected");
  same("the pieces stay", (await page.$$("#pieces li")).length, 10);
  await look(page, "rejected");
  await page.evaluate(() => { window.open = (path) => { document.body.dataset.opened = path; }; });
  // The screen is drawn again while a finger is on the button.
  const { seq, x, y } = await page.$eval("#face-report", (button) => {
    const box = button.getBoundingClientRect();
    return { seq: Number(document.body.dataset.seq), x: box.left + box.width / 2, y: box.top + box.height / 2 };
  });
  await page.mouse.move(x, y);
  await page.mouse.down();
  shop.run("note", "--station", "bench-2", "entered while a button is pressed");
  await bodyHas(page, `Number(document.body.dataset.seq) > ${seq}`);
  await page.mouse.up();
  check("the report is opened", /^\/report\/\d+$/.test(await page.$eval("body", (body) => body.dataset.opened)), "");
  await pressed(page, "#face-next");

  await start(page, "pump-25");
  for (const [index, value] of Array.from({ length: 17 }, (_, index) => [index, index % 2 ? `2.4${index % 9}` : index === 6 ? "1.70" : `1.6${index % 7}`])) {
    shop.press(value);
    await shows(page, "#grid-count", `${index + 1} of 50`);
  }
  await look(page, "twentyfive");
  await start(page, "pump-many", true);
  shop.press("1.60");
  await shows(page, "#face-word", "PASS");
  await look(page, "many");

  await key(page, "a");
  const own = async () => {
    await pressed(page, "#act-own");
    await dialog(page, "own");
    await page.waitForFunction("document.querySelector('#own-wire').value", { timeout: PATIENCE });
    await page.select("#own-wire", "5.0 mm²");
    await page.select("#own-tool", "R-02");
  };
  await own();
  await page.$eval("#own-pieces", (input) => { input.value = "0"; });
  await pressed(page, "#own-go");
  same("a form with a fault is not sent", await page.$eval("#own", (dialog) => dialog.open), true);
  await page.$eval("#own-pieces", (input) => { input.value = "2"; });
  await look(page, "own", own);
  const again = async () => {
    if (!(await page.$("#own[open]"))) await own();
    await pressed(page, "#own-go");
    await dialog(page, "confirm");
  };
  await again();
  await look(page, "arm-again", again);
  await pressed(page, "#confirm-no");
  await bodyHas(page, "!document.querySelector('#confirm').open");
  same("the series goes on", await page.$eval("#own", (dialog) => dialog.open), true);
  await pressed(page, "#own-go");
  await page.waitForSelector("#confirm[open]", { timeout: PATIENCE });
  await pressed(page, "#confirm-yes");
  await kind(page, "refused"); // another tool is in the hand
  await shows(page, "#face-lines", "R-02");
  await look(page, "refused-tool");
  await pressed(page, "#face-ok");
  await pressed(page, "#act-stop");
  await page.waitForSelector("#confirm[open]", { timeout: PATIENCE });
  await pressed(page, "#confirm-yes");
  await shows(page, "#face-word", "STOPPED EARLY");
  await look(page, "stopped-early");
  await key(page, "t");
  await page.waitForSelector("#tool[open]", { timeout: PATIENCE });
  await page.$$eval("#tool-known button", (all) => all.find((one) => one.textContent.includes("R-02")).click());
  await shows(page, "#tool-now", "R-02");
  await key(page, "a");
  await pressed(page, "#act-own");
  await page.waitForSelector("#own[open]", { timeout: PATIENCE });
  await page.select("#own-wire", "5.0 mm²");
  await page.select("#own-tool", "R-02");
  await pressed(page, "#own-go");
  await shows(page, "#ask-more", "5.0 mm²");
  await shows(page, "#warnings-first", "epair");
  await look(page, "warned");
  const warnings = async () => { await key(page, "w"); await dialog(page, "warnings-dialog"); };
  await warnings();
  await shows(page, "#warnings-list", "epair");
  await look(page, "warnings", warnings);
  await page.keyboard.press("Escape");
}

// A cross-section as a microscope would see it, drawn here; another number gives another one. With `spoilt`, no picture.
async function givePicture(page, name, number, spoilt = false) {
  await page.evaluate(async (name, number, spoilt) => {
    const canvas = new OffscreenCanvas(640, 480);
    const draw = canvas.getContext("2d");
    const disk = (colour, x, y, wide, high) => {
      draw.fillStyle = colour;
      draw.beginPath();
      draw.ellipse(x, y, wide, high, 0, 0, 2 * Math.PI);
      draw.fill();
    };
    draw.fillStyle = "#181a1e";
    draw.fillRect(0, 0, 640, 480);
    disk("#beaa6e", 320, 240, 270, 180);
    disk("#5a3c28", 320, 240, 225, 140);
    for (let strand = 0; strand < 41; strand += 1) {
      const [ring, turn] = [Math.sqrt(strand / 41), strand * 2.4 + number];
      disk(`hsl(${18 + ((strand * 7 + number * 29) % 16)} 55% 52%)`, 320 + 200 * ring * Math.cos(turn), 240 + 118 * ring * Math.sin(turn), 20, 16);
    }
    const drawn = await canvas.convertToBlob({ type: "image/jpeg" });
    const files = new DataTransfer();
    files.items.add(new File(spoilt ? ["GIF89a, or so it says"] : [drawn], name, { type: "image/jpeg" }));
    const input = document.querySelector("#from-file");
    input.files = files.files;
    input.dispatchEvent(new Event("change"));
  }, name, number, spoilt);
}

// Pictures of pieces: at the open series, of the piece measured last or another one, refused, many, and after the outcome.
async function pictured(shop, page) {
  await start(page, "pump-ten");
  const asked = async () => { await key(page, "p"); await dialog(page, "picture"); };
  for (const value of ["1.62", "1.61", "1.60"]) {
    shop.press(value);
    await shows(page, "#pieces", value);
  }
  const number = await page.$eval("body", (body) => Number(body.dataset.seq));
  await asked();
  same("the piece measured last is offered first", await page.$eval("#picture-piece", (select) => select.selectedOptions[0].textContent), "Piece 3");
  same("and the others", await page.$$eval("#picture-piece option", (all) => all.length), 4);
  await look(page, "picture", asked);
  const refused = async () => {
    if (!(await page.$("#picture[open]"))) await asked();
    await givePicture(page, "crimp.jpg", 0, true);
    await page.waitForSelector("#picture-answer p", { timeout: PATIENCE });
  };
  await refused();
  await shows(page, "#picture-answer", "crimp.jpg was not taken: got a GIF picture");
  await look(page, "picture-refused", refused);
  await page.evaluate(() => {
    const files = new DataTransfer();
    files.items.add(new File([new Uint8Array(20 * 1024 * 1024 + 1)], "huge.jpg", { type: "image/jpeg" }));
    const input = document.querySelector("#from-file");
    input.files = files.files;
    input.dispatchEvent(new Event("change"));
  });
  await shows(page, "#picture-answer", "huge.jpg was not taken: got more than 20971520 bytes");
  same("nothing was entered", shop.journal().filter((entry) => entry.kind === "pictured").length, 0);

  const before = await text(page, "#face-word");
  await givePicture(page, "crimp.jpg", 1);
  await page.waitForFunction("document.querySelector('#strip img')?.naturalWidth", { timeout: PATIENCE });
  await shows(page, "#answer", "The picture is stored.");
  same("the dialog is closed", await page.$eval("#picture", (dialog) => dialog.open), false);
  same("the verdict stays", await text(page, "#face-word"), before);
  const entered = () => shop.journal().filter((entry) => entry.kind === "pictured");
  same("it is of the piece that was offered", [entered()[0].piece, entered()[0].file_name, entered()[0].seq > number], [3, "crimp.jpg", true]);
  await asked();
  await page.select("#picture-piece", "");
  await givePicture(page, "harness.jpg", 2);
  await bodyHas(page, "document.querySelectorAll('#strip img').length === 2");
  same("one is of the whole series", entered()[1].piece, undefined);
  await look(page, "pictures");
  for (let more = 3; more <= 16; more += 1) {
    await asked();
    await page.select("#picture-piece", String(1 + (more % 3)));
    await givePicture(page, `crimp-${more}.jpg`, more);
    await bodyHas(page, "!document.querySelector('#picture').open");
  }
  await shows(page, "#strip", "+");
  await look(page, "pictures-many");
  const large = async () => { await page.$$eval("#strip button", (all) => all.at(-1).click()); await dialog(page, "large"); };
  await large();
  await shows(page, "#large-heading", "Piece 2: picture 16 of 16");
  await page.waitForFunction("document.querySelector('#large-picture img').naturalWidth", { timeout: PATIENCE });
  await look(page, "picture-large", large);
  await page.keyboard.press("ArrowLeft");
  await shows(page, "#large-heading", "Piece 1: picture 15 of 16");
  await pressed(page, "#large [data-close]");
  await stopEarly(page);
  await asked();
  await page.select("#picture-piece", "1");
  await givePicture(page, "after.jpg", 17);
  await bodyHas(page, "!document.querySelector('#picture').open");
  await shows(page, "#face-word", "STOPPED EARLY");
  same("after the outcome", entered().at(-1).piece, 1);
  await look(page, "pictures-over");
}

// A pull test destroys its piece: to retract it takes a reason.
async function pulled(shop, page) {
  await key(page, "2");
  await bodyHas(page, "document.title.startsWith('bench-2')");
  await start(page, "pump-pull");
  shop.press("150.0", 3);
  await shows(page, "#face-lead", "Too weak: 30 N below the lower limit");
  const why = async () => { await key(page, "r"); await dialog(page, "why"); };
  await why();
  await look(page, "why", why);
  await page.type("#why-reason", "slipped in the grip");
  await page.keyboard.press("Enter");
  await kind(page, "retracted");
  await shows(page, "#pieces", "spent");
  await look(page, "spent");
  await stopEarly(page);
  await answered(shop, page);
  await key(page, "1");
  await bodyHas(page, "document.title.startsWith('bench-1')");
}

// After a pull it is asked how it failed, then what is seen on the piece; one bad answer rejects.
async function answered(shop, page) {
  await start(page, "pump-asked");
  shop.press("191.0", 3);
  await kind(page, "verdict");
  await shows(page, "#face-buttons", "Broke in the wire");
  await look(page, "pull-asked");
  await pressed(page, "#face-broke_in_wire");
  await kind(page, "look");
  await shows(page, "#face-lead", "Are all strands in the core crimp?");
  same("a drawing stands beside the question", await page.$eval("#face .drawing", (one) => [one.getAttribute("role"), one.querySelectorAll("path").length > 9].join()), "img,true");
  await look(page, "look");
  await pressed(page, "#face-bad");
  await shows(page, "#face-word", "REJECTED");
  await shows(page, "#face-lines", "bad: Are all strands in the core crimp?");
  await look(page, "look-bad"); // and its tool is free for the other station
}

// A stream that does not stand still, until it does.
async function moved(shop, page) {
  await key(page, "2");
  await bodyHas(page, "document.title.startsWith('bench-2')");
  await start(page, "pump-short");
  await kind(page, "limits");
  let stop = shop.stream(["2.31", "2.39", "2.35", "2.43"]);
  await kind(page, "moving");
  await shows(page, "#face-value", "2.3");
  await shows(page, "#ask-limits", "1.57 – 1.67 mm");
  await shows(page, "#face-lines", "No reading yet");
  same("what moves is no verdict", await page.$$eval("#pieces .slot[data-tone]", (all) => all.length), 0);
  await look(page, "moving");
  same("what moves is not said again and again", (await text(page, "#said")).includes("2.3"), false);
  const before = shop.journal().length;
  stop();
  await kind(page, "limits"); // the stream has ended
  same("nothing was entered", shop.journal().length, before);
  stop = shop.stream(["1.63"]);
  await kind(page, "verdict");
  await shows(page, "#face-word", "PASS");
  stop();
  stop = shop.stream(["1.91", "2.02", "1.96"]);
  await kind(page, "verdict"); // is read first
  await kind(page, "moving");
  stop();
  await kind(page, "verdict");
  await stopEarly(page);
  await key(page, "1");
  await bodyHas(page, "document.title.startsWith('bench-1')");
}

async function unplugged(shop, page) {
  shop.press("unplug", 1);
  await kind(page, "unplugged");
  await shows(page, "#chip-instrument", "not connected");
  await look(page, "unplugged");
  shop.press("plug", 1);
  await bodyHas(page, "!document.querySelector('#chip-instrument').textContent.includes('not connected')");
}

async function killed(shop, page) {
  await shop.kill();
  await kind(page, "gone");
  same("what is old says so", await page.evaluate(() => [document.body.classList.contains("old"), document.querySelector("#act-note").disabled]), [true, true]);
  await look(page, "gone");
  await shop.start();
  await bodyHas(page, "!document.body.classList.contains('old')");
  await bodyHas(page, "document.querySelector('#face').dataset.kind !== 'gone'");
}

async function failed(shop, page) {
  await shop.kill();
  await kind(page, "gone");
  const blocks = Math.ceil(shop.journalBytes() / 512) + 40; // of 512 bytes, as sh counts them: room for a few notes
  await shop.start(`trap '' XFSZ; ulimit -f ${blocks}; exec "$@"`);
  await bodyHas(page, "!document.body.classList.contains('old')");
  for (let round = 0; round < 200; round += 1) {
    await pressed(page, "#act-note");
    await page.$eval("#note-text", (input) => { input.value = "x".repeat(400); });
    await page.$eval("#answer", (answer) => { answer.textContent = ""; });
    await pressed(page, "#note-keep");
    await bodyHas(page, "document.querySelector('#answer').textContent || document.querySelector('#face').dataset.kind.startsWith('journal') || document.body.classList.contains('old') || document.querySelector('#face').dataset.kind === 'refused'");
    if (await page.evaluate(() => document.querySelector("#face").dataset.kind !== "verdict" && document.querySelector("#answer").textContent === "")) break;
  }
  await kind(page, "journal_failed");
  await shows(page, "#face-lines", "File too large");
  same("no time that is none", await page.$eval("body", (body) => /Invalid|undefined|NaN/.test(body.innerText)), false);
  await look(page, "journal-failed");
  same("the daemon's end", await shop.ended, 4);
  await shop.start();
  await bodyHas(page, "!document.body.classList.contains('old')");
  await bodyHas(page, "document.querySelector('#face').dataset.kind !== 'journal_failed'");
}

// What no pseudo-terminal can make, as the daemon would say it.
async function stoodIn(chromium, address) {
  const between = await standIn(address);
  const { page } = await opened(chromium, `${between.address}#token=${"0".repeat(64)}`);
  const states = {
    adapter: (_, bench) => { bench.todo = bench.face = { kind: "adapter", instrument: "caliper-1", was: "USB serial adapter 0403:6001 FT4A2XYZ of Example Instruments", is: "USB serial adapter 1a86:7523, no serial number" }; },
    shared: (_, bench) => { bench.todo = bench.face = { kind: "shared", instrument: "caliper-1", holders: ["minicom (pid 4711)"] }; },
    journal_stalled: (state, _, here) => {
      Object.assign(state, { journal_health: "stalled", stalled_seconds: 7 });
      here.prompt_kind = "wait";
    },
    over: (state, bench, here) => {
      delete here.armed;
      delete bench.todo;
      bench.asks = [];
      bench.face = { kind: "over" };
      here.outcome = { series: 12, outcome: "accepted", tally: { passed: 5, failed: 0, unsure: 0, doubted: 0, retracted: 2, not_counted: 0 } };
      bench.closed = { ...bench.closed, series: 12, outcome: "accepted", reservations: ["calibration_overdue", "uncertainty_ratio_low"], tally: here.outcome.tally, aside: [], doubted: [] };
    },
    journal_full: (state) => { state.journal_health = "full"; },
  };
  for (const [name, change] of Object.entries(states)) {
    await between.show(change);
    await kind(page, name);
    await look(page, name === "over" ? "reservations" : name.replace("_", "-"));
    if (name === "over") {
      await pressed(page, "#face-next");
      await shows(page, ".tile", "calibration overdue");
      await look(page, "idle-reservations");
      await pressed(page, "#act-back");
    }
  }
  await page.close();
  between.close();
}

// A page of another origin tries all that a page can.
async function hostile(shop, chromium, { address, token }) {
  const evil = createServer((_, response) => response.setHeader("content-type", "text/html").end("<!doctype html><title>evil</title>"));
  await new Promise((listening) => evil.listen(0, "127.0.0.1", listening));
  const page = await chromium.newPage();
  await page.goto(`http://localhost:${evil.address().port}/`);
  const before = shop.journal().length;
  const got = await page.evaluate(async (address, token) => {
    const tried = async (act) => { try { return await act(); } catch (error) { return error.name; } };
    const command = JSON.stringify({ jsonrpc: "2.0", id: 1, method: "note", params: { station: "bench-1", text: "owned" } });
    const events = () => new Promise((resolve) => {
      const source = new EventSource(`${address}events`);
      source.onerror = () => { source.close(); resolve("error"); };
      source.onmessage = source.onopen = () => resolve("open");
    });
    const script = () => new Promise((resolve) => {
      const tag = Object.assign(document.createElement("script"), { src: `${address}page.js`, onload: () => resolve("loaded"), onerror: () => resolve("error") });
      document.head.append(tag);
    });
    const frame = () => new Promise((resolve) => {
      const tag = Object.assign(document.createElement("iframe"), { src: address, onload: () => resolve(tag.contentDocument ? "readable" : "closed") });
      document.body.append(tag);
    });
    return {
      read: await tried(async () => (await fetch(`${address}state`)).text()),
      metrics: await tried(async () => (await fetch(`${address}metrics`)).text()),
      command: await tried(async () => (await fetch(`${address}control`, { method: "POST", headers: { "Content-Type": "application/json", Authorization: `Bearer ${token}` }, body: command })).text()),
      blind: await tried(async () => (await fetch(`${address}control`, { method: "POST", mode: "no-cors", headers: { "Content-Type": "text/plain" }, body: command })).type),
      events: await events(), script: await script(), frame: await frame(),
    };
  }, address, token);
  same("a hostile page", got, { read: "TypeError", metrics: "TypeError", command: "TypeError", blind: "TypeError", events: "error", script: "error", frame: "closed" });
  same("nothing was entered", shop.journal().length, before);
  await page.close();
  evil.close();
}

async function onlyLooking(chromium, address) {
  const context = await chromium.createBrowserContext();
  const { page } = await opened(context, address);
  await shows(page, "#answer", "This page can only show.");
  same("no button commands", await page.$$eval("#acts button:not([disabled], #act-history, #act-own, #act-plans, #act-back), #face-again:not([disabled])", (all) => all.length), 0);
  await look(page, "only-looking");
  await context.close();
}

async function stopEarly(page) {
  await pressed(page, "#act-stop");
  await page.waitForSelector("#confirm[open]", { timeout: PATIENCE });
  await pressed(page, "#confirm-yes");
  await shows(page, "#face-word", "STOPPED EARLY");
}

// The series is stopped early, and the tool of the plans is in the hand again.
async function takesBack(page) {
  await stopEarly(page);
  await key(page, "t");
  await page.waitForSelector("#tool[open]", { timeout: PATIENCE });
  await page.$$eval("#tool-known button", (all) => all.find((one) => one.textContent.includes("T-07")).click());
  await shows(page, "#tool-now", "T-07");
}

// The language that was chosen stays.
async function languages(page) {
  for (const [language, word] of [["de", "SCHLECHT"], ["es", "NO CONFORME"]]) {
    await pressed(page, "#menu-open");
    await pressed(page, `#languages [data-language=${language}]`);
    await page.keyboard.press("Escape");
    same(`the language is ${language}`, await page.$eval("html", (html) => html.lang), language);
    await shows(page, "#face-word", word);
    await page.reload();
    await shows(page, "#face-word", word);
  }
  await pressed(page, "#menu-open");
  await pressed(page, "#languages [data-language=en]");
  await page.keyboard.press("Escape");
}

const shop = await Shop.open(binary);
const chromium = await browser();
const served = await shop.start();
await shop.connected(served.address);
const html = await (await fetch(served.address)).text();
faults.push(...(await faultsOfText(html, "page")));
const { page, live } = await opened(chromium, served.url);
await run("bench page", {
  day: () => day(shop, page),
  more: () => more(shop, page),
  pictured: async () => {
    const own = await Shop.open(binary);
    const { url, address } = await own.start();
    await own.connected(address);
    const { page, live } = await opened(chromium, url);
    await pictured(own, page);
    faults.push(...live.filter((one) => !one.includes("409 (Conflict)"))); // what was to be refused
    await page.close();
    await own.close();
  },
  pulled: () => pulled(shop, page),
  tones: async () => faults.push(...(await hear(page))),
  production: async () => faults.push(...(await production(binary, chromium, { look, pressed, type, key, start }))),
  measured: async () => faults.push(...(await measured(binary, chromium, { look, pressed, start }))),
  sealed: async () => faults.push(...(await sealed(binary, chromium, { look, key }))),
  recovered: async () => faults.push(...(await recovered(binary, chromium, { look, key }))),
  hostile: () => hostile(shop, chromium, served),
  onlyLooking: () => onlyLooking(chromium, served.address),
  stoodIn: () => stoodIn(chromium, served.address),
  unplugged: () => unplugged(shop, page),
  moved: async () => { await takesBack(page); await moved(shop, page); },
  languages: async () => {
    await start(page, "pump-short");
    shop.press("1.50");
    await kind(page, "verdict");
    await languages(page);
    faults.push(...live.splice(0));
  },
  forJob: () => forJob(shop, page),
  killed: () => killed(shop, page),
  failed: () => failed(shop, page),
}, async () => {
  // What the browser says of the daemon's absence is no fault of the page.
  faults.push(...live.filter((one) => !one.includes("net::ERR_")));
  await chromium.close();
  await shop.close();
});
