// Production runs: the state of the run in one line, and the dialogs in which crimps are counted and held ones are settled.
//
// The daemon counts, holds and refuses. A refusal stands in the dialog, beside what was typed.

import { $, button, capital, make, open, setText } from "./dom.js";
import { refused } from "./jobs.js";
import { t } from "./texts.js";

const WAYS = ["release", "rework", "scrap"];
const HANDFULS = [10, 50, 100]; // crimps that a press adds

let say = null; // sends a command, and has a refusal shown in the dialog
let holds = [];
let chosen = null; // of those
let way = null;

// How many crimps of a station are held and not settled.
export const heldOf = (station) => (station.production?.holds ?? []).reduce((sum, hold) => sum + hold.left, 0);

// The run of a station in one line: crimps since the last good sample, left until the next, held.
export function runWords(station) {
  const { open: run, without_run: without } = station.production ?? {};
  const held = heldOf(station);
  const kind = run?.bad_sample !== undefined ? "run.line.bad" : run?.left === undefined ? "run.line.timed" : "run.line";
  const counted = run ? t(kind, { run: run.run_id, open: run.open, left: run.left }) : without > 0 && t("run.without", { n: without });
  return [counted, held > 0 && t("run.held", { n: held })].filter(Boolean).join(" · ");
}

// Why these crimps are held, and which they are.
export const holdWords = (hold) => t("held.range", { first: hold.first, last: hold.last, run: hold.run, series: hold.series, why: t(`daemon.entry.held.${hold.cause}`) });

// The number in a field; null if none is there.
const numberIn = (id) => (/^\d+$/.test($(id).value.trim()) ? Number($(id).value) : null);

// ---- crimps made ----

export function openCrimps(station, command) {
  say = command;
  refused("crimps", null);
  setText($("crimps-run"), capital(runWords(station)));
  const field = $("crimps-number");
  field.value = "";
  const enter = (text) => { field.value = text.slice(0, field.maxLength); };
  $("crimps-more").replaceChildren(...HANDFULS.map((n) => button({ "data-key": `more-${n}`, "aria-label": t("crimps.add", { n }) }, `+${n}`, () => enter(String((numberIn("crimps-number") ?? 0) + n)))));
  const digits = [..."1234567890"].map((digit) => button({ "data-key": digit }, digit, () => enter(field.value + digit)));
  $("crimps-pad").replaceChildren(...digits, button({ "data-key": "delete", "aria-label": t("crimps.delete") }, "⌫", () => enter(field.value.slice(0, -1))));
  open("crimps");
}

export async function takeCrimps() {
  const crimps = numberIn("crimps-number");
  if (crimps === null) return $("crimps-number").focus();
  if (await say("crimps", { crimps }, (error) => refused("crimps", error))) $("crimps").close();
}

// ---- held crimps ----

export function openSettle(station, command) {
  say = command;
  holds = (station.production?.holds ?? []).toReversed(); // the newest first, as on the face
  if (holds.length === 0) return;
  refused("settle", null);
  setText($("settle-what"), "");
  $("settle-reason").value = "";
  way = null;
  choose(holds[0]);
  open("settle");
}

// Chooses the crimps: all that are left, unless another number is typed.
function choose(hold) {
  chosen = hold;
  $("settle-number").value = hold.left;
  setText($("settle-most"), t("settle.number", { n: hold.left }));
  draw();
}

function draw() {
  const focused = document.activeElement?.dataset.key;
  $("settle-which").replaceChildren(...holds.map((hold) => {
    const made = button({ class: "choose", "data-key": String(hold.held), "aria-pressed": String(hold === chosen) }, t("held.crimps", { n: hold.left }), () => choose(hold));
    made.append(make("small", {}, holdWords(hold)));
    return made;
  }));
  $("settle-how").replaceChildren(...WAYS.map((one) => button({ "data-key": one, "aria-pressed": String(one === way) }, t(`settlement.${one}`), () => { way = one; draw(); })));
  if (focused) $("settle").querySelector(`[data-key="${CSS.escape(focused)}"]`)?.focus();
}

export async function settleHeld() {
  const [reason, isAll] = [$("settle-reason").value.trim(), $("settle-number").value.trim() === ""];
  const crimps = isAll ? chosen.left : numberIn("settle-number");
  if (crimps === null) return $("settle-number").focus();
  if (way === null || reason === "") return setText($("settle-what"), t("settle.choose"));
  setText($("settle-what"), "");
  if (await say("settle", { held: chosen.held, ...(!isAll && { crimps }), settlement: way, reason }, (error) => refused("settle", error))) $("settle").close();
}
